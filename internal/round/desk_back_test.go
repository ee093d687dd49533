package round_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"bayround/internal/round"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

const afterIncident = "routines/after-incident"

// runsIn are the runs that a station's record tells of.
func runsIn(t *testing.T, kit *stationtest.Kit) (runs []*pb.JournalEvent) {
	t.Helper()
	err := kit.Events(ctx, 1, func(ev *pb.JournalEvent) error {
		if ev.GetIncidentRecorded() != nil {
			runs = append(runs, ev)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return runs
}

// A run is told from the list: when, what was used, by whom, without a PIN; nothing is
// said beforehand, and what is checked after it is due from the return. Source: what is
// checked after an incident is due then (the job's table of when each check is due).
func TestBack_ARunIsToldFromTheList(t *testing.T) {
	tab := newHands(t)
	tab.refused("CHOICE_UNKNOWN", "run", "vehicle", "vehicles/none")
	v := tab.act("run", "vehicle", wn11)
	if v.Phase != round.PhaseBack || v.Back.Said || v.Back.Recorded || slices.ContainsFunc(v.Back.Uses, func(u round.UseChoice) bool { return u.Chosen }) {
		t.Fatalf("untouched: phase %v, %+v", v.Phase, v.Back)
	}
	tab.refused("RETURN_NOT_SAID", "run-tell", "person", "people/arkwith")
	tab.refused("MINUTES_WRONG", "run-back", "minutes", "-1")
	tab.refused("CHOICE_UNKNOWN", "run-used", "used", "stretcher") // WN11 carries none
	tab.act("run-back", "minutes", "20")
	returned := tab.clock.Now().Add(-20 * time.Minute)
	tab.act("run-used", "used", "foam")
	tab.act("run-used", "used", "ladders")
	tab.act("run-used", "used", "ladders") // taken back
	tab.act("run-used", "used", "sets")
	tab.clock.Advance(time.Minute)
	tab.refused("RUN_NO_NAME", "run-tell")
	tab.refused("NOTE_TOO_LONG", "run-tell", "person", "people/arkwith", "note", strings.Repeat("x", 401))
	if len(runsIn(t, tab.kit)) > 0 {
		t.Fatal("what was refused is in the record")
	}
	tab.reopen() // killed in the middle: what was touched is kept
	v = tab.act("run-tell", "person", "people/arkwith", "note", " barn ")
	runs := runsIn(t, tab.kit)
	if len(runs) != 1 {
		t.Fatalf("%d runs recorded", len(runs))
	}
	run := runs[0].GetIncidentRecorded()
	if !run.GetReturned().AsTime().Equal(returned.Round(0)) || run.GetNote() != "barn" || !slices.Equal(run.GetUsed(), []string{"breathing sets", "foam"}) ||
		runs[0].GetPerson() != "people/arkwith" || runs[0].GetDevice() != "tablet-1" || runs[0].GetDeviceTime() == nil {
		t.Errorf("recorded: %v", runs[0])
	}
	if !v.Back.Recorded || len(v.Back.Due) == 0 || v.Back.Due[0].GetRoutine() != afterIncident || !v.Back.Due[0].GetDue().AsTime().Equal(returned.Round(0)) || v.Back.Due[0].GetOpenSteps() == 0 {
		t.Fatalf("after it: %+v", v.Back)
	}
	tab.refused("RUN_TOLD", "run-tell", "person", "people/arkwith")
	v = tab.act("choose", "vehicle", wn11, "routine", afterIncident)
	if v.Phase != round.PhaseSignIn || v.Back != nil {
		t.Errorf("to the check: phase %v", v.Phase)
	}
}

// Whoever comes back into a round that a turnout broke off is asked about the run, not
// forced; told or not, the round goes on. One that was stood down is not asked.
func TestBack_ARunInTheMiddleOfARoundIsAskedAbout(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	tab.walkTo("engine-cold")
	name := tab.View().Round.Name
	tab.act("turnout")
	if v := tab.act("back"); v.Before.AskRun {
		t.Error("asked about a run that there was not")
	}
	tab.act("engine", "minutes", "600")
	tab.act("begin")

	tab.act("turnout")
	_ = tab.try("away") // whatever is still undone
	tab.elapse(5 * time.Minute)
	tab.act("back")
	tab.act("sign-in", "person", "people/arkwith", "pin", "2468") // away so long, they were signed out
	v := tab.act("assistant", "person", "people/quellmere")
	if v.Phase != round.PhaseBefore || !v.Before.AskRun {
		t.Fatalf("back: phase %v, %+v", v.Phase, v.Before)
	}
	v = tab.act("run")
	if v.Phase != round.PhaseBack || !v.Back.Broken {
		t.Fatalf("phase %v, %+v", v.Phase, v.Back)
	}
	if v = tab.act("run-done"); v.Phase != round.PhaseBefore || !v.Before.AskRun { // not now
		t.Fatalf("passed by: phase %v", v.Phase)
	}
	tab.act("run")
	tab.act("run-back", "minutes", "0")
	tab.act("run-tell") // by who is signed in
	if runs := runsIn(t, tab.kit); len(runs) != 1 || runs[0].GetPerson() != "people/arkwith" || runs[0].GetVehicle() != wn11 {
		t.Fatalf("recorded: %v", runs)
	}
	if v = tab.act("run-done"); v.Phase != round.PhaseBefore || v.Before.AskRun || !v.Before.Resuming {
		t.Fatalf("told: phase %v", v.Phase)
	}
	tab.act("engine", "minutes", "5")
	if v = tab.act("begin"); v.Phase != round.PhaseStep || v.Round.Name != name {
		t.Errorf("the round does not go on: phase %v", v.Phase)
	}
}

// A run that is told while the network is away is on the tablet at once and reaches the
// station once, also from a clock that is ahead.
func TestBack_ReachesTheStation(t *testing.T) {
	t.Parallel()
	tab, record, w := openLinked(t)
	tab.await(func(v *round.View) bool { return settled(v) && len(v.Vehicles) == 10 })
	w.Cut()
	tab.act("run", "vehicle", wn11)
	tab.act("run-back", "minutes", "0")
	tab.act("run-used", "used", "struck")
	tab.act("run-tell", "person", "people/arkwith")
	v := tab.await(func(v *round.View) bool { return v.Link.Pending > 0 }) // it is counted beside the act
	if !v.Back.Recorded || v.Back.Due[0].GetRoutine() != afterIncident || v.Link.Pending != 1 {
		t.Fatalf("cut off: %+v, %d to send", v.Back, v.Link.Pending)
	}
	if len(runsIn(t, record)) > 0 {
		t.Fatal("the network is not cut")
	}
	w.Heal()
	tab.await(func(v *round.View) bool { return settled(v) && len(runsIn(t, record)) > 0 })
	runs := runsIn(t, record)
	if len(runs) != 1 || !slices.Equal(runs[0].GetIncidentRecorded().GetUsed(), []string{"a bump or a kerb"}) || runs[0].GetPerson() != "people/arkwith" {
		t.Errorf("at the station: %v", runs)
	}
}
