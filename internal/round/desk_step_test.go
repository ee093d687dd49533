package round_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

const wn11, shift, weekly = "vehicles/wn11", "routines/shift", "routines/weekly"

// Steps of WN11 that tests speak of.
const (
	atOilLevel   = "FLU-010/engine-oil"
	atStopLamp   = "LMP-060/stop-nearside"
	atWindscreen = "GLS-010/front"
	atBattery    = "ELE-010/battery-box"
	atColdTyre   = "TYR-010/axle-1-nearside"
	atFloor      = "PRE-060/underneath"
)

func TestDesk_HoldsWhatMustNotBeMissed(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	v := tab.act("go", "step", atFloor)
	least := time.Duration(v.Step.LeastLookS) * time.Second
	if !v.Step.MustNotMiss || !v.Step.HeldUntil.Equal(tab.clock.Now().Add(least)) {
		t.Fatalf("held until %v, lit at %v for %v", v.Step.HeldUntil, tab.clock.Now(), least)
	}
	sound := soundCondition(v.Step)
	tab.act("see", "condition", sound)
	tab.clock.Advance(least - time.Second)
	if got := tab.refused("LOOK_LONGER", "record"); !strings.Contains(got, "1 s to go") {
		t.Errorf("said %q", got)
	}
	tab.clock.Advance(time.Second)
	v = tab.act("record")
	if v.Notice != nil || v.Given.StepID != atFloor {
		t.Errorf("after the least look: %v, %v", v.Notice, v.Given)
	}
	if r := tab.last(); r.GetLookedS() != least.Seconds() {
		t.Errorf("looked %v s, want %v", r.GetLookedS(), least.Seconds())
	}

	// Turning away begins the looking anew; an answer of one's own that is
	// corrected was looked at already.
	tab.act("go", "step", "PRE-030/parking-brake")
	tab.clock.Advance(time.Minute)
	tab.act("overview")
	v = tab.act("walk")
	if v.Step.StepId != "PRE-030/parking-brake" || !v.Step.HeldUntil.After(tab.clock.Now()) {
		t.Errorf("back at %s, held until %v", v.Step.StepId, v.Step.HeldUntil)
	}
	v = tab.act("correct", "step", atFloor)
	if !v.Step.Correcting || v.Step.HeldUntil.After(tab.clock.Now()) {
		t.Errorf("correcting %t, held until %v", v.Step.Correcting, v.Step.HeldUntil)
	}
}

// soundCondition is the sound condition of a step.
func soundCondition(step *round.Step) string {
	for _, c := range step.Conditions {
		if c.GetSound() {
			return c.GetId()
		}
	}
	return ""
}

// last is the newest result in the record.
func (tab *hands) last() *pb.Result {
	tab.t.Helper()
	all := tab.results()
	if len(all) == 0 {
		tab.t.Fatal("nothing was recorded")
	}
	return all[len(all)-1]
}

func TestDesk_NothingIsChosenBeforehand(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "")
	for _, m := range tab.View().Round.Marks {
		v := tab.act("go", "step", m.StepID)
		e := v.Step.Entry
		if v.Step.Last != nil || e.Mark != 0 || e.Fraction != 0 || e.Note != "" || len(e.Photos) > 0 || v.Step.AloneMethod || e.Ready || e.Needs == "" {
			t.Errorf("%s begins with %+v", m.StepID, e)
		}
		for _, f := range e.Fields {
			if f.Text != "" {
				t.Errorf("%s: %s begins with %q", m.StepID, f.ID, f.Text)
			}
		}
		for _, c := range e.Choices {
			if c.Chosen || c.Affected != 0 || c.Meaning != "" {
				t.Errorf("%s begins with %v", m.StepID, c)
			}
		}
		if err := tab.try("record"); err == nil {
			t.Errorf("%s was recorded without an answer", m.StepID)
		}
	}
	if n := len(tab.results()); n != 0 {
		t.Errorf("%d results were recorded", n)
	}
}

func TestDesk_TheFormerValueIsShownAfterTodays(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	for _, text := range []string{"25.60", "25.4"} {
		v := tab.act("go", "step", atBattery)
		if v.Step.Last != nil || strings.Contains(v.Step.Entry.Fields[0].Text+v.Step.Entry.Fields[0].Range, "25.6") {
			t.Errorf("the former value is shown before: %+v", v.Step.Entry.Fields)
		}
		tab.typeIn("rest_voltage", text)
		tab.record()
	}
	v := tab.View()
	if v.Given.Answer != "25.4 V" || v.Given.Former != "25.6 V" || v.Given.FormerAt.IsZero() {
		t.Errorf("given %+v", v.Given)
	}
	if got := tab.last(); !got.GetCorrection() || got.GetReading().GetValues()[0].GetUnit() != "V" {
		t.Errorf("recorded %v", got)
	}
}

func TestDesk_RefusesTheImpossibleAndAsksAboutTheUnusual(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, weekly, "people/quellmere")
	v := tab.act("go", "step", atColdTyre)
	f := v.Step.Entry.Fields[0]
	if f.Unit != "bar" || f.Range == "" || f.Resolution != "0.1" || !f.Active || v.Step.Gauge.GetName() != "gauges/g-07" || !v.Step.NeedsGauge {
		t.Errorf("field %+v with gauge %v", f, v.Step.Gauge)
	}
	tab.prove()
	tab.typeIn("pressure", "85")
	tab.look()
	if got := tab.refused("VALUE_IMPOSSIBLE", "enter"); !strings.Contains(got, "85 bar cannot be true: it lies between 0 bar and ") {
		t.Errorf("said %q", got)
	}
	tab.act("key", "key", "clear")
	tab.typeIn("pressure", "1.2")
	v = tab.act("enter")
	if v.Step.StepId != atColdTyre || !strings.Contains(v.Step.Confirm, "1.2 bar, usually between") || len(tab.results()) != 0 {
		t.Fatalf("step %s, confirm %q, %d results", v.Step.StepId, v.Step.Confirm, len(tab.results()))
	}
	v = tab.act("key", "key", "5") // a change takes the question back
	if v.Step.Confirm != "" {
		t.Errorf("still asks %q", v.Step.Confirm)
	}
	tab.refused("NOTHING_TO_CONFIRM", "confirm")
	tab.act("key", "key", "back")
	tab.act("enter")
	v = tab.act("confirm")
	r := tab.last()
	if !r.GetConfirmed() || r.GetReading().GetValues()[0].GetAsTyped() != 1.2 || r.GetGauge() != "gauges/g-07" {
		t.Errorf("recorded %v", r)
	}
	if len(v.Given.Findings) == 0 || v.Given.Verdict != pb.Verdict_VERDICT_UNFIT {
		t.Errorf("1.2 bar of 8.5 means %v, %v", v.Given.Verdict, v.Given.Findings)
	}
}

func TestDesk_WantsToKnowTheGauge(t *testing.T) {
	tab := newHands(t)
	tab.act("choose", "vehicle", wn11, "routine", weekly)
	tab.act("sign-in", "person", "people/arkwith", "pin", "2468")
	v := tab.act("assistant", "person", "")
	if want := []pb.Quantity{pb.Quantity_QUANTITY_PRESSURE, pb.Quantity_QUANTITY_LENGTH}; !slices.Equal(v.Before.Quantities, want) {
		t.Errorf("quantities %v, want %v", v.Before.Quantities, want)
	}
	tab.act("engine", "minutes", "600")
	tab.act("begin")
	tab.act("go", "step", atColdTyre)
	tab.prove()
	tab.typeIn("pressure", "8.5")
	tab.look()
	if got := tab.refused("NOT_READY", "record"); got != "say which gauge is in your hand first" {
		t.Errorf("said %q", got)
	}
	tab.refused("GAUGE_UNKNOWN", "gauge", "gauge", "gauges/none")
	tab.act("gauge", "gauge", "gauges/g-03")
	tab.act("record")
	if got := tab.last().GetGauge(); got != "gauges/g-03" {
		t.Errorf("recorded with %q", got)
	}
}

func TestDesk_ColdStepsWaitAndTheOthersGoOn(t *testing.T) {
	tab := newHands(t)
	tab.act("choose", "vehicle", wn11, "routine", shift)
	tab.act("sign-in", "person", "people/arkwith", "pin", "2468")
	tab.act("assistant", "person", "people/quellmere")
	tab.refused("ENGINE_NOT_SAID", "begin")
	stopped := tab.clock.Now().Add(-5 * time.Minute)
	v := tab.act("engine", "minutes", "5")
	if v.Before.ColdSteps != 2 || v.Before.ColdAt == nil || !v.Before.ColdAt.Equal(stopped.Add(time.Hour)) {
		t.Errorf("before: %+v", v.Before)
	}
	tab.takeGauges()
	v = tab.act("begin")
	if got := markOf(v, atOilLevel).State; got != round.MarkCold {
		t.Errorf("the oil is %v", got)
	}
	v = tab.act("go", "step", atOilLevel)
	if v.Step.ColdAt == nil || !v.Step.ColdAt.Equal(stopped.Add(15*time.Minute)) {
		t.Errorf("cold at %v", v.Step.ColdAt)
	}
	if got := tab.refused("ENGINE_TOO_WARM", "level", "mark", "below"); !strings.Contains(got, "until 07:40") {
		t.Errorf("said %q", got)
	}
	v = tab.act("go", "step", atFloor)
	if undone := tab.kit.Readiness(wn11).GetUndone(); len(undone) != 0 {
		t.Errorf("a refused answer undid %v", undone)
	}
	for v.Step.Stop != "front" { // the walk goes past it
		if v.Step.StepId == atOilLevel {
			t.Fatal("the walk stops at a step that waits")
		}
		v = tab.sound()
	}
	v = tab.elapse(stopped.Add(15 * time.Minute).Sub(tab.clock.Now()))
	if got := markOf(v, atOilLevel).State; got != round.MarkOpen {
		t.Errorf("after a quarter of an hour the oil is %v", got)
	}
}

func markOf(v *round.View, step string) round.Mark {
	for _, m := range v.Round.Marks {
		if m.StepID == step {
			return m
		}
	}
	return round.Mark{}
}

func TestDesk_AWarmEngineLeavesColdStepsNotChecked(t *testing.T) {
	tab := newHands(t)
	tab.act("choose", "vehicle", wn11, "routine", shift)
	tab.act("sign-in", "person", "people/arkwith", "pin", "2468")
	tab.act("assistant", "person", "people/quellmere")
	v := tab.act("engine", "running", "1")
	if !v.Before.Running || v.Before.ColdAt != nil || v.Before.EngineStopped != nil {
		t.Errorf("running: %+v", v.Before)
	}
	v = tab.act("engine", "unknown", "1")
	if !v.Before.Unknown || v.Before.Running || !v.Before.ColdAt.Equal(tab.clock.Now().Add(time.Hour)) {
		t.Errorf("unknown: %+v", v.Before)
	}
	tab.act("begin")
	tab.act("go", "step", atOilLevel)
	tab.refused("REASON_UNKNOWN", "skip", "reason", "lazy")
	v = tab.act("skip", "reason", "engine_warm")
	if m := markOf(v, atOilLevel); m.State != round.MarkNotChecked || m.Answer != "not checked: engine warm" {
		t.Errorf("mark %+v", m)
	}
	if v.Given.Answer != "not checked: engine warm" || v.Given.CanCure {
		t.Errorf("given %+v", v.Given)
	}
	v = tab.act("overview")
	if len(v.Closing.NotChecked) != 1 || v.Closing.NotChecked[0].Meaning != "not proven until somebody checks it" ||
		v.Closing.NotChecked[0].Reason != pb.NotCheckedReason_NOT_CHECKED_REASON_ENGINE_WARM {
		t.Errorf("not checked: %+v", v.Closing.NotChecked)
	}
	tab.act("go", "step", atWindscreen)
	tab.refused("NOTE_MISSING", "skip", "reason", "other")
	tab.act("skip", "reason", "other", "note", "bay door in the way")
	if got := tab.last(); got.GetNote() != "bay door in the way" {
		t.Errorf("recorded %v", got)
	}
}

func TestDesk_AStepThatRunsTheEngineMakesItWarm(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	if got := markOf(tab.View(), atOilLevel).State; got != round.MarkOpen {
		t.Fatalf("the oil is %v", got)
	}
	tab.act("go", "step", "ENG-110/driver-seat")
	tab.sound()
	if got := markOf(tab.View(), atOilLevel).State; got != round.MarkCold {
		t.Errorf("after the engine was started the oil is %v", got)
	}
}

func TestDesk_AloneByTheAcceptedMethodOrNotChecked(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "")
	v := tab.act("go", "step", atStopLamp)
	if !v.Step.Alone || v.Step.AlonePrompt == "" || v.Step.AloneMethod {
		t.Fatalf("alone %t, prompt %q", v.Step.Alone, v.Step.AlonePrompt)
	}
	tab.act("see", "condition", soundCondition(v.Step))
	tab.look()
	if got := tab.refused("NOT_READY", "record"); got != "look by the method for one alone and say so first" {
		t.Errorf("said %q", got)
	}
	tab.act("alone", "on", "1")
	tab.record()
	if !tab.last().GetAloneMethod() {
		t.Errorf("recorded %v", tab.last())
	}

	// Where there is no accepted method it stays not checked, or somebody comes.
	tab.begin("vehicles/wn13", weekly, "")
	v = tab.goTo(stepWithout(t, tab.View()))
	tab.act("see", "condition", soundCondition(v.Step))
	tab.look()
	if got := tab.refused("NOT_READY", "record"); !strings.Contains(got, "no assistant") {
		t.Errorf("said %q", got)
	}
	tab.refused("NO_ALONE_METHOD", "alone", "on", "1")
	tab.act("assistant", "person", "people/quellmere")
	tab.record()
	if got := tab.last(); got.GetAloneMethod() || !strings.HasPrefix(got.GetStepId(), "AER-020/") {
		t.Errorf("recorded %v", got)
	}
}

// stepWithout is a step of the aerial that needs an assistant and has no method
// for one alone (catalogue: AER-020, outriggers).
func stepWithout(t *testing.T, v *round.View) string {
	t.Helper()
	for _, m := range v.Round.Marks {
		if strings.HasPrefix(m.StepID, "AER-020/") {
			return m.StepID
		}
	}
	t.Fatal("the aerial has no outriggers")
	return ""
}
