package round_test

import (
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"pgregory.net/rapid"

	"bayround/internal/round"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// watch is a tablet's clock that somebody sets, beside the true time.
type watch struct {
	truth *stationtest.Clock
	off   atomic.Int64 // in nanoseconds: the desk looks at the clock while it is set
	began time.Time
}

func newWatch(off time.Duration) *watch {
	truth := stationtest.NewClock()
	w := &watch{truth: truth, began: truth.Now()}
	w.set(off)
	return w
}

// shows is what the tablet's clock shows; ran is how long what no one can set has run.
func (w *watch) shows() time.Time                { return w.truth.Now().Add(time.Duration(w.off.Load())) }
func (w *watch) ran(time.Time) time.Duration     { return w.truth.Now().Sub(w.began) }
func (w *watch) set(off time.Duration)           { w.off.Store(int64(off)) }
func (w *watch) right(d time.Duration) time.Time { return w.truth.Now().Add(d) }

func (w *watch) open(t testing.TB, dir string) *round.Clock {
	t.Helper()
	c, err := round.OpenClock(round.ClockConfig{Device: w.shows, Steady: w.ran, Dir: dir})
	must(t, err)
	return c
}

// Once the station was heard the right time is known, whatever is done to the
// tablet's clock while it runs, and over restarts.
func TestClock_IsRightOnceTheStationWasHeard(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		hours := rapid.Int64Range(-100, 100)
		dir, err := os.MkdirTemp("", "clock")
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = os.RemoveAll(dir) }()
		w := newWatch(time.Duration(hours.Draw(t, "off")) * time.Hour)
		open := func() *round.Clock {
			c, err := round.OpenClock(round.ClockConfig{Device: w.shows, Steady: w.ran, Dir: dir})
			if err != nil {
				t.Fatal(err)
			}
			return c
		}
		c := open()
		if c.Known() || !c.Now().Equal(w.shows()) {
			t.Fatalf("before anything was heard it says %v, the tablet's clock %v", c.Now(), w.shows())
		}
		if !c.Heard(w.right(0)) {
			t.Fatal("the first word was no news")
		}
		for range rapid.IntRange(1, 8).Draw(t, "things") {
			switch rapid.SampledFrom([]string{"set", "passes", "heard", "restart"}).Draw(t, "thing") {
			case "set":
				w.set(time.Duration(hours.Draw(t, "set to")) * time.Hour)
			case "passes":
				w.truth.Advance(time.Duration(rapid.Int64Range(0, 1000).Draw(t, "minutes")) * time.Minute)
			case "heard":
				c.Heard(w.right(time.Duration(rapid.Int64Range(-900, 0).Draw(t, "late ms")) * time.Millisecond))
			case "restart":
				if err := c.Keep(); err != nil {
					t.Fatal(err)
				}
				c = open()
			}
			if !c.Known() || !c.Now().Equal(w.right(0)) {
				t.Fatalf("it says %v, it is %v", c.Now(), w.right(0))
			}
		}
	})
}

// A clock that shows an earlier time than when the tablet was stopped was lost, and
// a file that cannot be read says nothing.
func TestOpenClock_DoesNotTrustWhatCannotBe(t *testing.T) {
	for name, spoil := range map[string]func(w *watch, file string) error{
		"the clock was lost": func(w *watch, _ string) error { w.set(-30 * 365 * 24 * time.Hour); return nil },
		"a torn file":        func(_ *watch, file string) error { return os.WriteFile(file, []byte(`{"version": 1, "lag`), 0o600) },
		"no file":            func(_ *watch, file string) error { return os.Remove(file) },
	} {
		t.Run(name, func(t *testing.T) {
			w, dir := newWatch(-3*time.Hour), t.TempDir()
			c := w.open(t, dir)
			c.Heard(w.right(0))
			must(t, c.Keep())
			must(t, spoil(w, filepath.Join(dir, round.ClockName)))
			if c := w.open(t, dir); c.Known() || !c.Now().Equal(w.shows()) {
				t.Errorf("known %t: it says %v, the tablet's clock shows %v", c.Known(), c.Now(), w.shows())
			}
		})
	}
}

// newHandsBy opens a desk on a twin whose tablet has a clock of its own. The twin
// takes its library over when the clock was put right.
func newHandsBy(t *testing.T, w *watch) *hands {
	t.Helper()
	t.Parallel()
	right := w.open(t, t.TempDir())
	right.Heard(w.right(0))
	kit := stationtest.OpenWith(t, w.truth, station.Options{Dir: t.TempDir(), Now: w.shows, Right: right, Defaults: stationtest.Demo(t)})
	return handsBy(t, &hands{t: t, kit: kit, clock: w.truth, wall: w.shows, right: right})
}

// see answers a step by what is seen.
func (tab *hands) see(step, condition string) *pb.Result {
	tab.t.Helper()
	tab.act("go", "step", step)
	tab.look()
	tab.prove()
	tab.act("see", "condition", condition)
	tab.act("record")
	return tab.last()
}

// However far the tablet's clock is off, and wherever it is set in the middle of a
// round: the newest answer counts, answers are as fresh as the station says, and the
// record keeps the time that the clock showed beside the right one.
func TestDesk_AClockThatIsOffMakesNothingOlder(t *testing.T) {
	for name, tc := range map[string]struct{ off, set time.Duration }{
		"three hours ahead":            {3 * time.Hour, 3 * time.Hour},
		"three hours behind":           {-3 * time.Hour, -3 * time.Hour},
		"set back in the middle":       {0, -3 * time.Hour},
		"set forward in the middle":    {0, 3 * time.Hour},
		"put right from three behind":  {-3 * time.Hour, 0},
		"put right from three further": {3 * time.Hour, 0},
	} {
		t.Run(name, func(t *testing.T) {
			w := newWatch(tc.off)
			tab := newHandsBy(t, w)
			tab.begin(wn11, shift, "people/quellmere")
			step := tab.act("go", "step", atWindscreen).Step
			faults := faultsOf(step)
			first := tab.see(atWindscreen, faults[0])
			w.set(tc.set)
			tab.clock.Advance(time.Minute)
			if s := tab.act("go", "step", atWindscreen).Step; s.HeldUntil.After(tab.clock.Now().Add(time.Hour)) {
				t.Errorf("held until %v", s.HeldUntil)
			}
			second := tab.see(atWindscreen, soundCondition(step))
			want := tab.clock.Now()
			if !first.GetDeviceTime().AsTime().Equal(want.Add(tc.off-time.Minute)) || !second.GetDeviceTime().AsTime().Equal(want.Add(tc.set)) {
				t.Errorf("the clock showed %v and %v", first.GetDeviceTime().AsTime(), second.GetDeviceTime().AsTime())
			}
			if at := second.GetLookedAt().AsTime(); at.Before(want) || at.Sub(want) > time.Millisecond {
				t.Errorf("looked at %v, it was %v", at, want)
			}
			counts := lastAt(tab.kit, atWindscreen)
			if counts.GetResultId() != second.GetResultId() {
				t.Errorf("of the answers the one that counts is %v", counts)
			}
			v := tab.View()
			if !v.Now.Equal(want) || v.Lag != -tc.set {
				t.Errorf("the view is of %v and adds %v, it is %v", v.Now, v.Lag, want)
			}
			if got := markOf(v, atWindscreen).State; got != round.MarkAnswered {
				t.Errorf("the corrected step is marked %v", got)
			}
			if v.Given == nil || !v.Given.Undo {
				t.Errorf("the answer of this moment cannot be taken back: %+v", v.Given)
			}
			if v = tab.elapse(time.Minute); v.Given != nil && v.Given.Undo {
				t.Error("an answer of a minute ago can still be taken back")
			}
			fresh := counts.GetLookedAt().AsTime().Add(step.GetGoodFor().AsDuration())
			tab.clock.Advance(fresh.Sub(tab.clock.Now()) - time.Second)
			if tab.isStale(atWindscreen) {
				t.Error("it proves nothing before its time")
			}
			tab.clock.Advance(2 * time.Second)
			if !tab.isStale(atWindscreen) {
				t.Error("it proves something after its time")
			}

			record := stationtest.OpenWith(t, w.truth, station.Options{Dir: t.TempDir(), Now: w.truth.Now, Defaults: stationtest.Demo(t)})
			tab.deliver(record)
			there := lastAt(record, atWindscreen)
			if late := there.GetLookedAt().AsTime().Sub(want); there.GetResultId() != second.GetResultId() || late.Abs() > time.Millisecond {
				t.Errorf("at the station %v counts, looked at %v, it was %v", there.GetResultId(), there.GetLookedAt().AsTime(), want)
			}
		})
	}
}

// deliver gives a station everything that was commanded at the tablet.
func (tab *hands) deliver(to *stationtest.Kit) {
	tab.t.Helper()
	for _, ev := range tab.events() {
		if _, request := round.CommandOf(ev); request != nil {
			must(tab.t, carry(to.Station, request))
		}
	}
}

// lastAt is the newest result at a step of the shift check.
func lastAt(k *stationtest.Kit, id string) *pb.Result {
	k.T.Helper()
	for _, step := range k.Plan(wn11, shift).GetSteps() {
		if step.GetStepId() == id {
			return step.GetLast()
		}
	}
	k.T.Fatalf("the plan has no %s", id)
	return nil
}

// isStale tells that the vehicle's readiness counts a step as proving nothing.
func (tab *hands) isStale(id string) bool {
	for _, r := range tab.kit.Readiness(wn11).GetReasons() {
		for _, u := range r.GetUnproven().GetSteps() {
			if u.GetStepId() == id {
				return true
			}
		}
	}
	return false
}

// A cold engine stays cold, and a warm one warm, when the clock is set: what was
// said of it is said anew by the clock as it is.
func TestDesk_SettingTheClockCoolsNoEngine(t *testing.T) {
	for name, set := range map[string]time.Duration{"back": -3 * time.Hour, "forward": 3 * time.Hour} {
		t.Run(name, func(t *testing.T) {
			w := newWatch(0)
			tab := newHandsBy(t, w)
			tab.begin(wn11, shift, "people/quellmere")
			tab.act("engine", "minutes", "1")
			if got := markOf(tab.View(), atOilLevel).State; got != round.MarkCold {
				t.Fatalf("a minute after the engine ran: %v", got)
			}
			w.set(set)
			tab.act("overview")
			if got := markOf(tab.View(), atOilLevel).State; got != round.MarkCold {
				t.Errorf("after the clock was set: %v", got)
			}
			tab.act("go", "step", atOilLevel)
			tab.later(tab.View().Step.GetColdAfter().AsDuration())
			told := len(tab.events())
			tab.act("level", "mark", "between", "fraction", "1")
			tab.prove()
			tab.look()
			tab.record()
			all := tab.events()[told:]
			if len(all) < 2 {
				t.Fatalf("recorded %v", all)
			}
			anew, result := all[len(all)-2], all[len(all)-1]
			stopped := anew.GetRoundStateChanged().GetConditions().GetEngineStopped()
			if result.GetResultRecorded().GetResult().GetStepId() != atOilLevel || stopped == nil {
				t.Fatalf("recorded %v, then %v", anew, result)
			}
			if stood := result.GetDeviceTime().AsTime().Sub(stopped.AsTime()); stood < time.Minute || stood > 24*time.Hour {
				t.Errorf("by the record the engine had stood for %v", stood)
			}
		})
	}
}

// The uplink hears the station's clock, and takes nothing over before.
func TestUplink_PutsTheClockRight(t *testing.T) {
	ahead := func() time.Time { return time.Now().Add(3 * time.Hour) }
	inBubbleBy(t, ahead, func(t *testing.T, k *stationtest.Kit, b *tablet, g *gate) {
		time.Sleep(time.Minute) // the gate is shut
		if b.right.Known() {
			t.Error("the clock was put right by nobody")
		}
		g.unshut()
		b.await("what the station knows", func() bool { return len(b.Library().GetVehicles()) > 0 })
		happened := 0
		must(t, b.Events(ctx, 1, func(ev *pb.JournalEvent) error {
			happened++
			if at := ev.GetStationTime().AsTime(); at.After(time.Now().Add(time.Microsecond)) { // events are a nanosecond apart at least
				t.Errorf("event %d happened at %v, it is %v", ev.GetSequence(), at, time.Now())
			}
			return nil
		}))
		if l := b.up.Link(); l.Skew != 3*time.Hour || l.Since.After(time.Now()) || happened == 0 {
			t.Errorf("after %d events: %+v", happened, l)
		}
		if !b.right.Now().Equal(time.Now()) {
			t.Errorf("the clock put right says %v, it is %v", b.right.Now(), time.Now())
		}
		b.restart()
		if c, err := round.OpenClock(round.ClockConfig{Device: ahead, Dir: b.dir}); err != nil || !c.Known() || !c.Now().Equal(time.Now()) {
			t.Errorf("after a restart: %v, known %t", err, c.Known())
		}
	})
}
