package round_test

import (
	"testing"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

const undoesLeast = 15 // from there on it is asked how a place is left

// After something was undone to look at it the driver says how it is left; what is
// left open stays in the readiness debt until it is put back.
func TestDesk_ItIsSaidHowAPlaceIsLeft(t *testing.T) {
	for left, want := range map[string]struct {
		open bool
		debt int32
	}{"shut": {false, 0}, "open": {true, 20}} {
		t.Run(left, func(t *testing.T) {
			tab := newHands(t)
			tab.begin(wn11, shift, "people/quellmere")
			step := tab.act("go", "step", atOilLevel).Step
			if step.UndoS < undoesLeast || step.AskLeft {
				t.Fatalf("it takes %d s, asked %t", step.UndoS, step.AskLeft)
			}
			tab.act("level", "mark", "between", "fraction", "1")
			tab.look()
			tab.prove()
			v := tab.act("record")
			if !v.Step.AskLeft || v.Step.StepId != atOilLevel || v.Notice != nil || len(tab.results()) != 0 {
				t.Fatalf("asked %t at %s, notice %v, recorded %v", v.Step.AskLeft, v.Step.StepId, v.Notice, tab.results())
			}
			tab.reopen()
			if !tab.View().Step.AskLeft {
				t.Fatal("after a restart it is not asked any more")
			}
			tab.act("level", "mark", "above") // another answer, and another question
			if tab.View().Step.AskLeft {
				t.Fatal("it is asked of an answer that was changed")
			}
			tab.act("level", "mark", "between", "fraction", "1")
			tab.act("record")
			v = tab.act("record", "left", left)
			if got := tab.last(); got.GetStepId() != atOilLevel || got.GetLeftOpen() != want.open {
				t.Errorf("recorded %v", got)
			}
			if v.Round.DebtS != want.debt || v.Step.StepId == atOilLevel {
				t.Errorf("debt %d s, at %s", v.Round.DebtS, v.Step.StepId)
			}
			undone := tab.act("overview").Closing.Undone
			if (len(undone) == 1 && undone[0].StepID == atOilLevel) != want.open {
				t.Errorf("the overview says undone: %v", undone)
			}
			items := tab.act("turnout").Turnout.Items
			if (len(items) == 1 && items[0].StepID == atOilLevel) != want.open {
				t.Errorf("a turnout puts back %v", items)
			}
			if want.open {
				if v = tab.act("safe", "step", atOilLevel); !v.Turnout.Items[0].Done || v.Turnout.DebtS != 0 {
					t.Errorf("after it was put back: %+v", v.Turnout)
				}
			}
		})
	}
}

// toldFirst is the first step of a walk of which control must be told.
func toldFirst(tab *hands) string {
	tab.t.Helper()
	for _, m := range tab.View().Round.Marks {
		if v := tab.act("go", "step", m.StepID); v.Step.TellControlFirst && v.Step.ColdAt == nil {
			return m.StepID
		}
	}
	tab.t.Fatal("control must be told of nothing in this walk")
	return ""
}

// Until the driver says that control agreed, a step that takes the vehicle off the
// run is not answered; who said so, and when, is in the record.
func TestDesk_ControlIsToldFirst(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	tab.refused("NOTHING_TO_TELL", "control")
	step := toldFirst(tab)
	v := tab.View()
	if !v.Step.MustTellControl || v.Step.Entry.Ready || v.Step.Entry.Needs == "" {
		t.Fatalf("at %s: %+v", step, v.Step.Entry)
	}
	tab.refused("CONTROL_NOT_TOLD", "see", "condition", soundCondition(v.Step))
	tab.refused("NOT_READY", "record")
	tab.act("note", "text", "at the gate")
	if tab.View().Round.DebtS != 0 {
		t.Error("something was undone before control was told")
	}
	tab.refused("STEP_HAS_CHANGED", "control", "at", atFloor)
	v = tab.act("control", "at", step)
	if v.Step.MustTellControl || v.Round.DebtS != v.Step.UndoS {
		t.Errorf("after control was told: must be told %t, debt %d s", v.Step.MustTellControl, v.Round.DebtS)
	}
	events := tab.events()
	begun := events[len(events)-1]
	if e := begun.GetStepBegun(); !e.GetControlTold() || e.GetUndone().GetStepId() != step ||
		begun.GetPerson() != "people/arkwith" || !begun.GetDeviceTime().AsTime().Equal(tab.clock.Now()) {
		t.Errorf("the record says %v", begun)
	}
	tab.act("control", "at", step) // touched twice
	if len(tab.events()) != len(events) {
		t.Error("touching twice recorded it twice")
	}
	tab.act("next")
	tab.reopen()
	if v = tab.act("go", "step", step); v.Step.MustTellControl {
		t.Error("it is asked again in the same walk")
	}
	tab.sound()
	if got := tab.last(); got.GetStepId() != step {
		t.Errorf("recorded %v", got)
	}

	// After a turnout control is told anew.
	tab.act("turnout")
	tab.act("back")
	tab.act("engine", "minutes", "0")
	tab.act("begin")
	if v = tab.act("go", "step", step); !v.Step.MustTellControl {
		t.Error("after a turnout nobody tells control")
	}
	tab.act("skip", "reason", "no_time")
	if got := tab.last(); got.GetStepId() != step || got.GetNotChecked() == nil {
		t.Errorf("it could not be left not checked: %v", got)
	}
}

// Whoever comes to assist in the middle of a round, or leaves, is in the record, and
// what takes two is offered to one alone only while there is one.
func TestDesk_AnAssistantComesAndLeaves(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "")
	v := tab.act("go", "step", atStopLamp)
	if !v.Step.Alone {
		t.Fatalf("alone at a step for two: %+v", v.Step.Entry)
	}
	tab.act("alone", "on", "1")
	tab.refused("ASSISTANT_IS_DRIVER", "assistant", "person", "people/arkwith")
	v = tab.act("assistant", "person", "people/quellmere")
	if v.Step.Alone || v.Step.AloneMethod || v.Session.Assistant.GetName() != "people/quellmere" || v.Phase != round.PhaseStep {
		t.Errorf("with an assistant: alone %t, by its method %t, %v", v.Step.Alone, v.Step.AloneMethod, v.Session.Assistant)
	}
	tab.reopen()
	if tab.roundOf(v.Round.Name).GetAssistant() != "people/quellmere" || tab.View().Session.Assistant == nil {
		t.Errorf("the round says %v", tab.roundOf(v.Round.Name))
	}
	v = tab.act("assistant", "person", "")
	if !v.Step.Alone || v.Session.Assistant != nil {
		t.Errorf("alone again: %+v", v.Session)
	}
	var changes []string
	for _, ev := range tab.events() {
		if e := ev.GetAssistantChanged(); e != nil {
			changes = append(changes, e.GetAssistant())
		}
	}
	if len(changes) != 2 || changes[0] != "people/quellmere" || changes[1] != "" {
		t.Errorf("the record says %q", changes)
	}

	// Whoever goes on with it later may have another beside them.
	name := v.Round.Name
	tab.act("home")
	tab.act("resume-round", "round", name)
	tab.act("assistant", "person", "people/quellmere")
	tab.act("engine", "minutes", "600")
	tab.act("begin")
	if got := tab.roundOf(name); got.GetAssistant() != "people/quellmere" || got.GetState() != pb.RoundState_ROUND_STATE_OPEN {
		t.Errorf("gone on with: %v", got)
	}
}
