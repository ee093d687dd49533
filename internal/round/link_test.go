package round

import (
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	pb "bayround/proto/bayround/v1"
)

// ear is a hearing in a bubble, with a clock that a test sets apart from time.
type ear struct {
	*hearing
	off    time.Duration // guarded by the test: it alone asks the clock
	silent atomic.Int32
}

func newEar() *ear {
	e := &ear{}
	e.hearing = newHearing(func() time.Time { return time.Now().Add(e.off) }, func() { e.silent.Add(1) })
	return e
}

func state(sequence int64, v pb.Verdict) *pb.Readiness {
	return &pb.Readiness{Vehicle: "vehicles/p1", CallSign: "Q1", Sequence: sequence, Verdict: v}
}

func TestHearing_IsLiveForFiveSecondsAfterTheLastWord(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		e := newEar()
		defer e.stop()
		if l := e.link(); l.Live || !l.Since.IsZero() {
			t.Errorf("before anything was heard: %+v", l)
		}
		began := time.Now()
		e.present(nil, 3)
		for range 10 { // a word every four seconds keeps it live
			time.Sleep(4 * time.Second)
			if l := e.link(); !l.Live || !l.Since.Equal(began) {
				t.Fatalf("after %v of words: %+v", time.Since(began), l)
			}
			e.heartbeat(3, time.Now())
		}
		last := time.Now()
		time.Sleep(silence - time.Nanosecond)
		synctest.Wait()
		if l := e.link(); !l.Live || e.silent.Load() != 0 {
			t.Errorf("just before five seconds of silence: %+v, told %d times", l, e.silent.Load())
		}
		time.Sleep(time.Nanosecond)
		synctest.Wait()
		if l := e.link(); l.Live || !l.Since.Equal(last) || e.silent.Load() != 1 {
			t.Errorf("after five seconds of silence: %+v, told %d times; heard last at %v", l, e.silent.Load(), last)
		}
		time.Sleep(time.Hour)
		again := time.Now()
		e.readiness(state(4, pb.Verdict_VERDICT_FIT))
		if l := e.link(); !l.Live || !l.Since.Equal(again) || e.silent.Load() != 1 {
			t.Errorf("heard again: %+v, told %d times", l, e.silent.Load())
		}
	})
}

// Whoever sets the tablet's clock makes nothing live and nothing silent.
func TestHearing_TheClockOnTheWallDecidesNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		e := newEar()
		defer e.stop()
		e.present(nil, 3)
		e.off = 24 * time.Hour
		if !e.live() {
			t.Error("a clock set forward made it silent")
		}
		e.off = -24 * time.Hour
		time.Sleep(silence)
		synctest.Wait()
		if e.live() || e.silent.Load() != 1 {
			t.Error("a clock set back kept it live")
		}
	})
}

// A program that was held still must not be believed before its timer has run.
func TestHearing_DoesNotWaitForTheTimer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		e := newEar()
		e.present(nil, 3)
		e.stop() // the timer never runs
		time.Sleep(silence)
		if e.live() || e.link().Live {
			t.Error("it is live after five seconds of silence because nobody noticed them")
		}
	})
}

func TestHearing_TheLastWordOfTheStationCounts(t *testing.T) {
	e := newEar()
	defer e.stop()
	const fit, unfit = pb.Verdict_VERDICT_FIT, pb.Verdict_VERDICT_UNFIT
	for i, tc := range []struct {
		heard    *pb.Readiness
		passages int
	}{
		{state(7, fit), 0}, // the first is news of nothing
		{state(9, unfit), 1},
		{state(9, fit), 1}, // the same event, and time has passed
		{state(10, unfit), 1},
		{state(6, fit), 1}, // whatever the number: an older verdict must not stay
	} {
		passages := e.readiness(tc.heard)
		if got := e.state("vehicles/p1"); got != tc.heard || len(passages) != tc.passages {
			t.Errorf("%d: %v after %v, %d passages; want %d", i, got, tc.heard, len(passages), tc.passages)
		}
		for _, p := range passages {
			if p.after != tc.heard || p.before.GetVerdict() == tc.heard.GetVerdict() {
				t.Errorf("%d: from %v to %v", i, p.before, p.after)
			}
		}
	}
}

// A watch that begins tells all that there is. What it leaves out, or knows less of than
// was heard before, the station has lost.
func TestHearing_NoticesWhatTheStationHasLost(t *testing.T) {
	const fit = pb.Verdict_VERDICT_FIT
	other := &pb.Readiness{Vehicle: "vehicles/p2", CallSign: "Q2", Sequence: 8, Verdict: fit}
	for _, tc := range []struct {
		why  string
		told []*pb.Readiness
		lost bool
	}{
		{"the same", []*pb.Readiness{state(7, fit), other}, false},
		{"more of one", []*pb.Readiness{state(9, fit), other}, false},
		{"one vehicle more", []*pb.Readiness{state(7, fit), other, {Vehicle: "vehicles/p3"}}, false},
		{"less of one", []*pb.Readiness{state(6, fit), other}, true},
		{"less of one and more of the other", []*pb.Readiness{state(6, fit), {Vehicle: "vehicles/p2", Sequence: 20}}, true},
		{"one left out", []*pb.Readiness{state(7, fit)}, true},
		{"one left out and another in its place", []*pb.Readiness{state(7, fit), {Vehicle: "vehicles/p3", Sequence: 9}}, true},
		{"nothing", nil, true},
	} {
		e := newEar()
		if first := []*pb.Readiness{state(7, fit), other}; e.knewMore(first) {
			t.Error("before anything was heard something is missed")
		} else {
			e.present(first, 8)
		}
		if lost := e.knewMore(tc.told); lost != tc.lost {
			t.Errorf("%s: lost %v, want %v", tc.why, lost, tc.lost)
		}
		e.present(tc.told, 30)
		if states, _, _ := e.all(); len(states) != len(tc.told) {
			t.Errorf("%s: %d vehicles are shown, %d were told of", tc.why, len(states), len(tc.told))
		}
		e.stop()
	}
}

func TestHearing_TellsWhenTheClocksPartByASecond(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		e := newEar()
		defer e.stop()
		e.present(nil, 1)
		for _, tc := range []struct {
			off   time.Duration
			moved bool
			skew  time.Duration
		}{
			{0, false, 0},
			{400 * time.Millisecond, false, 0},
			{3 * time.Minute, true, 3 * time.Minute},
			{3*time.Minute + 100*time.Millisecond, false, 3 * time.Minute},
			{-2 * time.Second, true, -2 * time.Second},
		} {
			e.off = tc.off
			if moved := e.heartbeat(1, time.Now()); moved != tc.moved || e.link().Skew != tc.skew {
				t.Errorf("clock off by %v: moved %v, skew %v", tc.off, moved, e.link().Skew)
			}
		}
	})
}
