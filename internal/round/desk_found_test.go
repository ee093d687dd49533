package round_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// faults are those of a step, by id.
func faultsOf(step *round.Step) (ids []string) {
	for _, c := range step.Conditions {
		if c.GetFault() != "" {
			ids = append(ids, c.GetId())
		}
	}
	return ids
}

func TestDesk_SaysAtOnceWhatAFaultWouldMean(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	for _, m := range tab.View().Round.Marks {
		v := tab.goTo(m.StepID)
		for _, id := range faultsOf(v.Step) {
			v = tab.act("see", "condition", id)
			c := choiceOf(v.Step, id)
			if !c.Chosen || c.Meaning == "" || c.Verdict == pb.Verdict_VERDICT_UNSPECIFIED || c.Verdict == pb.Verdict_VERDICT_UNPROVEN {
				t.Errorf("%s %s means %q, %v", m.StepID, id, c.Meaning, c.Verdict)
			}
			v = tab.act("see", "condition", id)
			if c = choiceOf(v.Step, id); c.Chosen || c.Meaning != "" {
				t.Errorf("%s %s was taken back and means %q", m.StepID, id, c.Meaning)
			}
		}
	}
	if n := len(tab.results()); n != 0 {
		t.Errorf("%d results were recorded", n)
	}
}

func choiceOf(step *round.Step, id string) round.Choice {
	for _, c := range step.Entry.Choices {
		if c.Condition.GetId() == id {
			return c
		}
	}
	return round.Choice{}
}

// What was said before recording is what the twin says after.
func TestDesk_AFaultMeansWhatWasSaid(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	tab.act("go", "step", atStopLamp)
	tab.act("see", "condition", "01") // out, and so is every other: there is nothing to count
	if at := choiceOf(tab.View().Step, "01"); at.Of != 0 || tab.View().Step.Entry.Needs != "" {
		t.Errorf("all of %d are asked for: %q", at.Of, tab.View().Step.Entry.Needs)
	}
	tab.act("see", "condition", "01")
	id := "03" // out, the other one lights
	tab.act("see", "condition", id)
	if got := tab.View().Step.Entry.Needs; !strings.HasPrefix(got, "say how many of 16: ") {
		t.Errorf("needs %q", got)
	}
	v := tab.act("count", "condition", id, "affected", "3")
	said := choiceOf(v.Step, id)
	if said.Of != 16 {
		t.Errorf("asked of %d, want of 16", said.Of)
	}
	tab.act("note", "text", "corner smashed")
	tab.look()
	v = tab.act("record")
	worst := pb.Verdict_VERDICT_FIT
	var texts []string
	for _, f := range v.Given.Findings {
		texts = append(texts, f.GetText())
		if f.GetFault() != "" {
			worst = max(worst, effectGives(f.GetEffect()))
		}
	}
	if said.Verdict != worst || !slices.ContainsFunc(texts, func(text string) bool { return strings.HasSuffix(said.Meaning, ": "+text) }) {
		t.Errorf("said %v %q; found %v %q", said.Verdict, said.Meaning, worst, texts)
	}
	r := tab.last()
	c := r.GetSeen().GetConditions()[0]
	if c.GetCount().GetAffected() != 3 || c.GetCount().GetOf() != 16 || r.GetNote() != "corner smashed" {
		t.Errorf("recorded %v", r)
	}
	if m := markOf(v, atStopLamp); m.State != round.MarkFault || !strings.HasSuffix(m.Answer, "(3 of 16)") {
		t.Errorf("mark %+v", m)
	}
	if d := tab.act("go", "step", atStopLamp).Step.Known; len(d) != 1 {
		t.Errorf("open at the step: %v", d)
	}
}

// effectGives is the verdict that an effect alone gives (design.md §1).
func effectGives(e pb.Effect) pb.Verdict {
	return map[pb.Effect]pb.Verdict{
		pb.Effect_EFFECT_NOTHING: pb.Verdict_VERDICT_FIT, pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT: pb.Verdict_VERDICT_RESTRICTED,
		pb.Effect_EFFECT_RESPONDING: pb.Verdict_VERDICT_MOVE_ONLY, pb.Effect_EFFECT_MOVING: pb.Verdict_VERDICT_UNFIT,
	}[e]
}

func TestDesk_FoundCuredReadAgain(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	tab.refused("CURE_OF_NOTHING", "cure", "done", "topped up")
	tab.act("go", "step", atOilLevel)
	tab.act("level", "mark", "below")
	tab.look()
	v := tab.record()
	found := tab.last()
	if !v.Given.CanCure || len(v.Given.Findings) == 0 {
		t.Fatalf("given %+v", v.Given)
	}
	tab.refused("CURE_WRONG", "cure", "done", " ")
	tab.refused("AMOUNT_WRONG", "cure", "done", "topped up", "amount", "-1")
	v = tab.act("cure", "done", "topped up", "amount", "1.5", "unit", "L")
	if v.Step.StepId != atOilLevel || v.Step.Cure == nil || v.Step.Cure.Answer != "below the lower mark" || v.Step.Entry.Mark != 0 || v.Step.Correcting {
		t.Fatalf("step %s, cure %+v, entry %+v", v.Step.StepId, v.Step.Cure, v.Step.Entry)
	}
	if !v.Step.HeldUntil.After(tab.clock.Now()) {
		t.Error("the second look is not held")
	}
	tab.act("level", "mark", "between", "fraction", "0.9")
	tab.look()
	v = tab.record()
	again := tab.last()
	want := &pb.Cure{FoundResultId: found.GetResultId(), Done: "topped up", Amount: 1.5, Unit: "L"}
	if got := again.GetCure(); got.String() != want.String() || again.GetCorrection() {
		t.Errorf("recorded %v", again)
	}
	if len(v.Given.Closed) != 1 || v.Given.Former != "below the lower mark" || v.Given.CanCure {
		t.Errorf("given %+v", v.Given)
	}
	if len(tab.results()) != 2 {
		t.Errorf("%d results", len(tab.results()))
	}

	// Left as it is: the walk goes on, and what was found stays.
	tab.act("correct", "step", atOilLevel)
	tab.act("level", "mark", "below")
	tab.record()
	tab.act("cure", "done", "topped up")
	v = tab.act("cure-cancel")
	if v.Step.StepId == atOilLevel || v.Step.Cure != nil || markOf(v, atOilLevel).State != round.MarkFault {
		t.Errorf("step %s, mark %+v", v.Step.StepId, markOf(v, atOilLevel))
	}
	tab.refused("NO_CURE", "cure-cancel")
}

func TestDesk_UndoOpensTheAnswerAgain(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	tab.refused("UNDO_OVER", "undo")
	tab.act("go", "step", atWindscreen)
	fault := faultsOf(tab.View().Step)[0]
	tab.act("see", "condition", fault)
	v := tab.act("record")
	if !v.Given.Undo {
		t.Fatalf("given %+v", v.Given)
	}
	tab.clock.Advance(5*time.Second - 1)
	v = tab.act("undo")
	if v.Step.StepId != atWindscreen || !v.Step.Correcting || choiceOf(v.Step, fault).Chosen {
		t.Fatalf("step %s, correcting %t, entry %+v", v.Step.StepId, v.Step.Correcting, v.Step.Entry)
	}
	if len(tab.results()) != 1 {
		t.Error("undo alone recorded something")
	}
	tab.act("see", "condition", soundCondition(v.Step))
	v = tab.act("record")
	if got := tab.last(); !got.GetCorrection() || got.GetSeen().GetConditions()[0].GetCondition() != "sound" {
		t.Errorf("recorded %v", got)
	}
	if len(v.Given.Closed) != 1 || markOf(v, atWindscreen).State != round.MarkAnswered {
		t.Errorf("given %+v, mark %+v", v.Given, markOf(v, atWindscreen))
	}
	if v = tab.elapse(5 * time.Second); v.Given == nil || v.Given.Undo {
		t.Errorf("after five seconds: %+v", v.Given) // it ended a defect, so it is still shown
	}
	tab.refused("UNDO_OVER", "undo")
	tab.act("correct", "step", atWindscreen)
}

func TestDesk_ASoundAnswerIsShownForFiveSeconds(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	if v := tab.sound(); v.Given == nil || !v.Given.Undo {
		t.Fatalf("given %+v", v.Given)
	}
	if v := tab.elapse(5*time.Second - 1); v.Given == nil || !v.Given.Undo {
		t.Errorf("just before: %+v", v.Given)
	}
	if v := tab.elapse(1); v.Given != nil {
		t.Errorf("after: %+v", v.Given)
	}
}

func TestDesk_BeginningToAnswerUndoesAndLookingDoesNot(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	tab.act("go", "step", atOilLevel)
	tab.act("note", "text", "dusty")
	if v := tab.View(); v.Step.Undoes != 0 || v.Round.DebtS != 0 {
		t.Fatalf("looking undid %d s, debt %d s", v.Step.Undoes, v.Round.DebtS)
	}
	v := tab.act("level", "mark", "below")
	if v.Step.Undoes != v.Step.UndoS || v.Round.DebtS != v.Step.UndoS {
		t.Errorf("beginning undid %d s, debt %d s, want %d s", v.Step.Undoes, v.Round.DebtS, v.Step.UndoS)
	}
	tab.act("level", "mark", "above")
	begun := 0
	for _, ev := range tab.events() {
		if ev.GetStepBegun() != nil {
			begun++
		}
	}
	if begun != 1 {
		t.Errorf("it was begun %d times", begun)
	}
	v = tab.act("overview")
	if len(v.Closing.Undone) != 1 || v.Closing.Undone[0].StepID != atOilLevel {
		t.Errorf("to be put back: %v", v.Closing.Undone)
	}
	tab.act("sign-page")
	tab.refused("STILL_UNDONE", "sign", "pin", "2468")
	v = tab.act("safe", "step", atOilLevel)
	if len(v.Closing.Undone) != 0 || v.Round.DebtS != 0 {
		t.Errorf("after it was put back: %v, debt %d s", v.Closing.Undone, v.Round.DebtS)
	}
	tab.refused("NOT_UNDONE", "safe", "step", atBattery)
}
