package round_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

// A gauge is read again, and the mean counts: of 8.1 and 8.2 bar 8.15 bar (DERIVED).
func TestDesk_AGaugeIsReadAgain(t *testing.T) {
	tab := newHands(t)
	atWeekly(tab, atTyre)
	tab.refused("NOTHING_TO_READ_AGAIN", "read-again")
	tab.press("8.1")
	v := tab.act("read-again")
	if f := v.Step.Entry.Fields[0]; f.Again != "8.1" || f.Text != "" || f.CanAgain || v.Step.Entry.Ready {
		t.Fatalf("to be read again: %+v", f)
	}
	if f := tab.act("key", "key", "back").Step.Entry.Fields[0]; f.Again != "" || f.Text != "8.1" {
		t.Fatalf("taken back: %+v", f)
	}
	tab.act("read-again")
	tab.press("8.2")
	tab.prove()
	v = tab.record()
	got := tab.value()
	if got.GetAsTyped() != 8.1 || !cmp.Equal(got.GetAgain(), []float64{8.2}) || got.GetSi() != 815 {
		t.Errorf("recorded %v", got)
	}
	if v.Given.Answer != "8.1, 8.2 → 8.15 bar" {
		t.Errorf("it is said as %q", v.Given.Answer)
	}
}
