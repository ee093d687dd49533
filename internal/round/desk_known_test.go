package round_test

import (
	"strings"
	"testing"
	"time"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// knownIn is what a view says of a defect from before, at its end.
func knownIn(t *testing.T, v *round.View, name string) round.KnownDefect {
	t.Helper()
	for _, k := range v.Closing.Known {
		if k.GetName() == name {
			return k
		}
	}
	t.Fatalf("%s is not among what is open from before", name)
	return round.KnownDefect{}
}

// What is open is put to the next driver at its place: the same is no new defect, gone
// closes nothing without a repair, and worse asks anew.
// Source: the life of a defect as the contract says it (DefectService): closed by a look
// after a repair, or where the rule says that a look is enough.
func TestDesk_WhatIsOpenIsPutToTheNextDriver(t *testing.T) {
	tab := newHands(t)
	again := func() {
		tab.act("give-up", "note", "next")
		tab.act("done")
		tab.clock.Advance(time.Hour)
		tab.begin(wn11, shift, "")
		tab.goTo(atWindscreen)
	}
	tab.begin(wn11, shift, "")
	v := tab.goTo(atWindscreen)
	if v.Step.AskKnown || len(v.Step.Known) > 0 {
		t.Fatalf("known before anything was found: %v", v.Step.Known)
	}
	fault := ""
	for _, id := range faultsOf(v.Step) {
		tab.act("see", "condition", id)
		tab.look()
		v = tab.record()
		if f := v.Given.Findings; len(f) > 0 && !f[0].GetRecheckCloses() {
			fault = id
			break
		}
		tab.goTo(atWindscreen)
	}
	if fault == "" {
		t.Fatal("every fault here is closed by a look; take another step")
	}
	if tab.goTo(atWindscreen).Step.AskKnown {
		t.Error("what this round found itself is asked as if it had been known")
	}
	name := defectAt(t, tab.View(), atWindscreen).GetName()
	verdict := tab.View().Chosen.Readiness.GetVerdict()

	again()
	v = tab.View()
	if !v.Step.AskKnown || len(v.Step.Known) != 1 || v.Step.Known[0].By != "Tamsel Arkwith" {
		t.Fatalf("asked %t, known %+v", v.Step.AskKnown, v.Step.Known)
	}
	tab.refused("COMPARED_UNKNOWN", "compare", "how", "perhaps")
	v = tab.act("compare", "how", "same")
	if v.Step.AskKnown || !chosenIs(v.Step, fault) {
		t.Fatalf("the same: %+v", v.Step.Entry.Choices)
	}
	tab.look()
	tab.record()
	if d := defectAt(t, tab.View(), atWindscreen); d.GetName() != name || d.GetTimesFound() != 2 {
		t.Errorf("the same: %v", d)
	}

	again()
	tab.act("compare", "how", "gone")
	tab.sound()
	k := knownIn(t, tab.act("overview"), name)
	if !k.InRound || !k.NotFound || k.GetState() != pb.DefectState_DEFECT_STATE_OPEN || tab.View().Chosen.Readiness.GetVerdict() < verdict {
		t.Errorf("not found again, and not repaired: %+v, %v", k, tab.View().Chosen.Readiness.GetVerdict())
	}

	again()
	v = tab.act("compare", "how", "worse")
	for _, c := range v.Step.Entry.Choices {
		if c.Chosen {
			t.Errorf("worse: %q is chosen already", c.Condition.GetText())
		}
	}
	tab.act("see", "condition", fault)
	tab.look()
	tab.record()
	if d := defectAt(t, tab.View(), atWindscreen); d.GetTimesFound() != 3 || !strings.HasPrefix(d.GetNote(), "worse than before") {
		t.Errorf("worse: %v", d)
	}
	for _, s := range tab.kit.Plan(wn11, shift).GetSteps() {
		if s.GetStepId() == atWindscreen && !s.GetLast().GetWorse() {
			t.Errorf("worse is not said of the answer: %v", s.GetLast())
		}
	}

	if _, err := tab.kit.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: tab.kit.ID(), Defect: name, Person: "people/steddow", Done: "glass renewed"}); err != nil {
		t.Fatal(err)
	}
	again()
	if v := tab.View(); v.Step.AskKnown || len(v.Step.Known) != 1 {
		t.Errorf("repaired: asked %t, known %v", v.Step.AskKnown, v.Step.Known)
	}
	tab.sound()
	for _, d := range tab.View().Chosen.Readiness.GetOpenDefects() {
		if d.GetName() == name {
			t.Errorf("repaired and found sound: %v", d)
		}
	}
}

func chosenIs(step *round.Step, id string) bool {
	n := 0
	for _, c := range step.Entry.Choices {
		if c.Chosen {
			n++
			if c.Condition.GetId() != id {
				return false
			}
		}
	}
	return n == 1
}

func defectAt(t *testing.T, v *round.View, step string) *pb.Defect {
	t.Helper()
	for _, d := range v.Chosen.Readiness.GetOpenDefects() {
		if d.GetStepId() == step {
			return d
		}
	}
	t.Fatalf("nothing is open at %s", step)
	return nil
}
