package round_test

import (
	"slices"
	"testing"

	"bayround/internal/round"

	"github.com/google/go-cmp/cmp"
)

// A gauge is read again, and the mean counts: of 8.1, 8.2 and 8.3 bar 8.2 bar, or
// 820 kPa (DERIVED). Wherever the answer is told, the mean is, and of how many.
func TestDesk_AGaugeIsReadAgain(t *testing.T) {
	tab := newHands(t)
	atWeekly(tab, atTyre)
	tab.refused("NOTHING_TO_READ_AGAIN", "read-again")
	tab.press("8.1")
	v := tab.act("read-again")
	if f := v.Step.Entry.Fields[0]; f.Again != "8.1" || f.Text != "" || f.Mean != "" || f.CanAgain || v.Step.Entry.Ready {
		t.Fatalf("to be read again: %+v", f)
	}
	if f := tab.act("key", "key", "back").Step.Entry.Fields[0]; f.Again != "" || f.Text != "8.1" {
		t.Fatalf("taken back: %+v", f)
	}
	for _, again := range []string{"8.2", "8.3"} {
		tab.act("read-again")
		tab.press(again)
	}
	if f := tab.View().Step.Entry.Fields[0]; f.Again != "8.1, 8.2" || f.Text != "8.3" || f.Mean != "8.2" {
		t.Errorf("to be recorded: %+v", f)
	}
	tab.prove()
	v = tab.record()
	got := tab.value()
	if got.GetAsTyped() != 8.1 || !cmp.Equal(got.GetAgain(), []float64{8.2, 8.3}) || got.GetSi() != 820 {
		t.Errorf("recorded %v", got)
	}
	const told = "mean 8.2 bar of 3 readings: 8.1, 8.2, 8.3"
	if v.Given.Answer != told {
		t.Errorf("it is said as %q", v.Given.Answer)
	}
	marks := tab.act("overview").Round.Marks
	if at := slices.IndexFunc(marks, func(m round.Mark) bool { return m.StepID == atTyre }); marks[at].Answer != told {
		t.Errorf("the overview says %q", marks[at].Answer)
	}
}
