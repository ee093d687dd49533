package station_test

import (
	"testing"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// What is considered is what recording it would find, and nothing is recorded.
func TestConsider_SaysWhatRecordingWouldFind(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound("vehicles/p1", "routines/shift")
	for _, step := range k.Plan("vehicles/p1", "routines/shift").GetSteps() {
		for _, c := range step.GetConditions() {
			if c.GetFault() == "" {
				continue
			}
			before := k.Readiness("vehicles/p1").GetSequence()
			considered, err := k.Consider(ctx, "vehicles/p1", step.GetStepId(), []*pb.ConditionSeen{{Condition: c.GetId()}})
			if err != nil {
				t.Fatal(err)
			}
			if after := k.Readiness("vehicles/p1").GetSequence(); after != before {
				t.Fatalf("considering %s recorded something", c.GetId())
			}
			r := stationtest.Sound(step)
			if step.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_CONDITION {
				r = stationtest.Seen(step.GetStepId(), c.GetId())
			} else {
				r.AlsoSeen = []*pb.ConditionSeen{{Condition: c.GetId()}}
			}
			want := effectsOf(k.Record(round, r).GetFindings(), c.GetFault())
			if got := effectsOf(considered, c.GetFault()); got != want || got == "" {
				t.Errorf("%s %s: considered %q, found %q", step.GetStepId(), c.GetId(), got, want)
			}
			k.Record(round, stationtest.Sound(step))
		}
	}
}

// effectsOf are the rules and effects of the findings of one fault.
func effectsOf(findings []*pb.Finding, fault string) (all string) {
	for _, f := range findings {
		if f.GetFault() == fault {
			all += f.GetRule() + " " + f.GetEffect().String() + " " + f.GetText() + "\n"
		}
	}
	return all
}

func TestConsider_RefusesWhatIsNotThere(t *testing.T) {
	k := stationtest.Open(t)
	for _, at := range [][2]string{{"vehicles/none", "GLA-010/windscreen"}, {"vehicles/p1", "GLA-010/none"}} {
		if _, err := k.Consider(ctx, at[0], at[1], nil); !fault.Is(err, fault.NotFound) {
			t.Errorf("%v: %v", at, err)
		}
	}
}
