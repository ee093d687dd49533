package round_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"bayround/internal/round"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

const (
	atRate  = "LMP-041/driver-seat"
	atBuild = "BRA-100/driver-seat"
	atLoss  = "BRA-120/driver-seat"
)

// atWeekly stands at a step of the weekly check.
func atWeekly(tab *hands, step string) *round.View {
	tab.t.Helper()
	tab.begin(wn11, weekly, "people/quellmere")
	v := tab.goTo(step)
	tab.look()
	return v
}

// tap taps at a millisecond of a page's clock.
func (tab *hands) tap(page string, ms float64) *round.View {
	tab.t.Helper()
	return tab.act("take", "do", "tap", "page", page, "ms", fmt.Sprint(ms))
}

// value is the value that the newest result holds.
func (tab *hands) value() *pb.Value {
	tab.t.Helper()
	return tab.last().GetReading().GetValues()[0]
}

// The page says when the glass was touched; however late that is heard, the rate is
// that of the fingers. 700 ms between flashes are 60/0.7 = 85.7 a minute (DERIVED).
func TestDesk_TapsAreTimedWhereTheyWereTouched(t *testing.T) {
	tab := newHands(t)
	v := atWeekly(tab, atRate)
	if e := v.Step.Entry; e.Taking == nil || e.Taking.How != pb.ReadingHow_READING_HOW_TAPPED || e.Ready || len(e.Fields) != 0 {
		t.Fatalf("the step begins with %+v", e)
	}
	for i := range 8 {
		if e := tab.View().Step.Entry; e.Ready || e.Taking.Count != i || e.Taking.Made != "" {
			t.Fatalf("after %d taps: %+v", i, e)
		}
		tab.refused("NOT_READY", "record")
		tab.clock.Advance(time.Duration(i%3) * 400 * time.Millisecond) // the line is now quick, now slow
		v = tab.tap("p", 5000+700*float64(i))
	}
	if e := v.Step.Entry; !e.Ready || e.Taking.Text != "85.7" || !strings.HasSuffix(e.Taking.Made, "a minute") {
		t.Fatalf("after eight taps: %+v, %s", e.Taking, e.Needs)
	}
	tab.prove()
	tab.record()
	got := tab.value()
	if got.GetAsTyped() != 85.7 || got.GetUnit() != "1/min" || math.Abs(got.GetSi()-60/0.7) > 1e-6 || len(got.GetTrace().GetAtS()) != 8 {
		t.Errorf("recorded %v", got)
	}
}

// A tap that was missed is mended and told; what is too irregular is refused with
// words, and again begins anew.
func TestDesk_AMissedTapIsMended(t *testing.T) {
	tab := newHands(t)
	atWeekly(tab, atRate)
	for _, beat := range []float64{0, 1, 2, 4, 5, 6, 7, 8} {
		tab.tap("p", 1000+beat*500)
	}
	if taking := tab.View().Step.Entry.Taking; taking.Text != "120" || taking.Made != "120 a minute; one tap mended" {
		t.Errorf("made %+v", taking)
	}
	v := tab.act("take-again")
	if e := v.Step.Entry; e.Taking.Count != 0 || e.Ready || e.Taking.Made != "" {
		t.Errorf("begun anew: %+v", e.Taking)
	}
	for i := range 9 {
		tab.tap("p", 10000+100*float64(i*i*i))
	}
	if e := tab.View().Step.Entry; e.Ready || !strings.Contains(e.Taking.Why, "too irregular") {
		t.Errorf("irregular taps: %+v", e.Taking)
	}
	tab.refused("NOT_READY", "record")
}

// A page without a script says no instant: then it counts when the tablet heard of
// it. A touch that is told twice is one.
func TestDesk_WithoutAScriptTheTabletsClockCounts(t *testing.T) {
	tab := newHands(t)
	atWeekly(tab, atRate)
	for range 8 {
		tab.act("take", "do", "tap")
		tab.act("take", "do", "tap") // no time has passed: the same touch
		tab.clock.Advance(500 * time.Millisecond)
	}
	if taking := tab.View().Step.Entry.Taking; taking.Count != 8 || taking.Made != "120 a minute" {
		t.Errorf("made %+v", taking)
	}
	tab.refused("INSTANT_WRONG", "take", "do", "tap", "page", "p", "ms", "soon")
	tab.refused("TAKE_UNKNOWN", "take", "do", "start")
	tab.refused("STEP_HAS_CHANGED", "take", "do", "tap", "at", atLoss)
}

// The number can be typed instead, and taken after all.
func TestDesk_TheNumberCanBeTypedInstead(t *testing.T) {
	tab := newHands(t)
	atWeekly(tab, atRate)
	tab.tap("p", 1)
	v := tab.act("by-hand", "on", "1")
	if e := v.Step.Entry; e.Taking != nil || !e.ByHand || len(e.Fields) != 1 {
		t.Fatalf("by hand: %+v", e)
	}
	if v = tab.act("by-hand", "on", "0"); v.Step.Entry.Taking == nil || v.Step.Entry.Taking.Count != 0 {
		t.Fatalf("tapped after all: %+v", v.Step.Entry)
	}
	tab.act("by-hand", "on", "1")
	tab.prove()
	tab.typeIn("rate", "90")
	tab.record()
	if got := tab.value(); got.GetAsTyped() != 90 || got.GetTrace() != nil {
		t.Errorf("recorded %v", got)
	}
	tab.goTo("TYR-120/axle-2-nearside-inner")
	tab.refused("NOTHING_TAKEN", "by-hand", "on", "1")
}

func TestDesk_StartToStop(t *testing.T) {
	tab := newHands(t)
	atWeekly(tab, atBuild)
	v := tab.act("take", "do", "start", "page", "p", "ms", "1000")
	if taking := v.Step.Entry.Taking; taking.Since.IsZero() || v.Step.Entry.Ready {
		t.Errorf("running: %+v", taking)
	}
	tab.clock.Advance(40 * time.Second)
	tab.act("take", "do", "start", "page", "p", "ms", "1040") // a finger that trembled
	if taking := tab.View().Step.Entry.Taking; taking.Count != 1 || tab.View().Now.Sub(taking.Since) != 40*time.Second {
		t.Errorf("started twice: %+v", taking)
	}
	v = tab.act("take", "do", "stop", "page", "p", "ms", "33260")
	if taking := v.Step.Entry.Taking; taking.Made != "32.3 s" || !taking.Since.IsZero() || !v.Step.Entry.Ready {
		t.Errorf("stopped: %+v", taking)
	}
	tab.act("take", "do", "stop", "page", "p", "ms", "35000")
	tab.prove()
	tab.record()
	if got := tab.value(); got.GetAsTyped() != 32.3 || math.Abs(got.GetSi()-32.26) > 1e-9 || !cmp.Equal(got.GetTrace().GetAtS(), []float64{0, 32.26}) {
		t.Errorf("recorded %v", got)
	}
}

// A tablet that was killed while the time ran goes on by its clock, and says so.
func TestDesk_AKillInTheMiddleOfATimer(t *testing.T) {
	tab := newHands(t)
	atWeekly(tab, atBuild)
	tab.act("take", "do", "start", "page", "p", "ms", "1000")
	tab.clock.Advance(10 * time.Second)
	tab.reopen()
	taking := tab.View().Step.Entry.Taking
	if taking == nil || taking.Count != 1 || !taking.Cut || tab.View().Now.Sub(taking.Since) != 10*time.Second {
		t.Fatalf("after the kill: %+v", taking)
	}
	tab.clock.Advance(20 * time.Second)
	if v := tab.act("take", "do", "stop", "page", "another", "ms", "17"); v.Step.Entry.Taking.Made != "30 s" || !v.Step.Entry.Taking.Cut {
		t.Errorf("stopped on another page: %+v", v.Step.Entry.Taking)
	}
	tab.reopen() // it had ended
	if v := tab.act("take-again"); v.Step.Entry.Taking.Cut || v.Step.Entry.Taking.Count != 0 {
		t.Errorf("begun anew: %+v", v.Step.Entry.Taking)
	}
	tab.act("take", "do", "start", "page", "p", "ms", "1000")
	if tab.View().Step.Entry.Taking.Cut {
		t.Error("what began after the kill is said to be cut")
	}
}

// press touches keys of the pad.
func (tab *hands) press(keys string) {
	tab.t.Helper()
	for _, key := range keys {
		tab.act("key", "key", string(key))
	}
}

// The pressure at the start, on the way and at the end: the fall in a minute is worked
// out as the station does, and nothing but a line to the station is missing offline.
func TestDesk_APressureIsWatched(t *testing.T) {
	tab := newHands(t)
	v := atWeekly(tab, atLoss)
	if e := v.Step.Entry; e.Taking == nil || e.Taking.How != pb.ReadingHow_READING_HOW_WATCHED || len(e.Fields) != 1 || e.Fields[0].Unit != "bar" {
		t.Fatalf("the step begins with %+v", e)
	}
	tab.refused("NOT_READY", "enter")
	tab.press("8.0")
	tab.clock.Advance(7 * time.Second) // the pressure is settled; the time runs from START
	v = tab.act("enter")
	if taking := v.Step.Entry.Taking; taking.Count != 1 || taking.Since.IsZero() || v.Step.Entry.Fields[0].Text != "" {
		t.Fatalf("started: %+v", taking)
	}
	tab.clock.Advance(60 * time.Second)
	tab.press("7.") // read now, and typed slowly
	tab.refused("NOT_READY", "enter")
	tab.clock.Advance(3 * time.Second)
	tab.press("9")
	tab.refused("NOT_READY", "record")
	v = tab.act("enter")
	if e := v.Step.Entry; e.Taking.Made != "0.1 bar/min over 60 s" || !e.Ready || !cmp.Equal(e.Taking.Readings, []string{"8.0 bar", "7.9 bar after 60 s"}) {
		t.Fatalf("read again: %+v", e.Taking)
	}
	tab.prove()
	v = tab.act("enter")
	if v.Step != nil && v.Step.AskLeft {
		tab.act("record", "left", "shut")
	}
	want := &pb.Trace{AtS: []float64{0, 60}, AsTyped: []float64{8, 7.9}, Unit: "bar"}
	got := tab.value()
	if !cmp.Equal(got.GetTrace().GetAtS(), want.AtS) || !cmp.Equal(got.GetTrace().GetAsTyped(), want.AsTyped) || got.GetTrace().GetUnit() != want.Unit {
		t.Errorf("the trace is %v", got.GetTrace())
	}
	if !cmp.Equal([]float64{got.GetAsTyped(), got.GetSi()}, []float64{0.1, 10}, cmpopts.EquateApprox(0, 1e-6)) {
		t.Errorf("recorded %v", got)
	}
	if answer := tab.View().Given.Answer; answer != "0.1 bar/min over 60 s" {
		t.Errorf("the answer is said as %q", answer)
	}
}

// A key that is taken back was no reading yet.
func TestDesk_APressureCountsFromItsFirstKey(t *testing.T) {
	tab := newHands(t)
	atWeekly(tab, atLoss)
	tab.press("8")
	tab.act("enter")
	tab.clock.Advance(10 * time.Second)
	tab.press("7")
	tab.act("key", "key", "back")
	tab.clock.Advance(50 * time.Second)
	tab.press("9")
	v := tab.act("enter")
	if taking := v.Step.Entry.Taking; taking.Made != "0 bar/min over 60 s" { // a rise is no fall
		t.Errorf("made %+v", taking)
	}
}

// Tapped while the station cannot be asked, and taken by it when it can.
func TestDesk_TakenOfflineArrives(t *testing.T) {
	t.Parallel()
	tab, record, w := openLinked(t)
	tab.await(func(v *round.View) bool { return settled(v) && len(v.Vehicles) == 10 && len(v.Gauges) > 0 })
	tab.begin(wn11, weekly, "people/quellmere")
	w.Cut()
	tab.await(func(v *round.View) bool { return !v.Link.Live })
	tab.goTo(atRate)
	tab.look()
	for i := range 8 {
		tab.tap("p", 600*float64(i))
	}
	tab.prove()
	tab.record()
	sent := tab.last()
	w.Heal()
	tab.await(settled)
	if got := arrived(record, atRate); got.GetResultId() != sent.GetResultId() || got.GetReading().GetValues()[0].GetSi() != sent.GetReading().GetValues()[0].GetSi() {
		t.Errorf("the station has %v, the tablet recorded %v", got, sent)
	}
}

// arrived is the newest result of a step at a station.
func arrived(kit *stationtest.Kit, step string) (last *pb.Result) {
	kit.T.Helper()
	err := kit.Station.Events(ctx, 1, func(ev *pb.JournalEvent) error {
		if r := ev.GetResultRecorded().GetResult(); r.GetStepId() == step {
			last = r
		}
		return nil
	})
	if err != nil {
		kit.T.Fatal(err)
	}
	return last
}
