package round_test

import "testing"

// A finger that was on its way when the page turned must not answer the next step.
func TestDesk_ATouchMeantForTheStepBeforeAnswersNothing(t *testing.T) {
	tab := newHands(t)
	tab.begin("vehicles/wn11", "routines/shift", "people/venholt")
	before := tab.View().Step.GetStepId()
	tab.sound()
	step := tab.View().Step
	if step.GetStepId() == before {
		t.Fatalf("still at %s", before)
	}
	for _, late := range [][]string{
		{"see", "condition", "sound"},
		{"key", "key", "7"},
		{"enter"},
		{"record"},
		{"confirm"},
		{"skip", "reason", "no_time"},
		{"level", "mark", "below"},
		{"note", "text", "seen"},
	} {
		tab.refused("STEP_HAS_CHANGED", late[0], append(late[1:], "at", before)...)
		if now := tab.View().Step; now.GetStepId() != step.GetStepId() || now.Entry.Ready || now.Entry.Note != "" {
			t.Fatalf("%v changed the step to %+v", late, now)
		}
	}
	tab.act("note", "text", "seen", "at", step.GetStepId())
	if note := tab.View().Step.Entry.Note; note != "seen" {
		t.Errorf("a touch meant for this step was not taken: note %q", note)
	}
	tab.act("go", "step", before, "at", "plan")
	if now := tab.View().Step.GetStepId(); now != before {
		t.Errorf("at %s", now)
	}
}
