package round_test

import (
	"testing"
)

const atTyre = "TYR-120/axle-2-nearside-inner"

// What was driven decides with the engine what is cold: the county's pack takes a tyre
// for cold after three hours, or when driven no farther than it says; tablet and
// station agree, and the figures are in the record.
func TestDesk_FiguresBeforeTheFirstStep(t *testing.T) {
	tab := newHands(t)
	tab.act("choose", "vehicle", wn11, "routine", weekly)
	tab.act("sign-in", "person", "people/arkwith", "pin", "2468")
	tab.act("assistant", "person", "")
	v := tab.act("engine", "minutes", "10")
	warm := v.Before.ColdAt
	if warm == nil || len(v.Before.Figures) != 3 || v.Before.Figures[0].Text != "" {
		t.Fatalf("before the figures: %+v", v.Before)
	}
	tab.refused("FIGURE_WRONG", "figure", "figure", "odometer", "text", "far")
	tab.refused("FIGURE_WRONG", "figure", "figure", "driven", "text", "5001")
	tab.refused("FIGURE_UNKNOWN", "figure", "figure", "tyres", "text", "4")
	tab.act("figure", "figure", "odometer", "text", "48210")
	tab.act("figure", "figure", "hours", "text", "3120.5")
	tab.act("figure", "figure", "hours", "text", "")
	tab.act("figure", "figure", "driven", "text", "1")
	tab.takeGauges()
	tab.act("begin")
	if v = tab.act("go", "step", atTyre); v.Step.ColdAt != nil {
		t.Fatalf("driven 1 km, the tyre waits until %v", v.Step.ColdAt)
	}
	tab.prove()
	tab.typeIn("pressure", "8")
	tab.look()
	if v = tab.record(); v.Given == nil || v.Given.StepID != atTyre {
		t.Fatalf("the twin did not take it: %+v", v.Notice)
	}
	c := tab.roundOf(v.Round.Name).GetConditions()
	if c.GetOdometerKm() != 48210 || c.EngineHours != nil || c.GetDrivenKm() != 1 {
		t.Errorf("the record says %v", c)
	}
}

// Driven too far, it waits as the pack says, not as the catalogue does.
func TestDesk_DrivenTooFarWaitsAsThePackSays(t *testing.T) {
	tab := newHands(t)
	tab.act("choose", "vehicle", wn11, "routine", weekly)
	tab.act("sign-in", "person", "people/arkwith", "pin", "2468")
	tab.act("assistant", "person", "")
	tab.act("engine", "minutes", "10")
	tab.act("figure", "figure", "driven", "text", "40")
	tab.takeGauges()
	tab.act("begin")
	v := tab.act("go", "step", atTyre)
	rule, err := tab.kit.ColdRule(wn11, "TYR-120")
	if err != nil || rule == nil || v.Step.ColdAt == nil {
		t.Fatalf("rule %v, %v; cold at %v", rule, err, v.Step.ColdAt)
	}
	if want := rule.GetStood().AsDuration() - 10*60e9; v.Step.ColdAt.Sub(tab.clock.Now()) != want {
		t.Errorf("it waits %v, the pack wants %v", v.Step.ColdAt.Sub(tab.clock.Now()), want)
	}
}
