package round_test

import (
	"slices"
	"testing"
	"time"

	"bayround/internal/round"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// againIn are the steps of a walk that are to be asked again.
func againIn(v *round.View) (all []string) {
	for _, m := range v.Round.Marks {
		if m.State == round.MarkAgain {
			all = append(all, m.StepID)
		}
	}
	slices.Sort(all) // the way to them is another matter
	return all
}

// What is to be asked again after a run stands in the record: whoever leaves the
// round and takes it up again is asked the same.
func TestTurnout_WhatIsAskedAgainOutlivesTheSession(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	for range 12 {
		tab.sound()
	}
	name := tab.View().Round.Name
	tab.act("turnout")
	for _, it := range tab.View().Turnout.Items {
		tab.act("safe", "step", it.StepID)
	}
	tab.act("away")
	tab.elapse(10 * time.Minute)
	goOn := func() *round.View {
		if tab.View().Session == nil {
			tab.act("sign-in", "person", "people/arkwith", "pin", "2468")
		}
		tab.act("assistant", "person", "people/quellmere")
		tab.act("engine", "minutes", "0")
		tab.takeGauges()
		return tab.act("begin")
	}
	tab.act("back")
	want := againIn(goOn())
	if len(want) == 0 {
		t.Fatal("nothing is asked again after a run")
	}
	for _, left := range []string{"home", "sign-out"} {
		tab.act(left)
		tab.act("resume-round", "round", name)
		if got := againIn(goOn()); !slices.Equal(got, want) {
			t.Errorf("after %s is asked again %v, want %v", left, got, want)
		}
	}
	answered := tab.act("go", "step", want[0]).Step.GetStepId()
	tab.sound()
	tab.act("home")
	tab.act("resume-round", "round", name)
	if got := againIn(goOn()); slices.Contains(got, answered) || !slices.Equal(got, want[1:]) {
		t.Errorf("after %s was answered is asked again %v, want %v", answered, got, want[1:])
	}
}

// A tablet that takes the round up after another one is told of the run by the
// record, and asks the same again.
func TestTurnout_WhatIsAskedAgainMovesToAnotherTablet(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	for range 12 {
		tab.sound()
	}
	name := tab.View().Round.Name
	tab.act("turnout")
	for _, it := range tab.View().Turnout.Items {
		tab.act("safe", "step", it.StepID)
	}
	tab.act("away")
	tab.elapse(10 * time.Minute)
	takeUp := func(tab *hands) []string {
		if tab.View().Session == nil {
			tab.act("sign-in", "person", "people/arkwith", "pin", "2468")
		}
		tab.act("assistant", "person", "people/quellmere")
		tab.act("engine", "minutes", "0")
		tab.takeGauges()
		return againIn(tab.act("begin"))
	}
	tab.act("back")
	want := takeUp(tab)
	if len(want) == 0 {
		t.Fatal("nothing is asked again after a run")
	}
	tab.act("go", "step", want[0])
	tab.sound()
	want = want[1:]

	kit := stationtest.OpenWith(t, tab.clock, station.Options{Dir: t.TempDir(), Now: tab.clock.Now, Defaults: stationtest.Demo(t)})
	resp, err := tab.kit.GetStanding(t.Context(), &pb.GetStandingRequest{Vehicle: wn11})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := kit.Station.AdoptStanding(t.Context(), kit.ID(), resp.GetStanding()); err != nil {
		t.Fatal(err)
	}
	other := handsOn(t, kit, tab.clock)
	other.act("resume-round", "round", name)
	if got := takeUp(other); !slices.Equal(got, want) {
		t.Errorf("the other tablet asks again %v, want %v", got, want)
	}
}
