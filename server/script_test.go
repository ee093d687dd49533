package main

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
)

// smallPlan is a plan with one step of each kind of answer.
func smallPlan() (*pb.Plan, *pb.VehicleConfiguration) {
	pressure := []*pb.ReadingPart{{
		Id: "pressure", Quantity: pb.Quantity_QUANTITY_PRESSURE, Plausible: &pb.Range{Least: 400, Greatest: 1000}, UsualUnit: "bar",
	}}
	vacuum := []*pb.ReadingPart{
		{Id: "vacuum", Quantity: pb.Quantity_QUANTITY_PRESSURE, Plausible: &pb.Range{Least: 50, Greatest: 100}},
		{Id: "loss", Quantity: pb.Quantity_QUANTITY_PRESSURE_RATE, Plausible: &pb.Range{Least: 0, Greatest: 20}},
	}
	seen := []*pb.Condition{
		{Id: "whole", Meaning: &pb.Condition_Sound{Sound: true}},
		{Id: "01", Meaning: &pb.Condition_Fault{Fault: "GLA-010-01"}},
	}
	beside := []*pb.Condition{
		{Id: "02", Meaning: &pb.Condition_Fault{Fault: "OIL-010-02"}},
		{Id: "03", Meaning: &pb.Condition_Fault{Fault: "OIL-010-03"}},
	}
	plan := &pb.Plan{Vehicle: "vehicles/p1", Routine: "routines/shift", Steps: []*pb.CheckStep{
		{StepId: "GLA-010/screen", Item: "GLA-010", AnswerKind: pb.AnswerKind_ANSWER_KIND_CONDITION, Conditions: seen, LeastLookS: 4},
		{StepId: "OIL-010/dipstick", Item: "OIL-010", AnswerKind: pb.AnswerKind_ANSWER_KIND_LEVEL, Conditions: beside, Alike: 2},
		{StepId: "TYR-010/axle-1-nearside", Item: "TYR-010", AnswerKind: pb.AnswerKind_ANSWER_KIND_READING, Parts: pressure, Units: []string{"psi"}, Target: proto.Float64(850)},
		{StepId: "TYR-010/axle-1-offside", Item: "TYR-010", AnswerKind: pb.AnswerKind_ANSWER_KIND_READING, Parts: pressure, Units: []string{"bar"}},
		{StepId: "TYR-020/axle-1-offside", Item: "TYR-020", AnswerKind: pb.AnswerKind_ANSWER_KIND_PROFILE, Axle: 1, Parts: []*pb.ReadingPart{{Id: "depth", Quantity: pb.Quantity_QUANTITY_LENGTH}}},
		{StepId: "PMP-040/pump", Item: "PMP-040", AnswerKind: pb.AnswerKind_ANSWER_KIND_READING, Parts: vacuum, Units: []string{"bar", "bar/min"}},
	}}
	return plan, &pb.VehicleConfiguration{Name: "vehicles/p1", Axles: []*pb.Axle{{Tyre: &pb.Tyre{NewTreadMm: 15}}}}
}

// scripted is what a round file does on the small plan.
func scripted(t *testing.T, more string) ([]act, error) {
	t.Helper()
	r, err := parseRoundFile("round.yaml", []byte(wellFormed+more))
	if err != nil {
		t.Fatal(err)
	}
	return r.script(smallPlan())
}

// A sound coolant protects below what the policy wants: 10 K below the coldest that the
// station prepares for (packs/wendmoor-policy, FLU-040-02).
func TestTargetIn_ASoundCoolantProtectsBelowTheColdest(t *testing.T) {
	coldest := -12.0
	step := &pb.CheckStep{
		StepId: "FLU-040/engine-flap", Fluid: pb.FluidKind_FLUID_KIND_COOLANT, Target: &coldest,
		Parts: []*pb.ReadingPart{{Id: "protects_to", Quantity: pb.Quantity_QUANTITY_TEMPERATURE}},
	}
	for unit, want := range map[string]float64{"degC": -27, "degF": -16.6} { // °F = °C × 1.8 + 32 (NIST SP 811, B.8)
		step.Units = []string{unit}
		if got, err := targetIn(step); err != nil || got != (amount{want, unit}) {
			t.Errorf("%v (%v), want %v %s", got, err, want, unit)
		}
	}
}

func results(acts []act) map[string]*pb.Result {
	all := map[string]*pb.Result{}
	for _, a := range acts {
		if a.result != nil {
			all[a.step.GetStepId()] = a.result
		}
	}
	return all
}

func TestScript_SoundAnswersEveryStepInTheOrderOfThePlan(t *testing.T) {
	acts, err := scripted(t, "answer: sound\nnominal: {PMP-040.loss: 0.03 bar/min, OIL-010: 70 %}\ngauges: {pressure: g-07}\n")
	if err != nil {
		t.Fatal(err)
	}
	plan, _ := smallPlan()
	for i, step := range plan.GetSteps() {
		if acts[i].step.GetStepId() != step.GetStepId() {
			t.Errorf("act %d is %s, want %s", i, acts[i].step.GetStepId(), step.GetStepId())
		}
	}
	all := results(acts)
	if got := all["GLA-010/screen"]; got.GetSeen().GetConditions()[0].GetCondition() != "whole" || got.GetLookedS() != 5 || got.GetGauge() != "" {
		t.Errorf("condition: %v", got)
	}
	if got := all["OIL-010/dipstick"].GetLevel(); got.GetMark() != pb.LevelMark_LEVEL_MARK_BETWEEN || got.GetFraction() != 0.7 {
		t.Errorf("level: %v", got)
	}
	for step, want := range map[string]*pb.Value{
		// 850 kPa in psi by the exact factor 6.894757293168361 kPa (NIST SP 811, B.8), to four figures
		"TYR-010/axle-1-nearside": {Part: "pressure", AsTyped: 123.3, Unit: "psi"},
		"TYR-010/axle-1-offside":  {Part: "pressure", AsTyped: 7, Unit: "bar"}, // the middle of 400 and 1000 kPa
	} {
		if diff := cmp.Diff(want, all[step].GetReading().GetValues()[0], protocmp.Transform()); diff != "" {
			t.Errorf("%s (-want +got):\n%s", step, diff)
		}
		if all[step].GetGauge() != "gauges/g-07" {
			t.Errorf("%s is read with %q", step, all[step].GetGauge())
		}
	}
	for _, point := range all["TYR-020/axle-1-offside"].GetProfile().GetSections()[0].GetPoints() {
		if point.GetAsTyped() != 9 { // six tenths of 15 mm
			t.Errorf("tread: %v", point)
		}
	}
	pump := all["PMP-040/pump"].GetReading().GetValues()
	if math.Abs(pump[0].GetAsTyped()-0.75) > 1e-9 || pump[1].GetAsTyped() != 0.03 || pump[1].GetUnit() != "bar/min" {
		t.Errorf("vacuum and loss: %v", pump)
	}
}

func TestScript_TheStepBeatsItsItemAndNothingElseIsAnswered(t *testing.T) {
	acts, err := scripted(t, `steps:
  TYR-010: {reading: 8 bar}
  TYR-010/axle-1-offside: {reading: {pressure: 6.1 bar}, gauge: g-03, confirmed: true}
  GLA-010: {skip: true}
`)
	if err != nil {
		t.Fatal(err)
	}
	if len(acts) != 2 {
		t.Fatalf("%d acts, want 2", len(acts))
	}
	all := results(acts)
	if got := all["TYR-010/axle-1-nearside"].GetReading().GetValues()[0]; got.GetAsTyped() != 8 {
		t.Errorf("by item: %v", got)
	}
	if got := all["TYR-010/axle-1-offside"]; got.GetReading().GetValues()[0].GetAsTyped() != 6.1 || got.GetGauge() != "gauges/g-03" || !got.GetConfirmed() {
		t.Errorf("by step: %v", got)
	}
}

// Faults beside a value are named as those that are the whole answer: by their
// own ids or by their conditions', one, several, or with how many show them.
func TestScript_FaultsBesideAValue(t *testing.T) {
	one, three := &pb.ConditionSeen{Condition: "02"}, &pb.ConditionSeen{Condition: "03"}
	for _, tc := range []struct {
		says string
		want []*pb.ConditionSeen
	}{
		{"level: 0.5, also_seen: OIL-010-02", []*pb.ConditionSeen{one}},
		{`level: below, also_seen: "03"`, []*pb.ConditionSeen{three}},
		{"level: 0.5, also_seen: [OIL-010-03, OIL-010-02]", []*pb.ConditionSeen{three, one}},
		{"level: 0.5, also_seen: {OIL-010-02: 1 of 2}", []*pb.ConditionSeen{{Condition: "02", Count: &pb.Count{Affected: 1, Of: 2}}}},
		{"level: 0.5", nil},
		{"note: nothing else", nil}, // answered soundly
	} {
		acts, err := scripted(t, "answer: sound\nsteps:\n  OIL-010: {"+tc.says+"}\n")
		if err != nil {
			t.Fatalf("%s: %v", tc.says, err)
		}
		for step, r := range results(acts) {
			want := tc.want
			if step != "OIL-010/dipstick" {
				want = nil
			}
			if diff := cmp.Diff(want, r.GetAlsoSeen(), protocmp.Transform()); diff != "" {
				t.Errorf("%s, at %s (-want +got):\n%s", tc.says, step, diff)
			}
		}
	}
}

func TestTitleOf_SaysWhereOnce(t *testing.T) {
	for _, tc := range []struct{ title, place, want string }{
		{"Parking brake", "driver seat", "Parking brake, driver seat"},
		{"Engine oil level", "engine oil dipstick", "Engine oil level"},
		{"Front tread depth, nearside", "front axle, nearside", "Front tread depth, nearside"},
		{"Stop lamp, upper, offside", "upper stop lamp, offside", "Stop lamp, upper, offside"},
		{"Coolant level", "engine flap, nearside", "Coolant level, engine flap, nearside"},
		{"Horn", "", "Horn"},
	} {
		if got := titleOf(&pb.CheckStep{Title: tc.title, Place: &pb.Place{Title: tc.place}}); got != tc.want {
			t.Errorf("%q at %q is told as %q, want %q", tc.title, tc.place, got, tc.want)
		}
	}
}

// A plan says at which steps faults can be seen beside the value.
func TestAsks_SaysWhatCanBeSeenBesideTheValue(t *testing.T) {
	plan, _ := smallPlan()
	var got []string
	for _, step := range plan.GetSteps()[:3] {
		got = append(got, asks(step))
	}
	want := []string{"one of 2 conditions", "level between the marks; beside it 2 faults can be seen", "read psi, about 123.3 psi"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("what is asked (-want +got):\n%s", diff)
	}
}

func TestScript_ACureSpeaksOfTheResultBeforeIt(t *testing.T) {
	acts, err := scripted(t, "steps:\n  OIL-010: {begin: true, level: below, then: [{cure: topped up, level: 0.8}, {correction: true, level: 0.7}], pause_after: call}\n")
	if err != nil {
		t.Fatal(err)
	}
	if len(acts) != 5 || !acts[0].begin || acts[4].pause == nil {
		t.Fatalf("acts: %+v", acts)
	}
	found, cured, corrected := acts[1].result, acts[2].result, acts[3].result
	if cured.GetCure().GetFoundResultId() != found.GetResultId() || cured.GetCure().GetDone() != "topped up" {
		t.Errorf("cure: %v, found by %s", cured.GetCure(), found.GetResultId())
	}
	if !corrected.GetCorrection() || corrected.GetCure() != nil || corrected.GetResultId() == cured.GetResultId() {
		t.Errorf("correction: %v", corrected)
	}
}

func TestScript_EndsAtAPauseThatStays(t *testing.T) {
	acts, err := scripted(t, "answer: sound\nend: leave_open\nsteps:\n  OIL-010: {pause_after: {note: call, resume: false}}\n  PMP-040: {skip: true}\n")
	if err != nil {
		t.Fatal(err)
	}
	if last := acts[len(acts)-1]; len(acts) != 3 || last.pause == nil {
		t.Errorf("acts after a pause that stays: %+v", acts)
	}
}

func TestScript_SaysWhatDoesNotFitThePlan(t *testing.T) {
	for _, tc := range []struct{ why, steps, says string }{
		{"an item it does not have", "  LMP-020: {seen: sound}\n", "round.yaml:5:3: routines/shift asks for no LMP-020"},
		{"a place it does not have", "  OIL-010/elsewhere: {level: 0.5}\n", "asks for no OIL-010/elsewhere"},
		{"a condition it does not have", "  GLA-010: {seen: GLA-010-09}\n", `GLA-010/screen has no condition "GLA-010-09"`},
		{"a fault it cannot show beside its value", "  OIL-010: {level: 0.5, also_seen: OIL-010-09}\n", `OIL-010/dipstick has no condition "OIL-010-09"`},
		{"sound beside a value", "  OIL-010: {level: 0.5, also_seen: sound}\n", `OIL-010/dipstick has no condition "sound"`},
		{"one value for two parts", "  PMP-040: {reading: 0.8 bar}\n", "reads vacuum, loss; say which part"},
		{"a part it does not have", "  TYR-010: {reading: {temperature: 4 degC}}\n", "reads pressure, each once"},
		{"a part that is missing", "  PMP-040: {reading: {vacuum: 0.8 bar}}\n", "each once"},
	} {
		t.Run(tc.why, func(t *testing.T) {
			_, err := scripted(t, "steps:\n"+tc.steps)
			if err == nil || !strings.Contains(err.Error(), tc.says) || command.CodeOf(err) != command.ExitMisused {
				t.Errorf("it says %v, want %q", err, tc.says)
			}
		})
	}
}

func TestFigures_RoundAsAnInstrumentShows(t *testing.T) {
	for _, tc := range []struct {
		x    float64
		n    int
		want float64
	}{{123.2843, 4, 123.3}, {0.0123456, 3, 0.0123}, {0, 4, 0}, {-8.549999, 3, -8.55}, {850, 4, 850}} {
		if got := figures(tc.x, tc.n); math.Abs(got-tc.want) > 1e-12 {
			t.Errorf("%v to %d figures = %v, want %v", tc.x, tc.n, got, tc.want)
		}
	}
}
