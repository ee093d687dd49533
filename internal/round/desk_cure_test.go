package round_test

import (
	"strings"
	"testing"
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
