package round_test

import (
	"context"
	"errors"
	"path/filepath"
	"testing"
	"time"

	"bayround/internal/access"
	"bayround/internal/fault"
	"bayround/internal/round"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

var ctx = context.Background()

// hands is a desk on a real twin of the invented county, by a clock that the test
// moves, and a driver who works it.
type hands struct {
	*round.Desk
	t     *testing.T
	kit   *stationtest.Kit
	clock *stationtest.Clock
	dir   string
	guard *access.Guard
	up    round.Upward
	pics  round.PhotoKeeper

	badges *access.Badges // nil where none are read

	wall  func() time.Time // what the tablet's clock shows
	right *round.Clock     // nil where that is right
}

// newHands opens a desk on a twin of its own.
func newHands(t *testing.T) *hands {
	t.Helper()
	t.Parallel()
	clock := stationtest.NewClock()
	return handsOn(t, stationtest.OpenDemoInMorning(t, clock), clock)
}

// handsOn opens a desk on a twin.
func handsOn(t *testing.T, kit *stationtest.Kit, clock *stationtest.Clock) *hands {
	t.Helper()
	return handsBy(t, &hands{t: t, kit: kit, clock: clock, wall: clock.Now})
}

// handsBy opens a desk on a twin by the clock of a tablet.
func handsBy(t *testing.T, tab *hands) *hands {
	t.Helper()
	tab.dir = t.TempDir()
	var err error
	if tab.guard, err = access.OpenGuard(filepath.Join(tab.dir, "pins.json"), tab.clock.Now); err != nil {
		t.Fatal(err)
	}
	tab.open()
	t.Cleanup(func() {
		if err := tab.Close(); err != nil {
			t.Errorf("closing the desk: %v", err)
		}
	})
	return tab
}

func (tab *hands) open() {
	tab.t.Helper()
	d, err := round.OpenDesk(ctx, round.DeskConfig{
		Twin: tab.kit.Station, Uplink: tab.up, Guard: tab.guard, Badges: tab.badges, Photos: tab.pics, Device: "tablet-1", Dir: tab.dir, Clock: tab.wall, Right: tab.right,
	})
	if err != nil {
		tab.t.Fatalf("opening the desk: %v", err)
	}
	tab.Desk = d
}

// reopen closes the desk and opens it anew.
func (tab *hands) reopen() {
	tab.t.Helper()
	if err := tab.Close(); err != nil {
		tab.t.Fatalf("closing the desk: %v", err)
	}
	tab.open()
}

// act does something that must go well. Values are names and values in turn.
func (tab *hands) act(name string, values ...string) *round.View {
	tab.t.Helper()
	if err := tab.try(name, values...); err != nil {
		tab.t.Fatalf("%s %v: %v", name, values, err)
	}
	return tab.View()
}

func (tab *hands) try(name string, values ...string) error {
	a := round.Act{Name: name, Values: map[string]string{}}
	for i := 0; i < len(values); i += 2 {
		a.Values[values[i]] = values[i+1]
	}
	return tab.Do(ctx, a)
}

// refused does something that must be refused for a reason, and returns the words.
func (tab *hands) refused(reason, name string, values ...string) string {
	tab.t.Helper()
	err := tab.try(name, values...)
	var f *fault.Fault
	if !errors.As(err, &f) || f.Reason != reason {
		tab.t.Fatalf("%s %v: %v, want %s", name, values, err, reason)
	}
	if n := tab.View().Notice; n == nil || n.Reason != reason || n.Message != f.Message {
		tab.t.Fatalf("%s %v: the view's notice is %v, want %s", name, values, n, reason)
	}
	return f.Message
}

// begin chooses a vehicle, signs in, takes the gauges of the county and begins.
func (tab *hands) begin(vehicle, routine, assistant string) {
	tab.t.Helper()
	if tab.View().Phase != round.PhaseVehicles {
		tab.act("home")
	}
	tab.act("choose", "vehicle", vehicle, "routine", routine)
	if tab.View().Session == nil {
		tab.act("sign-in", "person", "people/arkwith", "pin", "2468")
	}
	tab.act("assistant", "person", assistant)
	tab.act("engine", "minutes", "600")
	tab.takeGauges()
	tab.act("begin")
}

func (tab *hands) takeGauges() {
	for _, g := range []string{"g-07", "d-01", "v-01", "r-01"} {
		tab.act("gauge", "gauge", "gauges/"+g)
	}
}

// look lets the least time of looking pass.
func (tab *hands) look() {
	if held := tab.View().Step.HeldUntil; held.After(tab.clock.Now()) {
		tab.clock.Advance(held.Sub(tab.clock.Now()))
	}
}

// prove answers the question that the round may put at the step in the light.
func (tab *hands) prove() {
	tab.t.Helper()
	if tab.View().Step.Entry.Proof != nil {
		tab.act("proof", "text", "1419")
	}
}

// sound answers the step in the light as it should be, and looks as long as it holds.
func (tab *hands) sound() *round.View {
	tab.t.Helper()
	step := tab.View().Step
	if step.MustTellControl {
		tab.act("control")
	}
	tab.look()
	tab.prove()
	switch r := stationtest.Sound(step.CheckStep); step.AnswerKind {
	case pb.AnswerKind_ANSWER_KIND_READING:
		if step.Entry.Taking != nil {
			tab.act("by-hand", "on", "1")
		}
		for i, value := range r.GetReading().GetValues() {
			tab.typeIn(value.GetPart(), soundText(step.CheckStep, i))
		}
	case pb.AnswerKind_ANSWER_KIND_PROFILE:
		for _, f := range step.Entry.Fields {
			tab.typeIn(f.ID, "10")
		}
	case pb.AnswerKind_ANSWER_KIND_LEVEL:
		tab.act("level", "mark", "between", "fraction", "1")
	case pb.AnswerKind_ANSWER_KIND_CONDITION:
		tab.act("see", "condition", r.GetSeen().GetConditions()[0].GetCondition())
	}
	return tab.record()
}

// goTo lights a step, and tells control where that comes first.
func (tab *hands) goTo(step string) *round.View {
	tab.t.Helper()
	v := tab.act("go", "step", step)
	if v.Step.MustTellControl {
		v = tab.act("control")
	}
	return v
}

// record records, says that what was undone was put back, and confirms where a value is unusual.
func (tab *hands) record() *round.View {
	tab.t.Helper()
	v := tab.act("record")
	if v.Step != nil && v.Step.AskLeft {
		v = tab.act("record", "left", "shut")
	}
	if v.Step != nil && v.Step.Confirm != "" {
		v = tab.act("confirm")
	}
	return v
}

func (tab *hands) typeIn(field, text string) {
	tab.t.Helper()
	tab.act("field", "id", field)
	for _, key := range text {
		tab.act("key", "key", string(key))
	}
}

// later lets time pass in a round in hand, after which the driver says who it is.
func (tab *hands) later(d time.Duration) {
	tab.t.Helper()
	tab.elapse(d)
	if tab.View().Phase == round.PhaseAsleep {
		tab.act("wake", "pin", "2468")
	}
}

// elapse lets time pass, and what it brings happen.
func (tab *hands) elapse(d time.Duration) *round.View {
	tab.t.Helper()
	tab.clock.Advance(d)
	if err := tab.Tick(ctx); err != nil {
		tab.t.Fatal(err)
	}
	return tab.View()
}
