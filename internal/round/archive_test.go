package round_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	"bayround/internal/round"
	"bayround/internal/rpc"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

const tyreStep = "TYR-010/axle-1-nearside"

// archived is an archive between a station of record and a tablet's twin.
type archived struct {
	*round.Archive
	record, twin *stationtest.Kit
	wire         *stationtest.Proxy
}

// openArchived opens both, with n weekly readings of one tyre that loses 2 kPa a week
// and a limit that it is heading for; the twin has taken over what it may.
func openArchived(t *testing.T, n int) *archived {
	t.Helper()
	a := &archived{record: stationtest.Open(t)}
	a.record.ApplyAltered("      - id: twins-differ", `      - id: pressure-limit
        scope: RULE_SCOPE_RESULT
        items: [TYR-010]
        limit: {number: o.value, side: LIMIT_SIDE_AT_LEAST, bound: "600.0", unit: kPa, decision: DECISION_RULE_SIMPLE, why: house rule}
        names_fault: TYR-010-01
        grade: GRADE_MAJOR
        effect: EFFECT_RESPONDING
        text: "The pressure is {round(o.value, 0)} kPa."
        source: {title: House rules, status: SOURCE_STATUS_SERVICE_POLICY}
      - id: twins-differ`)
	inRound := a.record.OpenRound(firstPump, shiftCheck)
	for i := range n {
		a.record.Record(inRound, stationtest.Read(tyreStep, "pressure", 850-2*float64(i)+float64(i%3), "kPa"))
		a.record.Clock.Advance(7 * 24 * time.Hour)
	}
	a.twin = a.record.Twin()
	a.twin.AdoptLibrary(a.record)
	a.twin.AdoptStanding(a.record, firstPump)
	a.wire = stationtest.NewProxy(t, stationtest.Serve(t, a.record.Station, rpc.Options{StopAfter: time.Millisecond}).Address)
	conn, err := rpc.Dial(a.wire.Address())
	must(t, err)
	t.Cleanup(func() { must(t, conn.Close()) })
	a.Archive = round.NewArchive(round.ArchiveConfig{Twin: a.twin.Station, Conn: conn})
	return a
}

// While the station is reached everything comes from there; when it is not, from the
// tablet, which has what a verdict rests on, old readings thinned: the same trend,
// the same forecast.
func TestArchive_AsksTheStationAndThenTheTablet(t *testing.T) {
	a := openArchived(t, 80)
	for _, tc := range []struct {
		from   round.Source
		points int
	}{{round.SourceStation, 80}, {round.SourceTablet, 62}} {
		past, from, err := a.History(ctx, firstPump, tyreStep)
		must(t, err)
		if n := len(past.History.GetPoints()); from != tc.from || n != tc.points {
			t.Errorf("%d points from %d, want %d from %d", n, from, tc.points, tc.from)
		}
		if past.Step.GetAnswerKind() != pb.AnswerKind_ANSWER_KIND_READING {
			t.Errorf("the step is %v", past.Step)
		}
		if got := past.ShownChange(past.History.GetTrend().GetSlopePerWeek()); math.Abs(got+0.02) > 0.001 {
			t.Errorf("it falls by %v %s a week, want 0.02 bar", got, past.Unit())
		}
		all, from, err := a.Forecasts(ctx, "")
		must(t, err)
		if from != tc.from || len(all.GetForecasts()) != 1 || all.GetForecasts()[0].GetStepId() != tyreStep {
			t.Errorf("forecasts %v from %d", all.GetForecasts(), from)
		}
		a.wire.Cut()
	}
}

// Every step of every plan that asks for a number is there once, plan by plan in
// walking order, measured or not, and all from one source.
func TestArchive_MeasuredHasEachPlaceOnce(t *testing.T) {
	a := openArchived(t, 3)
	var want []string
	for _, routine := range []string{shift, "routines/weekly"} { // tread is read weekly
		for _, s := range a.twin.Plan(firstPump, routine).GetSteps() {
			switch s.GetItem() {
			case "OIL-010", "TYR-010", "TYR-020":
				want = append(want, s.GetStepId())
			}
		}
	}
	if len(want) != 13 { // oil, and two readings at each of six wheels
		t.Fatalf("the plans measure %q", want)
	}
	for _, source := range []round.Source{round.SourceStation, round.SourceTablet} {
		all, from, err := a.Measured(ctx, firstPump)
		must(t, err)
		var got []string
		for _, p := range all {
			got = append(got, p.Step.GetStepId())
			points := 0
			if p.Step.GetStepId() == tyreStep {
				points = 3
			}
			if n := len(p.History.GetPoints()); n != points {
				t.Errorf("%s has %d points, want %d", p.Step.GetStepId(), n, points)
			}
		}
		if from != source || !slices.Equal(got, want) {
			t.Errorf("from %d, want %d: %q, want %q", from, source, got, want)
		}
		a.wire.Cut()
	}
}

// A finding of a moment ago is explained although the station has not heard of it yet.
func TestArchive_ExplainsWhatTheStationDoesNotKnowYet(t *testing.T) {
	a := openArchived(t, 3)
	found := a.record.Record(a.record.OpenRound(firstPump, shiftCheck), stationtest.Read(tyreStep, "pressure", 590, "kPa")).GetFindings()
	told, from, err := a.Explain(ctx, firstPump, found[0].GetFindingId())
	must(t, err)
	if from != round.SourceStation || told.GetFinding().GetFindingId() != found[0].GetFindingId() || len(told.GetLines()) < 4 {
		t.Errorf("from %d: %v", from, told)
	}
	here := a.twin.Record(a.twin.OpenRound(firstPump, shiftCheck), stationtest.Seen(windscreen, "03")).GetFindings()
	told, from, err = a.Explain(ctx, firstPump, here[0].GetFindingId())
	must(t, err)
	if from != round.SourceTablet || told.GetFinding().GetFindingId() != here[0].GetFindingId() || len(told.GetLines()) < 3 {
		t.Errorf("from %d: %v", from, told)
	}
	if _, _, err := a.Explain(ctx, firstPump, "none"); !fault.Is(err, fault.NotFound) {
		t.Errorf("of no finding it says %v", err)
	}
}

func TestArchive_RefusesWhatNobodyKnows(t *testing.T) {
	a := openArchived(t, 1)
	if _, _, err := a.Measured(ctx, "vehicles/nobody"); !fault.Is(err, fault.NotFound) {
		t.Errorf("of no vehicle it says %v", err)
	}
	if _, _, err := a.History(ctx, firstPump, "TYR-999/nowhere"); !fault.Is(err, fault.NotFound) {
		t.Errorf("of no step it says %v", err)
	}
}

func TestPast_IsShownInTheStationsUnit(t *testing.T) {
	pressure := round.Past{Step: &pb.CheckStep{}, History: &pb.GetHistoryResponse{Quantity: pb.Quantity_QUANTITY_PRESSURE, Unit: "bar"}}
	warmth := round.Past{Step: &pb.CheckStep{}, History: &pb.GetHistoryResponse{Quantity: pb.Quantity_QUANTITY_TEMPERATURE, Unit: "degF"}}
	level := round.Past{
		Step:    &pb.CheckStep{AnswerKind: pb.AnswerKind_ANSWER_KIND_LEVEL, VolumeBetweenMarksL: 4},
		History: &pb.GetHistoryResponse{Quantity: pb.Quantity_QUANTITY_FRACTION, Unit: "%"},
	}
	unknown := proto.CloneOf(level.Step)
	unknown.VolumeBetweenMarksL = 0
	for _, tc := range []struct {
		source    string
		got, want float64
	}{
		{"the bar is 100 kPa, SI brochure", pressure.Shown(820), 8.2},
		{"likewise", pressure.ShownChange(-5), -0.05},
		{"likewise", pressure.ShownAdded(&pb.SeriesPoint{Added: 60}), 0.6},
		{"water freezes at 32 °F", warmth.Shown(0), 32},
		{"10 K are 18 degrees of Fahrenheit", warmth.ShownChange(10), 18},
		{"a share in hundredths", level.Shown(0.25), 25},
		{"1 L of the 4 L between the marks", level.ShownAdded(&pb.SeriesPoint{Added: 1}), 25},
		{"nobody knows what lies between the marks", round.Past{Step: unknown, History: level.History}.ShownAdded(&pb.SeriesPoint{Added: 1}), 0},
	} {
		if math.Abs(tc.got-tc.want) > 1e-9 {
			t.Errorf("%s: %v, want %v", tc.source, tc.got, tc.want)
		}
	}
	if words := []string{pressure.Unit(), warmth.Unit(), level.Unit()}; !slices.Equal(words, []string{"bar", "°F", "%"}) {
		t.Errorf("the units are called %q", words)
	}
}
