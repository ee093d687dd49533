package round_test

import (
	"testing"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

func TestDesk_ASoundRoundOfTheNewestPump(t *testing.T) {
	tab := newHands(t)
	tab.begin("vehicles/wn11", "routines/shift", "people/quellmere")
	steps := len(tab.View().Round.Marks)
	for n := 0; tab.View().Phase == round.PhaseStep; n++ {
		if n > steps {
			t.Fatalf("more answers than steps: %d", n)
		}
		before := tab.View().Step
		v := tab.sound()
		if v.Given == nil || v.Given.StepID != before.StepId || !v.Given.Undo {
			t.Fatalf("%s: the view gives %+v", before.StepId, v.Given)
		}
		for _, f := range v.Given.Findings {
			t.Logf("%s: %s", before.StepId, f.GetText())
		}
	}
	v := tab.View()
	if v.Phase != round.PhaseOverview || v.Round.Answered != steps || len(v.Closing.Left) != 0 {
		t.Fatalf("phase %d, %d of %d answered, left %v", v.Phase, v.Round.Answered, steps, v.Closing.Left)
	}
	tab.act("hand-note", "text", "Nothing to report.")
	tab.act("sign-page")
	v = tab.act("sign", "pin", "2468")
	t.Log(v.Closing.Handover)
	if v.Phase != round.PhaseHandover {
		t.Fatalf("phase %d after signing", v.Phase)
	}
	if got := v.Closing.Readiness.GetVerdict(); got == pb.Verdict_VERDICT_UNSPECIFIED {
		t.Errorf("verdict %v", got)
	}
}
