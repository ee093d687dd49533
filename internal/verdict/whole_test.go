package verdict_test

import (
	"strings"
	"testing"
	"time"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// TestOf_Whole is one vehicle told whole, every field by hand.
func TestOf_Whole(t *testing.T) {
	in := fitInput(4)
	in.Latest[stepID(0)] = real(noon.Add(-hours(2)))
	in.Latest[stepID(3)] = real(noon.Add(-hours(23)))
	brake := finding("brake", pb.Effect_EFFECT_RESPONDING)
	brake.StepIds, brake.Text = []string{stepID(2)}, "pedal sinks"
	lamp := finding("lamp", pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT)
	lamp.Text, lamp.Grade = "no light", pb.Grade_GRADE_MINOR
	daylight := &pb.Restriction{Kind: pb.RestrictionKind_RESTRICTION_KIND_WEATHER, Text: "daylight only"}
	slow := &pb.Restriction{Kind: pb.RestrictionKind_RESTRICTION_KIND_SPEED, Text: "60 km/h", SpeedKmh: 60}
	lamp.Restrictions = []*pb.Restriction{daylight, slow}
	pump := finding("pump", pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT)
	pump.StepIds, pump.Text, pump.CapabilitiesLost, pump.Restrictions = []string{stepID(3)}, "pump does not prime", []string{"pump", "foam"}, []*pb.Restriction{daylight}
	known := &pb.Defect{
		Name: "vehicles/wn11/defects/a1", State: pb.DefectState_DEFECT_STATE_OPEN, StepId: stepID(3), TimesFound: 3,
		Findings: []*pb.Finding{pump},
	}
	in.Findings, in.Defects = []*pb.Finding{pump, lamp, brake}, []*pb.Defect{known}
	early, late := &pb.UndoneStep{StepId: stepID(1), UndoS: 20}, &pb.UndoneStep{StepId: stepID(2), UndoS: 180}
	in.Undone = []*pb.UndoneStep{late, early}
	first := &pb.Round{Name: "rounds/1", State: pb.RoundState_ROUND_STATE_PAUSED, Opened: timestamppb.New(noon.Add(-hours(3)))}
	second := &pb.Round{Name: "rounds/0", State: pb.RoundState_ROUND_STATE_OPEN, Opened: timestamppb.New(noon.Add(-hours(1)))}
	over := &pb.Round{Name: "rounds/2", State: pb.RoundState_ROUND_STATE_FINISHED}
	in.Rounds = []*pb.Round{over, second, first}

	want := &pb.Readiness{
		Vehicle: "vehicles/wn11", CallSign: "WN11", Station: "stations/skarholm-quay", Verdict: pb.Verdict_VERDICT_MOVE_ONLY,
		Until: timestamppb.New(noon.Add(hours(1))), AsOf: timestamppb.New(noon), VehicleRevision: 7,
		RulePacks: []string{"packs/wendmoor-policy@1"}, CheckedSince: timestamppb.New(noon.Add(-hours(23))), AnswersTo: "WN11",
		Reasons: []*pb.Reason{
			{Verdict: pb.Verdict_VERDICT_MOVE_ONLY, Text: "Item 2: pedal sinks", Cause: &pb.Reason_Finding{Finding: brake}},
			{Verdict: pb.Verdict_VERDICT_RESTRICTED, Text: "Item 3: pump does not prime (found 3 times)", Cause: &pb.Reason_Defect{Defect: known.GetName()}},
			{Verdict: pb.Verdict_VERDICT_RESTRICTED, Text: "Item 0: no light", Cause: &pb.Reason_Finding{Finding: lamp}},
		},
		Restrictions: []*pb.Restriction{daylight, slow},
		Capabilities: []*pb.CapabilityState{
			{Capability: "pump", LostBecause: []string{"Item 3: pump does not prime"}},
			{Capability: "crew seat", Available: true},
		},
		OpenDefects: []*pb.Defect{known},
		DueNext: []*pb.DueStep{
			{Due: timestamppb.New(noon.Add(hours(1))), Steps: 1, Title: "Item 3"},
			{Due: timestamppb.New(noon.Add(hours(22))), Steps: 1, Title: "Item 0"},
			{Due: timestamppb.New(noon.Add(hours(23))), Steps: 2, Title: "Item 1"},
		},
		ReadinessDebtS: 200, Undone: []*pb.UndoneStep{early, late}, Rounds: []*pb.Round{first, second},
	}
	if diff := cmp.Diff(want, verdict.Of(in, noon), protocmp.Transform()); diff != "" {
		t.Errorf("readiness (-want +got):\n%s", diff)
	}
}

// TestOf_ReasonsStandInWalkingOrder: those as bad as each other, of one grade,
// stand as the driver walks and not by their words.
func TestOf_ReasonsStandInWalkingOrder(t *testing.T) {
	in := fitInput(3)
	in.Required[0], in.Required[2] = in.Required[2], in.Required[0]
	for i := range 3 {
		f := finding("worn", pb.Effect_EFFECT_NOTHING)
		f.StepIds = []string{stepID(i)}
		in.Findings = append(in.Findings, f)
	}
	in.Findings[1].Grade = pb.Grade_GRADE_DANGEROUS
	var got []string
	for _, r := range verdict.Of(in, noon).GetReasons() {
		got = append(got, r.GetText())
	}
	if diff := cmp.Diff([]string{"Item 1: worn", "Item 2: worn", "Item 0: worn"}, got); diff != "" {
		t.Errorf("reasons (-want +got):\n%s", diff)
	}
}

func TestOf_NamesFiveInstantsAtMost(t *testing.T) {
	in := fitInput(9)
	for i := range 9 {
		in.Latest[stepID(i)] = real(noon.Add(-time.Duration(i/2) * time.Minute)) // pairs share an instant
	}
	in.Latest[stepID(8)] = real(noon.Add(time.Minute))
	in.Required = append(in.Required, fitInput(10).Required[9])
	in.Latest[stepID(9)] = real(noon.Add(time.Hour))
	due := verdict.Of(in, noon).GetDueNext()
	if len(due) != 5 || due[0].GetTitle() != "Item 6" || due[0].GetSteps() != 2 || due[4].GetTitle() != "Item 8" {
		t.Errorf("due next: %v", due)
	}
}

func TestOf_MissingAnswerLeavesNoCheckedSince(t *testing.T) {
	in := fitInput(3)
	delete(in.Latest, stepID(2))
	if since := verdict.Of(in, noon).GetCheckedSince(); since != nil {
		t.Errorf("checked since %v, although one step never was", since.AsTime())
	}
}

// TestOf_RulesWithoutFaultAreTheirOwn: two rules of the same name in two packs
// are two things when they name no fault, and one when they name the same.
func TestOf_RulesWithoutFaultAreTheirOwn(t *testing.T) {
	for _, tc := range []struct {
		fault string
		want  int
	}{{"", 2}, {"ITM-000-01", 1}} {
		in := fitInput(2)
		d := openDefect("worn", pb.Effect_EFFECT_NOTHING)
		other := finding("worn", pb.Effect_EFFECT_MOVING)
		other.Pack, other.FindingId = "packs/gb-use", "gb"
		d.Findings[0].Fault, other.Fault = tc.fault, tc.fault
		in.Defects, in.Findings = []*pb.Defect{d}, []*pb.Finding{other}
		r := verdict.Of(in, noon)
		if len(r.GetReasons()) != tc.want || r.GetVerdict() != pb.Verdict_VERDICT_UNFIT {
			t.Errorf("fault %q: %v because %v, want %d reasons", tc.fault, r.GetVerdict(), r.GetReasons(), tc.want)
		}
	}
}

// TestOf_TellsALossOnce: two packs may say the same of the same thing.
func TestOf_TellsALossOnce(t *testing.T) {
	in := fitInput(2)
	for _, pack := range []string{"packs/gb-use", "packs/wendmoor-policy"} {
		f := finding("does not prime", pb.Effect_EFFECT_NOTHING)
		f.Pack, f.FindingId, f.CapabilitiesLost = pack, pack, []string{"pump"}
		in.Findings = append(in.Findings, f)
	}
	if lost := verdict.Of(in, noon).GetCapabilities()[0].GetLostBecause(); len(lost) != 1 || lost[0] != "Item 0: does not prime" {
		t.Errorf("the pump is lost because %q", lost)
	}
}

func TestOf_SaysWhatIsUnproven(t *testing.T) {
	for _, tc := range []struct {
		name  string
		spoil func(in *verdict.Input)
		want  string
	}{
		{
			"three never checked", func(in *verdict.Input) { dropAnswers(in, 1, 4, 5) },
			"Nobody has checked 3 of 8 required steps: Item 5; Item 1; Item 4",
		},
		{
			"all never checked", func(in *verdict.Input) { clear(in.Latest) },
			"Nobody has checked 8 of 8 required steps: Item 5; Item 0; Item 1; and 5 more",
		},
		{
			"four are named", func(in *verdict.Input) { dropAnswers(in, 0, 1, 2, 3) },
			"Nobody has checked 4 of 8 required steps: Item 0; Item 1; Item 2; Item 3",
		},
		{
			"five are not", func(in *verdict.Input) { dropAnswers(in, 0, 1, 2, 3, 4) },
			"Nobody has checked 5 of 8 required steps: Item 0; Item 1; Item 2; and 2 more",
		},
		{
			"one too old", func(in *verdict.Input) { in.Latest[stepID(2)] = real(noon.Add(-hours(25))) },
			"It is too long since anybody checked 1 of 8 required steps: Item 2",
		},
		{
			"one not checked", func(in *verdict.Input) { in.Latest[stepID(2)] = &verdict.Answer{Newest: notChecked(noon)} },
			"It is on record that nobody checked 1 of 8 required steps: Item 2",
		},
		{
			"one repaired", func(in *verdict.Input) { in.Latest[stepID(2)].VoidBefore = noon },
			"Since a repair nobody has checked again 1 of 8 required steps: Item 2",
		},
		{
			"one for another configuration", func(in *verdict.Input) { in.Latest[stepID(2)].RealFits = false },
			"The configuration has changed under the answers to 1 of 8 required steps: Item 2",
		},
		{
			"some of each", func(in *verdict.Input) { delete(in.Latest, stepID(0)); in.Latest[stepID(2)].VoidBefore = noon },
			"Nobody can vouch for 2 of 8 required steps (1 not checked again since a repair, 1 never checked): Item 0; Item 2",
		},
		{
			"none required", func(in *verdict.Input) { in.Required = nil },
			"No step is required of this vehicle, so nothing proves that it is fit",
		},
	} {
		t.Run(tc.name, func(t *testing.T) {
			in := fitInput(8)
			in.Required[5].MustNotMiss = true
			tc.spoil(in)
			r := verdict.Of(in, noon)
			if got := r.GetReasons()[0].GetText(); got != tc.want || r.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN {
				t.Errorf("%v, said %q\nwant %q", r.GetVerdict(), got, tc.want)
			}
		})
	}
}

// groupOf is a finding against responding about two steps.
func groupOf(a, b int) *pb.Finding {
	f := finding("differ", pb.Effect_EFFECT_RESPONDING)
	f.FindingId = stepID(a) + " " + stepID(b)
	f.Scope, f.StepIds = pb.RuleScope_RULE_SCOPE_GROUP, []string{stepID(a), stepID(b)}
	return f
}

// scuffed is a noted defect that only a repair closes.
func scuffed(step int, id string) *pb.Defect {
	d := openDefect(id, pb.Effect_EFFECT_NOTHING)
	d.StepId, d.Findings[0].StepIds = stepID(step), []string{stepID(step)}
	return d
}

func dropAnswers(in *verdict.Input, steps ...int) {
	for _, i := range steps {
		delete(in.Latest, stepID(i))
	}
}

func TestWaysBack_SaysWhatToDo(t *testing.T) {
	for _, tc := range []struct {
		name  string
		spoil func(in *verdict.Input)
		want  []string
	}{
		{
			"everything open", func(in *verdict.Input) { clear(in.Latest) },
			[]string{"Check 8 steps and find them sound: Item 0; Item 1; Item 2; and 5 more. Then it may respond."},
		},
		{"a defect, and a step open", func(in *verdict.Input) {
			in.Defects = []*pb.Defect{openDefect("stay", pb.Effect_EFFECT_MOVING)}
			delete(in.Latest, stepID(2))
		}, []string{
			"Repair and check again: Item 0: stay. Then nothing dangerous is known, but it must still be proven.",
			"Repair and check again: Item 0: stay. Check and find sound: Item 2. Then it may respond.",
		}},
		{"one of two twins", func(in *verdict.Input) {
			f := finding("twins differ", pb.Effect_EFFECT_RESPONDING)
			f.Scope, f.StepIds = pb.RuleScope_RULE_SCOPE_GROUP, []string{stepID(3), stepID(2)}
			in.Findings = []*pb.Finding{f}
		}, []string{"Check and find sound: Item 2. Then it may respond.", "Check and find sound: Item 3. Then it may respond."}},
		{"the twin that needs no repair first", func(in *verdict.Input) {
			f := finding("twins differ", pb.Effect_EFFECT_RESPONDING)
			f.Scope, f.StepIds = pb.RuleScope_RULE_SCOPE_GROUP, []string{stepID(0), stepID(1)}
			in.Findings, in.Defects = []*pb.Finding{f}, []*pb.Defect{openDefect("scuffed", pb.Effect_EFFECT_NOTHING)}
		}, []string{"Check and find sound: Item 1. Then it may respond.", "Repair and check again: Item 0: scuffed. Then it may respond."}},
		{"two answers are less than three repairs", func(in *verdict.Input) {
			in.Findings = []*pb.Finding{groupOf(0, 1), groupOf(0, 2)}
			in.Defects = []*pb.Defect{scuffed(0, "a"), scuffed(0, "b"), scuffed(0, "c")}
		}, []string{"Check 2 steps and find them sound: Item 1; Item 2. Then it may respond."}},
		{"as many acts, fewer repairs first", func(in *verdict.Input) {
			in.Findings = []*pb.Finding{groupOf(0, 1), groupOf(0, 2)}
			in.Defects = []*pb.Defect{scuffed(0, "a"), scuffed(0, "b"), scuffed(1, "c")}
		}, []string{
			"Repair and check again: Item 1: c. Check and find sound: Item 2. Then it may respond.",
			"Repair and check again: Item 0: a; Item 0: b. Then it may respond.",
		}},
		{"a repair that saves the answer of its step", func(in *verdict.Input) {
			dropAnswers(in, 0)
			in.Findings = []*pb.Finding{groupOf(0, 1)}
			in.Findings[0].Effect = pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT
			in.Defects = []*pb.Defect{scuffed(0, "a")}
		}, []string{
			"Check and find sound: Item 0. Then it may respond under limits.",
			"Repair and check again: Item 0: a. Then it may respond.",
		}},
		{"four ways, three are told", func(in *verdict.Input) {
			f := finding("four differ", pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT)
			f.Scope, f.StepIds = pb.RuleScope_RULE_SCOPE_VEHICLE, []string{stepID(4), stepID(5), stepID(6), stepID(7)}
			in.Findings = []*pb.Finding{f}
		}, []string{
			"Check and find sound: Item 4. Then it may respond.", "Check and find sound: Item 5. Then it may respond.",
			"Check and find sound: Item 6. Then it may respond.",
		}},
		{"a step of no routine, after its repair", func(in *verdict.Input) {
			d := openDefect("rope worn", pb.Effect_EFFECT_NOTHING)
			d.State, d.StepId = pb.DefectState_DEFECT_STATE_RECTIFIED, "RES-010/winch"
			in.Defects = []*pb.Defect{d}
		}, []string{"Check and find sound: rope worn. Then it may respond."}},
		{"nothing required, nothing helps", func(in *verdict.Input) { in.Required = nil }, nil},
	} {
		t.Run(tc.name, func(t *testing.T) {
			in := fitInput(8)
			tc.spoil(in)
			var got []string
			for _, w := range verdict.WaysBack(in, noon, nil) {
				got = append(got, w.GetText())
			}
			if diff := cmp.Diff(tc.want, got); diff != "" {
				t.Errorf("ways (-want +got):\n%s", strings.TrimSpace(diff))
			}
		})
	}
}
