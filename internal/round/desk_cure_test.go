package round_test

import (
	"strings"
	"testing"

	pb "bayround/proto/bayround/v1"
)

// Who records a fault and then says that it was put right is not told to record it
// first: it was recorded, and it is none that is put right on the spot.
func TestDesk_WhatIsNotPutRightOnTheSpotSaysSo(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	tab.act("go", "step", atWindscreen)
	for _, id := range faultsOf(tab.View().Step) {
		tab.act("see", "condition", id)
		v := tab.act("record")
		if v.Given.CanCure {
			t.Fatalf("%s can be put right on the spot", id)
		}
		if said := tab.refused("NOTHING_TO_CURE", "cure", "done", "cleaned"); !strings.Contains(said, "Windscreen") || strings.Contains(said, "record first") {
			t.Errorf("said %q", said)
		}
		tab.act("correct", "step", atWindscreen)
	}
}

// What was found is put right when there is time for it: after other answers, after a
// restart, for as long as the round is open; and the next watch is told.
func TestDesk_AnyAnswerOfTheRoundIsPutRightLater(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	if v := tab.act("go", "step", atOilLevel); v.Step.CanCure {
		t.Error("something can be put right before anybody has looked")
	}
	tab.refused("CURE_OF_NOTHING", "cure", "step", atOilLevel, "done", "topped up")
	tab.refused("STEP_UNKNOWN", "cure", "step", "FLU-999/none", "done", "topped up")
	tab.act("level", "mark", "below")
	tab.look()
	tab.record()
	found := tab.last()
	tab.sound()
	tab.sound()
	tab.reopen()
	if v := tab.act("correct", "step", atOilLevel); !v.Step.CanCure {
		t.Fatal("what was found cannot be put right any more")
	}
	v := tab.act("cure", "step", atOilLevel, "done", "topped up", "amount", "1.5", "unit", "L")
	if v.Step.StepId != atOilLevel || v.Step.Cure == nil || v.Step.Cure.Answer != "below the lower mark" || v.Step.Correcting || v.Step.CanCure {
		t.Fatalf("step %s, cure %+v", v.Step.StepId, v.Step.Cure)
	}
	tab.act("level", "mark", "between", "fraction", "0.9")
	tab.look()
	v = tab.record()
	want := &pb.Cure{FoundResultId: found.GetResultId(), Done: "topped up", Amount: 1.5, Unit: "L"}
	if got := tab.last(); got.GetCure().String() != want.String() || got.GetCorrection() || len(v.Given.Closed) != 1 {
		t.Errorf("recorded %v, closed %v", got, v.Given.Closed)
	}
	if v = tab.act("correct", "step", atOilLevel); v.Step.CanCure {
		t.Error("what was put right can be put right once more")
	}
	tab.refused("NOTHING_TO_CURE", "cure", "step", atOilLevel, "done", "topped up")
	tab.act("overview")
	if told := tab.sign().Closing.Handover; !strings.Contains(told, "Put right today:\n- Engine oil level: topped up, 1.5 L used; then between the marks, 90 %") {
		t.Errorf("the next watch is told\n%s", told)
	}
}
