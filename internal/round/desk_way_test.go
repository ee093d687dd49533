package round_test

import (
	"testing"
)

// The view holds the way through the round's plan, for one who walks alone or with an
// assistant as it is now; every step of the round is on it, or named as not to be done alone.
func TestDesk_HoldsTheWalkOfTheRound(t *testing.T) {
	tab := newHands(t)
	for _, assistant := range []string{"people/quellmere", ""} {
		tab.begin(wn11, shift, assistant)
		v := tab.View()
		w := v.Round.Walk
		if w.GetAlone() != (assistant == "") || len(w.GetRoundLine()) < 4 {
			t.Fatalf("assistant %q: alone %v, a line of %d corners", assistant, w.GetAlone(), len(w.GetRoundLine()))
		}
		on := map[string]bool{}
		for _, h := range w.GetHalts() {
			for _, id := range h.GetStepIds() {
				on[id] = true
			}
		}
		for _, id := range w.GetNotAlone() {
			on[id] = true
		}
		for _, m := range v.Round.Marks {
			if !on[m.StepID] {
				t.Errorf("assistant %q: %s is not on the walk", assistant, m.StepID)
			}
		}
		tab.act("give-up", "note", "called away")
	}
}
