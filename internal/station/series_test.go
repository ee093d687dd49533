package station_test

import (
	"log/slog"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// pointsOf is what was measured at a step of the first vehicle.
func pointsOf(k *stationtest.Kit, step string) []*pb.SeriesPoint {
	for _, a := range k.Standing(p1).GetAnswers() {
		if a.GetStepId() == step {
			return a.GetSeries().GetPoints()
		}
	}
	return nil
}

// What was measured is kept with what was known round it, and what the device
// says of the air counts for nothing.
func TestSeries_HoldsTheCircumstances(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	k.Clock.Advance(time.Minute)
	_, err := k.ResumeRound(ctx, &pb.ResumeRoundRequest{RequestId: k.ID(), Round: round, Conditions: &pb.RoundConditions{
		AmbientCelsius: proto.Float64(6), OdometerKm: proto.Float64(41210), EngineHours: proto.Float64(2300.5),
	}})
	if err != nil {
		t.Fatal(err)
	}
	k.Clock.Advance(time.Minute)
	r := stationtest.Read(tyre, "pressure", 8.5, "bar")
	r.Gauge, r.AirCelsius = "gauges/g-1", proto.Float64(40)
	k.Record(round, r)
	if got := lastOf(t, k, shift, tyre); got.AirCelsius == nil || got.GetAirCelsius() != 6 {
		t.Errorf("the result says %v of the air, want 6", got.AirCelsius)
	}
	k.Record(round, stationtest.NotChecked(tyre, pb.NotCheckedReason_NOT_CHECKED_REASON_TURNOUT))
	want := &pb.SeriesPoint{
		Value: 850, Gauge: "gauges/g-1",
		AirCelsius: proto.Float64(6), OdometerKm: proto.Float64(41210), EngineHours: proto.Float64(2300.5),
	}
	points := pointsOf(k, tyre)
	if len(points) != 1 {
		t.Fatalf("%d points, want 1", len(points))
	}
	if looked := points[0].GetLookedAt(); looked.AsTime().Before(k.Clock.Now()) {
		t.Errorf("looked at %v, want %v or just after", looked.AsTime(), k.Clock.Now())
	}
	want.LookedAt = points[0].GetLookedAt()
	if d := diff(want, points[0]); d != "" {
		t.Errorf("the point (want: -, got: +)\n%s", d)
	}
}

// Litres and pressures that a cure put in are told in their own units; of a
// pressure the two readings tell it when nobody else does (1 bar = 100 kPa, 1 l = 1 L: SI Brochure, table 8).
func TestSeries_CountsWhatWasPutIn(t *testing.T) {
	low := stationtest.Read(tyre, "pressure", 7.2, "bar")
	full := stationtest.Read(tyre, "pressure", 8.5, "bar")
	oilLow, oilFull := stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_BELOW, 0), stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_BETWEEN, 0.9)
	for name, tc := range map[string]struct {
		found, cured *pb.Result
		cure         *pb.Cure
		want         float64
	}{
		"a pressure in bar":          {low, full, &pb.Cure{Amount: 1.2, Unit: "bar"}, 120},
		"a pressure nobody measured": {low, full, &pb.Cure{}, 130},
		"a pressure in litres":       {low, full, &pb.Cure{Amount: 3, Unit: "L"}, 130},
		"a pressure let out":         {full, low, &pb.Cure{}, 0},
		"no pressure at all":         {low, low, &pb.Cure{}, 0},
		"litres of oil":              {oilLow, oilFull, &pb.Cure{Amount: 2.5, Unit: "L"}, 2.5},
		"oil nobody measured":        {oilLow, oilFull, &pb.Cure{}, 0},
		"no cure":                    {low, full, nil, 0},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := stationtest.Open(t)
			round := k.OpenRound(p1, shift)
			found := k.Record(round, tc.found).GetResultId()
			k.Clock.Advance(time.Minute)
			cured := proto.CloneOf(tc.cured)
			if tc.cure != nil {
				cured.Cure = &pb.Cure{FoundResultId: found, Done: "topped up", Amount: tc.cure.GetAmount(), Unit: tc.cure.GetUnit()}
			}
			k.Record(round, cured)
			points := pointsOf(k, cured.GetStepId())
			if len(points) != 2 || points[0].GetAdded() != 0 || points[1].GetAdded() != tc.want {
				t.Errorf("the points are %v, want %v put in before the second", points, tc.want)
			}
		})
	}
}

// A slip that is corrected was never measured: what corrects it stands in its
// place, with what a cure had put in.
func TestSeries_ForgetsASlip(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	read := func(bar float64) *pb.Result {
		k.Clock.Advance(time.Minute)
		return stationtest.Read(tyre, "pressure", bar, "bar")
	}
	low := k.Record(round, read(7.2)).GetResultId()
	slip := read(5.8)
	slip.Confirmed, slip.Cure = true, &pb.Cure{FoundResultId: low, Done: "topped up", Amount: 1.3, Unit: "bar"}
	k.Record(round, slip)
	right := read(8.5)
	right.Correction = true
	k.Record(round, right)
	other := read(8.4)
	other.Correction, other.Person = true, "people/other"
	_, err := k.TryRecord(round, other)
	refusal{fault.Precondition, "CORRECTION_OF_NOTHING"}.check(t, err)
	for _, when := range []string{"at once", "after a restart"} {
		for what, points := range map[string][]*pb.SeriesPoint{"rests on": pointsOf(k, tyre), "tells": historyOf(t, k, tyre).GetPoints()} {
			if len(points) != 2 || points[0].GetValue() != 720 || points[1].GetValue() != 850 || points[1].GetAdded() != 130 {
				t.Errorf("%s it %s %v, want 720 and 850 with 130 put in", when, what, points)
			}
		}
		k.Reopen()
	}
}

// Many looks at one place, some of them late, and a repair between: after a
// restart, and after the rows were made anew, it stands as it stood.
func TestSeries_IsTheSameFromRowsAndEvents(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	for i := range 150 {
		k.Clock.Advance(time.Minute)
		r := stationtest.Read(tyre, "pressure", 8+float64(i)/1000, "bar")
		if i%37 == 36 {
			r = lookedAt(k, r, -90*time.Second)
		}
		if i == 120 {
			r = stationtest.Beside(stationtest.Read(tyre, "pressure", 6.5, "bar"), "03")
			r.Confirmed = true
		}
		k.Record(round, r)
		if i == 120 {
			for _, d := range k.Readiness(p1).GetOpenDefects() {
				if _, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: d.GetName(), Person: "people/mechanic", Done: "new valve"}); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	before := measuredOn(k, p1)
	points := pointsOf(k, tyre)
	anew := 0
	for _, p := range points {
		if p.GetReset_() {
			anew++
		}
	}
	if len(points) > 64 || len(points) < 56 || points[0].GetValue() != 800 || anew != 1 {
		t.Fatalf("%d points from %v kPa on, of which %d begin anew; want 56 to 64 from the first, 800 kPa, on, and 1", len(points), points[0].GetValue(), anew)
	}
	k.Reopen()
	if d := diff(before, measuredOn(k, p1)); d != "" {
		t.Errorf("after a restart (before: -, now: +)\n%s", d)
	}
	k.Close()
	if _, err := station.Rebuild(ctx, k.Dir(), slog.New(slog.DiscardHandler)); err != nil {
		t.Fatal(err)
	}
	k.Reopen()
	if d := diff(before, measuredOn(k, p1)); d != "" {
		t.Errorf("after the rows were made anew (before: -, now: +)\n%s", d)
	}
}
