package round

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

func TestWords_RangesAndResolutionsAreInTheUnitThatIsTyped(t *testing.T) {
	pressure := pressureStep.Parts[0]
	for _, tc := range []struct{ unit, want string }{
		{"bar", "5 … 10"},
		{"kPa", "500 … 1000"},
		{"psi", "72.5 … 145"}, // 1 psi is 6.894757 kPa (NIST SP 811, B.8): 72.519 and 145.038
		{"mm", ""},
	} {
		if got := rangeWords(pressure.Plausible, pressure.Quantity, tc.unit); got != tc.want {
			t.Errorf("in %s: %q, want %q", tc.unit, got, tc.want)
		}
	}
	tyre := &pb.Gauge{Quantity: pb.Quantity_QUANTITY_PRESSURE, Resolution: 10}
	frost := &pb.Gauge{Quantity: pb.Quantity_QUANTITY_TEMPERATURE, Resolution: 1}
	for _, tc := range []struct {
		g          *pb.Gauge
		unit, want string
	}{
		{tyre, "bar", "0.1"},
		{tyre, "kPa", "10"},
		{frost, "degC", "1"},
		{frost, "degF", "1.8"}, // a step of 1 K is one of 1.8 degrees Fahrenheit
		{frost, "bar", ""},
	} {
		if got := resolutionWords(tc.g, tc.unit); got != tc.want {
			t.Errorf("a step of %v in %s: %q, want %q", tc.g.GetResolution(), tc.unit, got, tc.want)
		}
	}
}

// An answer reads the same from what was typed as from what was recorded.
func TestWords_TheRecordReadsAsItWasTyped(t *testing.T) {
	for _, tc := range []struct {
		step *pb.CheckStep
		acts []string
	}{
		{pressureStep, []string{"key key=8", "key key=.", "key key=4", "see condition=03"}},
		{pressureStep, []string{"key key=8", "read-again", "key key=9", "read-again", "key key=8", "see condition=03"}},
		{hoursStep, []string{"key key=9", "field id=engine_hours", "key key=7"}},
		{levelStep, []string{"level mark=between fraction=0.25", "see condition=02"}},
		{levelStep, []string{"level mark=below"}},
		{lampStep, []string{"see condition=02", "see condition=01", "count condition=01 affected=3", "count condition=02 affected=16"}},
		{treadStep, []string{"section n=2", "field id=2-1", "key key=9", "field id=2-2", "key key=8", "field id=2-3", "key key=8", "field id=2-4", "key key=7"}},
	} {
		d, r := typist(t, tc.step, tc.acts...), &pb.Result{}
		d.answerInto(r, tc.step)
		typed, recorded := d.typedWords(tc.step), answerWords(tc.step, r)
		if typed != recorded || typed == "" {
			t.Errorf("typed %q, recorded %q", typed, recorded)
		}
	}
}

// Of several readings the mean is told, in the unit that was typed (DERIVED).
func TestWords_OfSeveralReadingsTheMeanIsTold(t *testing.T) {
	for _, tc := range []struct {
		value *pb.Value
		want  string
	}{
		{&pb.Value{AsTyped: 810, Unit: "kPa"}, "810 kPa"},
		{&pb.Value{AsTyped: 810, Again: []float64{812, 814}, Unit: "kPa"}, "mean 812 kPa of 3 readings: 810, 812, 814"},
		{&pb.Value{AsTyped: 117, Again: []float64{118}, Unit: "psi"}, "mean 117.5 psi of 2 readings: 117, 118"},
		{&pb.Value{AsTyped: 8.1, Again: []float64{8.2, 8.2}, Unit: "bar"}, "mean 8.167 bar of 3 readings: 8.1, 8.2, 8.2"},
		{&pb.Value{AsTyped: -30, Again: []float64{-31}, Unit: "degC"}, "mean -30.5 °C of 2 readings: -30, -31"},
	} {
		r := &pb.Result{Answer: &pb.Result_Reading{Reading: &pb.Reading{Values: []*pb.Value{tc.value}}}}
		if got := answerWords(pressureStep, r); got != tc.want {
			t.Errorf("told %q, want %q", got, tc.want)
		}
	}
}

func TestWords_EveryReasonNotToCheckHasWordsAndAName(t *testing.T) {
	for number, name := range pb.NotCheckedReason_name {
		act := strings.ToLower(strings.TrimPrefix(name, "NOT_CHECKED_REASON_"))
		reason, known := reasonOf(act)
		if known != (number != 0) || known && (reason != pb.NotCheckedReason(number) || reasonWords(reason) == "no reason given") {
			t.Errorf("%s is %v (%t): %q", act, reason, known, reasonWords(reason))
		}
	}
	if _, known := reasonOf("lazy"); known {
		t.Error("lazy is a reason")
	}
}

func TestWords_EveryVerdictEffectAndGradeHasWords(t *testing.T) {
	for number := range pb.Verdict_name {
		if got := sayVerdict(pb.Verdict(number)); (got == "not known") != (number == 0) {
			t.Errorf("verdict %d is %q", number, got)
		}
	}
	seen := map[string]bool{}
	for number := range pb.Effect_name {
		seen[effectWords(pb.Effect(number))] = true
	}
	if len(seen) != len(pb.Effect_name) {
		t.Errorf("effects are %v", seen)
	}
	for number := range pb.Grade_name {
		if got := gradeWords(pb.Grade(number)); (got == "") != (number == 0) {
			t.Errorf("grade %d is %q", number, got)
		}
	}
}

func TestWords_AFindingSaysWhatItMeans(t *testing.T) {
	for _, tc := range []struct {
		f    *pb.Finding
		want string
	}{
		{&pb.Finding{Grade: pb.Grade_GRADE_MAJOR, Effect: pb.Effect_EFFECT_RESPONDING, Text: "Nail in the tread."}, "MAJOR · not to respond until put right: Nail in the tread."},
		{&pb.Finding{Grade: pb.Grade_GRADE_DANGEROUS, Effect: pb.Effect_EFFECT_MOVING}, "DANGEROUS · not to be moved"},
		{&pb.Finding{
			Grade: pb.Grade_GRADE_MINOR, Effect: pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT, Text: "Low.", Restrictions: []*pb.Restriction{{Text: "80 km/h"}},
			CapabilitiesLost: []string{"pump"},
		}, "MINOR · a limit applies; 80 km/h; without pump: Low."},
	} {
		if got := findingWords(tc.f); got != tc.want {
			t.Errorf("%q, want %q", got, tc.want)
		}
	}
}

func TestWords_WhyAVerdictIsProvisional(t *testing.T) {
	now := time.Date(2026, time.March, 2, 8, 0, 0, 0, time.UTC)
	for _, tc := range []struct {
		l    Link
		want string
	}{
		{Link{Live: true}, ""},
		{Link{Live: true, Pending: 1}, "1 result waits to be sent"},
		{Link{Live: true, Pending: 7}, "7 results wait to be sent"},
		{Link{}, "the station was not heard yet"},
		{Link{Since: now.Add(-18 * time.Minute), Pending: 3}, "no connection since 07:42, 3 results wait to be sent"},
		{Link{Since: now.Add(-18 * time.Hour)}, "no connection since Sun 1 Mar 14:00"},
	} {
		if got := waitWords(tc.l, now, time.UTC); got != tc.want {
			t.Errorf("%+v: %q, want %q", tc.l, got, tc.want)
		}
	}
}

func TestHandover_SaysWhatTheNextWatchMustKnow(t *testing.T) {
	at := time.Date(2026, time.March, 2, 8, 12, 0, 0, time.UTC)
	skipped := &pb.Result{Note: "bay door", Answer: &pb.Result_NotChecked{NotChecked: &pb.NotChecked{Reason: pb.NotCheckedReason_NOT_CHECKED_REASON_NOT_REACHABLE}}}
	h := handover{
		vehicle: &pb.VehicleConfiguration{CallSign: "WN11"}, routine: &pb.Routine{Title: "shift check"}, driver: "Tamsel Arkwith", assistant: "Borin Quellmere",
		round: &pb.Round{Name: "rounds/1", AnsweredSteps: []string{"A", "B", "E", "F"}}, at: at, zone: time.FixedZone("", 3600), until: at.Add(12 * time.Hour), note: " Watch the oil. ",
		waits: "3 results wait to be sent",
		stock: []*pb.Stock{{Text: "engine oil: 3 l left, low", Low: true}, {Text: "coolant mix: 20 l left"}},
		steps: []*pb.CheckStep{
			{StepId: "A", Title: "Windscreen"},
			{StepId: "B", Title: "Roof gear", Last: skipped},
			{StepId: "C", Title: "Siren", Last: skipped}, // in an earlier round
			cured("E", "Engine oil", "rounds/1"), cured("F", "Coolant", "rounds/0"),
		},
		readiness: &pb.Readiness{
			Verdict:      pb.Verdict_VERDICT_RESTRICTED,
			Restrictions: []*pb.Restriction{{Text: "Not at night in rain"}},
			Capabilities: []*pb.CapabilityState{{Capability: "pump", LostBecause: []string{"Pump stuck"}}, {Capability: "crew", Available: true}},
			Reasons:      []*pb.Reason{{Text: "Said elsewhere.", Cause: &pb.Reason_Defect{Defect: "d"}}, {Text: "The twins differ.", Cause: &pb.Reason_Finding{}}},
			OpenDefects: []*pb.Defect{
				{StepId: "A", Round: "rounds/1", State: pb.DefectState_DEFECT_STATE_OPEN, TimesFound: 2, Findings: []*pb.Finding{{Text: "Screen cracked.", DriverDoes: "Tell the officer."}}},
				{StepId: "G", Round: "rounds/0", State: pb.DefectState_DEFECT_STATE_DEFERRED, Deferral: &pb.Deferral{ExpiresLocal: "Thu 5 Mar 19:00"}, Findings: []*pb.Finding{{Text: "Stone chip."}}},
				{StepId: "D", Round: "rounds/0", State: pb.DefectState_DEFECT_STATE_RECTIFIED, TimesFound: 1, Findings: []*pb.Finding{{Text: "Pump stuck."}}},
			},
			RoutineDues: []*pb.RoutineDue{
				{State: pb.DueState_DUE_STATE_OVERDUE, Text: "weekly check overdue since Sun 1 Mar 08:00"},
				{State: pb.DueState_DUE_STATE_COMING, Due: timestamppb.New(at.Add(11 * time.Hour)), Text: "shift check due Mon 2 Mar 20:12"},
				{State: pb.DueState_DUE_STATE_COMING, Due: timestamppb.New(at.Add(24 * time.Hour)), Text: "not in this watch"},
			},
			DueNext: []*pb.DueStep{
				{Due: timestamppb.New(at.Add(time.Hour)), Steps: 1, Title: "Floor"},
				{Due: timestamppb.New(at.Add(time.Hour + time.Second)), Steps: 2, Title: "Oil"},
				{Due: timestamppb.New(at.Add(30 * time.Hour)), Steps: 1, Title: "Tread"},
			},
		},
	}
	const want = `WN11, shift check, Mon 2 Mar 2026 09:12. Driver Tamsel Arkwith, assistant Borin Quellmere.
Verdict: fit with limits (provisional: 3 results wait to be sent).
Why:
- The twins differ
Limits in force:
- Not at night in rain
- no pump: Pump stuck
Found today:
- Windscreen: Screen cracked, found 2 times. To do: Tell the officer.
Put right today:
- Engine oil: topped up, 1.5 L used; then between the marks, 90 %
Open from before:
- G: Stone chip
- D: Pump stuck, repaired: check it again
Not checked:
- Roof gear: could not be reached or seen, bay door
Left open:
- Siren
Deferred:
- G: may wait until Thu 5 Mar 19:00
Due until the coming watch ends:
- weekly check overdue since Sun 1 Mar 08:00
- shift check due Mon 2 Mar 20:12
Due next:
- 10:12: Floor and 2 more
- Tue 3 Mar 15:12: Tread
Low at the station:
- engine oil: 3 l left, low
From the driver: Watch the oil.`
	if got := h.text(); got != want {
		t.Errorf("it says\n%s\nwant\n%s", got, want)
	}
	h = handover{vehicle: h.vehicle, routine: h.routine, driver: h.driver, round: &pb.Round{}, readiness: &pb.Readiness{Verdict: pb.Verdict_VERDICT_FIT}, at: at, zone: time.UTC}
	if got := h.text(); got != "WN11, shift check, Mon 2 Mar 2026 08:12. Driver Tamsel Arkwith.\nVerdict: fit to respond." {
		t.Errorf("with nothing to tell it says\n%s", got)
	}
}

// The watch that takes over at 07:30 ends at 19:30; on the night of 28 March 2026 clocks go
// forward, and it ends by the wall clock all the same (SI 2002/262).
func TestHandover_KnowsWhenTheComingWatchEnds(t *testing.T) {
	home := &pb.Station{TimeZone: "Europe/London", Calendar: &pb.Calendar{Changes: []*pb.WatchChange{{At: "07:30", Watch: "day"}, {At: "19:30", Watch: "night"}}}}
	at := time.Date(2026, time.March, 28, 12, 0, 0, 0, time.UTC)
	if got, want := comingWatchEnds(home, at), time.Date(2026, time.March, 29, 6, 30, 0, 0, time.UTC); !got.Equal(want) {
		t.Errorf("the night watch ends at %v, want %v", got, want)
	}
	if got, want := comingWatchEnds(&pb.Station{TimeZone: "Europe/London"}, at), at.Add(24*time.Hour); !got.Equal(want) {
		t.Errorf("without a calendar: %v, want %v", got, want)
	}
}

// cured is a step at which something was put right in a round.
func cured(id, title, round string) *pb.CheckStep {
	return &pb.CheckStep{StepId: id, Title: title, Last: &pb.Result{
		Round: round, Cure: &pb.Cure{Done: "topped up.", Amount: 1.5, Unit: "L"},
		Answer: &pb.Result_Level{Level: &pb.Level{Mark: pb.LevelMark_LEVEL_MARK_BETWEEN, Fraction: 0.9}},
	}}
}

// The words of the tablet are the trade's (screens.md): no "OK", no "submit", no "please".
func TestWords_AreTheTrades(t *testing.T) {
	never := regexp.MustCompile(`(?i)\b(ok|okay|submit|please|oops|invalid|error)\b`)
	for _, step := range []*pb.CheckStep{pressureStep, hoursStep, treadStep, levelStep, lampStep, {}} {
		if got := (draft{}).hindrance(step); got == "" || never.MatchString(got) {
			t.Errorf("said %q", got)
		}
	}
	for n := range pb.NotCheckedReason_name {
		if got := reasonWords(pb.NotCheckedReason(n)); never.MatchString(got) {
			t.Errorf("said %q", got)
		}
	}
}
