package round_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

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
func TestTell_ARunIsToldFromTheList(t *testing.T) {
	tab := newHands(t)
	tab.refused("CHOICE_UNKNOWN", "run", "vehicle", "vehicles/none")
	v := tab.act("run", "vehicle", wn11)
	if v.Phase != round.PhaseTell || v.Telling.Said || v.Telling.Recorded || slices.ContainsFunc(v.Telling.Choices, func(u round.TellChoice) bool { return u.Chosen }) {
		t.Fatalf("untouched: phase %v, %+v", v.Phase, v.Telling)
	}
	tab.refused("WHEN_NOT_SAID", "tell", "person", "people/arkwith")
	tab.refused("MINUTES_WRONG", "tell-when", "minutes", "-1")
	tab.refused("CHOICE_UNKNOWN", "tell-what", "what", "stretcher") // WN11 carries none
	tab.act("tell-when", "minutes", "20")
	returned := tab.clock.Now().Add(-20 * time.Minute)
	tab.act("tell-what", "what", "foam")
	tab.act("tell-what", "what", "ladders")
	tab.act("tell-what", "what", "ladders") // taken back
	tab.act("tell-what", "what", "sets")
	tab.clock.Advance(time.Minute)
	tab.refused("TELLER_MISSING", "tell")
	tab.refused("NOTE_TOO_LONG", "tell", "person", "people/arkwith", "note", strings.Repeat("x", 401))
	if len(runsIn(t, tab.kit)) > 0 {
		t.Fatal("what was refused is in the record")
	}
	tab.reopen() // killed in the middle: what was touched is kept
	v = tab.act("tell", "person", "people/arkwith", "note", " barn ")
	runs := runsIn(t, tab.kit)
	if len(runs) != 1 {
		t.Fatalf("%d runs recorded", len(runs))
	}
	run := runs[0].GetIncidentRecorded()
	if !run.GetReturned().AsTime().Equal(returned.Round(0)) || run.GetNote() != "barn" || !slices.Equal(run.GetUsed(), []string{"breathing sets", "foam"}) ||
		runs[0].GetPerson() != "people/arkwith" || runs[0].GetDevice() != "tablet-1" || runs[0].GetDeviceTime() == nil {
		t.Errorf("recorded: %v", runs[0])
	}
	if !v.Telling.Recorded || len(v.Telling.Due) == 0 || v.Telling.Due[0].GetRoutine() != afterIncident || !v.Telling.Due[0].GetDue().AsTime().Equal(returned.Round(0)) || v.Telling.Due[0].GetOpenSteps() == 0 {
		t.Fatalf("after it: %+v", v.Telling)
	}
	tab.refused("TOLD_ALREADY", "tell", "person", "people/arkwith")
	v = tab.act("choose", "vehicle", wn11, "routine", afterIncident)
	if v.Phase != round.PhaseSignIn || v.Telling != nil {
		t.Errorf("to the check: phase %v", v.Phase)
	}
}

// Whoever comes back into a round that a turnout broke off is asked about the run, not
// forced; told or not, the round goes on. One that was stood down is not asked.
func TestTell_ARunInTheMiddleOfARoundIsAskedAbout(t *testing.T) {
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
	if v.Phase != round.PhaseTell || !v.Telling.Broken {
		t.Fatalf("phase %v, %+v", v.Phase, v.Telling)
	}
	if v = tab.act("tell-done"); v.Phase != round.PhaseBefore || !v.Before.AskRun { // not now
		t.Fatalf("passed by: phase %v", v.Phase)
	}
	tab.act("run")
	tab.act("tell-when", "minutes", "0")
	tab.act("tell") // by who is signed in
	if runs := runsIn(t, tab.kit); len(runs) != 1 || runs[0].GetPerson() != "people/arkwith" || runs[0].GetVehicle() != wn11 {
		t.Fatalf("recorded: %v", runs)
	}
	if v = tab.act("tell-done"); v.Phase != round.PhaseBefore || v.Before.AskRun || !v.Before.Resuming {
		t.Fatalf("told: phase %v", v.Phase)
	}
	tab.act("engine", "minutes", "5")
	if v = tab.act("begin"); v.Phase != round.PhaseStep || v.Round.Name != name {
		t.Errorf("the round does not go on: phase %v", v.Phase)
	}
}

// A run that is told while the network is away is on the tablet at once and reaches the
// station once, also from a clock that is ahead.
func TestTell_ReachesTheStation(t *testing.T) {
	t.Parallel()
	tab, record, w := openLinked(t)
	tab.await(func(v *round.View) bool { return settled(v) && len(v.Vehicles) == 10 })
	w.Cut()
	tab.act("run", "vehicle", wn11)
	tab.act("tell-when", "minutes", "0")
	tab.act("tell-what", "what", "struck")
	tab.act("tell", "person", "people/arkwith")
	v := tab.await(func(v *round.View) bool { return v.Link.Pending > 0 }) // it is counted beside the act
	if !v.Telling.Recorded || v.Telling.Due[0].GetRoutine() != afterIncident || v.Link.Pending != 1 {
		t.Fatalf("cut off: %+v, %d to send", v.Telling, v.Link.Pending)
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

// eventsOf are the events of a station's record that are of one kind.
func eventsOf(t *testing.T, kit *stationtest.Kit, is func(*pb.JournalEvent) bool) (all []*pb.JournalEvent) {
	t.Helper()
	err := kit.Events(ctx, 1, func(ev *pb.JournalEvent) error {
		if is(ev) {
			all = append(all, ev)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func isFitting(ev *pb.JournalEvent) bool { return ev.GetWheelsFitted() != nil }

func isMovement(ev *pb.JournalEvent) bool { return ev.GetStockMoved() != nil }

// mayTell are the people of the tablet who have a role of the crew or the workshop, by name.
func mayTell(people []*pb.Person) (all []string) {
	for _, who := range people {
		if slices.ContainsFunc(who.GetRoles(), func(r pb.Role) bool { return r != pb.Role_ROLE_CONTROL }) {
			all = append(all, who.GetName())
		}
	}
	return all
}

func namesOf(people []*pb.Person) (all []string) {
	for _, who := range people {
		all = append(all, who.GetName())
	}
	return all
}

func idsOf(choices []round.TellChoice) (all []string) {
	for _, c := range choices {
		all = append(all, c.ID)
	}
	return all
}

// A fitted wheel is told from the list: of the wheels that the vehicle has, by who is of the
// crew, and its nuts are due to be torqued again from then. Source: wheel-fastener-limits.csv,
// "UK practice": 30 minutes or 40 km; an engine of two axles has four ends of them.
func TestTell_FittedWheels(t *testing.T) {
	tab := newHands(t)
	tab.refused("CHOICE_UNKNOWN", "wheels", "vehicle", "vehicles/none")
	v := tab.act("wheels", "vehicle", wn11)
	if want := []string{"axle-1-nearside", "axle-1-offside", "axle-2-nearside", "axle-2-offside"}; v.Phase != round.PhaseTell || v.Telling.Said || !slices.Equal(idsOf(v.Telling.Choices), want) {
		t.Fatalf("untouched: phase %v, %+v", v.Phase, v.Telling)
	}
	if got, want := namesOf(v.Telling.Tellers), mayTell(v.People); !slices.Equal(got, want) || len(want) == len(v.People) {
		t.Errorf("%v may tell, want %v", got, want)
	}
	tab.refused("WHEN_NOT_SAID", "tell", "person", "people/arkwith")
	tab.act("tell-when", "minutes", "20")
	fitted := tab.clock.Now().Add(-20 * time.Minute)
	tab.refused("WHAT_NOT_SAID", "tell", "person", "people/arkwith")
	tab.refused("CHOICE_UNKNOWN", "tell-what", "what", "axle-3-nearside")
	tab.act("tell-what", "what", "axle-2-offside")
	tab.act("tell-what", "what", "axle-1-nearside")
	tab.act("tell-what", "what", "axle-1-offside")
	tab.act("tell-what", "what", "axle-1-offside") // taken back
	for _, km := range []string{"-1", "many", "5000001"} {
		tab.refused("FIGURE_WRONG", "tell", "person", "people/arkwith", "odometer", km)
	}
	for _, who := range v.People {
		if !slices.Contains(mayTell(v.People), who.GetName()) {
			tab.refused("NOT_OF_THE_STATION", "tell", "person", who.GetName())
		}
	}
	if told := eventsOf(t, tab.kit, isFitting); len(told) > 0 {
		t.Fatalf("what was refused is in the record: %v", told)
	}
	tab.reopen() // killed in the middle: what was touched is kept
	v = tab.act("tell", "person", "people/arkwith", "odometer", "52100", "note", " a puncture ")
	all := eventsOf(t, tab.kit, isFitting)
	if len(all) != 1 {
		t.Fatalf("%d fittings recorded", len(all))
	}
	told := all[0].GetWheelsFitted()
	if len(told.GetWheels()) != 2 || told.GetNote() != "a puncture" || all[0].GetPerson() != "people/arkwith" || all[0].GetVehicle() != wn11 || all[0].GetDevice() != "tablet-1" || all[0].GetDeviceTime() == nil {
		t.Fatalf("recorded: %v", all[0])
	}
	for i, step := range []string{"WHL-200/axle-1-nearside", "WHL-200/axle-2-offside"} {
		if w := told.GetWheels()[i]; w.GetStepId() != step || w.GetOdometerKm() != 52_100 || !w.GetFitted().AsTime().Equal(fitted.Round(0)) {
			t.Errorf("recorded: %v, want %s", w, step)
		}
	}
	if words := strings.Join(v.Telling.Words, " "); !v.Telling.Recorded || !strings.Contains(words, "or after 40 km; and 1 more") {
		t.Errorf("after it the page says %q", words)
	}
	tab.refused("TOLD_ALREADY", "tell", "person", "people/arkwith")
	if v = tab.act("tell-done"); v.Phase != round.PhaseVehicles || v.Telling != nil {
		t.Errorf("done: phase %v", v.Phase)
	}

	tab.act("wheels", "vehicle", wn11) // nobody has read the odometer: it is due at once
	tab.act("tell-when", "minutes", "0")
	tab.act("tell-what", "what", "axle-1-nearside")
	v = tab.act("tell", "person", "people/arkwith")
	if len(v.Telling.Due) == 0 || v.Telling.Due[0].GetBecause() != pb.HappeningKind_HAPPENING_KIND_WHEEL_FITTED {
		t.Errorf("without a reading: %+v", v.Telling)
	}
}

// Amounts are said in litres or in pieces, as the station's file counts the material.
func TestTell_StockInItsUnit(t *testing.T) {
	tab := newHands(t)
	const oil = "stations/skarholm-quay/engine-oil"
	if v := tab.View(); !v.Stocked {
		t.Fatal("nothing is said to be stocked")
	}
	v := tab.act("stock-came")
	if v.Phase != round.PhaseTell || v.Chosen != nil || !slices.Contains(idsOf(v.Telling.Choices), oil) || !slices.Equal(namesOf(v.Telling.Tellers), mayTell(v.People)) {
		t.Fatalf("untouched: phase %v, %+v", v.Phase, v.Telling)
	}
	tab.act("tell-when", "minutes", "30")
	came := tab.clock.Now().Add(-30 * time.Minute)
	tab.refused("WHAT_NOT_SAID", "tell", "person", "people/arkwith", "amount", "20")
	tab.refused("CHOICE_UNKNOWN", "tell-what", "what", "stations/none/engine-oil")
	tab.act("tell-what", "what", idsOf(v.Telling.Choices)[0])
	v = tab.act("tell-what", "what", oil) // one at a time
	if n := len(slices.DeleteFunc(slices.Clone(v.Telling.Choices), func(c round.TellChoice) bool { return !c.Chosen })); n != 1 {
		t.Errorf("%d chosen", n)
	}
	for _, amount := range []string{"", "0", "-1", "20l", "0.0005", "1000001"} {
		tab.refused("AMOUNT_WRONG", "tell", "person", "people/arkwith", "amount", amount)
	}
	v = tab.act("tell", "person", "people/arkwith", "amount", "20.5", "note", "note 4411")
	if !v.Telling.Recorded || !slices.Equal(v.Telling.Words, []string{"Skarholm Quay, engine oil: 20.5 l"}) {
		t.Errorf("after it: %+v", v.Telling)
	}
	tab.act("tell-done")
	tab.act("stock-counted")
	tab.act("tell-when", "minutes", "0")
	tab.act("tell-what", "what", oil)
	tab.act("tell", "person", "people/arkwith", "amount", "0") // there may be none
	all := eventsOf(t, tab.kit, isMovement)
	if len(all) != 2 {
		t.Fatalf("%d movements recorded", len(all))
	}
	for i, want := range []*pb.StockMoved{
		{Kind: pb.StockMovementKind_STOCK_MOVEMENT_KIND_DELIVERED, AmountMlOrPieces: 20_500, Note: "note 4411", Happened: timestamppb.New(came.Round(0))},
		{Kind: pb.StockMovementKind_STOCK_MOVEMENT_KIND_COUNTED, Happened: timestamppb.New(tab.clock.Now().Round(0))},
	} {
		want.Station, want.Material = "stations/skarholm-quay", "engine-oil"
		if !proto.Equal(all[i].GetStockMoved(), want) || all[i].GetPerson() != "people/arkwith" || all[i].GetDevice() != "tablet-1" {
			t.Errorf("recorded %v, want %v", all[i], want)
		}
	}
}

// What is told while the network is away reaches the station once, under the same command,
// and a top-up beside it is not told twice. Source: conservation: 20 l counted and 5 l more
// are 25 l.
func TestTell_WheelsAndStockReachTheStation(t *testing.T) {
	t.Parallel()
	tab, record, w := openLinked(t)
	tab.await(func(v *round.View) bool { return settled(v) && len(v.Vehicles) == 10 })
	w.Cut()
	tab.act("wheels", "vehicle", wn11)
	tab.act("tell-when", "minutes", "0")
	tab.act("tell-what", "what", "axle-1-nearside")
	tab.act("tell", "person", "people/arkwith", "odometer", "52100.5")
	tab.act("tell-done")
	for _, told := range []struct{ act, ago, amount string }{{"stock-came", "0", "5"}, {"stock-counted", "60", "20"}} {
		tab.act(told.act)
		tab.act("tell-when", "minutes", told.ago)
		tab.act("tell-what", "what", "stations/skarholm-quay/engine-oil")
		tab.act("tell", "person", "people/arkwith", "amount", told.amount)
		tab.act("tell-done")
	}
	tab.await(func(v *round.View) bool { return v.Link.Pending == 3 })
	if len(eventsOf(t, record, isFitting))+len(eventsOf(t, record, isMovement)) > 0 {
		t.Fatal("the network is not cut")
	}
	w.Heal()
	tab.await(func(v *round.View) bool {
		return settled(v) && slices.ContainsFunc(v.Stock, func(one *pb.Stock) bool {
			return one.GetStation() == "stations/skarholm-quay" && one.GetText() == "engine oil: 25 l left"
		})
	})
	fittings, movements := eventsOf(t, record, isFitting), eventsOf(t, record, isMovement)
	if len(fittings) != 1 || len(movements) != 2 {
		t.Fatalf("at the station: %v and %v", fittings, movements)
	}
	if wheel := fittings[0].GetWheelsFitted().GetWheels(); len(wheel) != 1 || wheel[0].GetStepId() != "WHL-200/axle-1-nearside" || wheel[0].GetOdometerKm() != 52_100.5 || fittings[0].GetPerson() != "people/arkwith" {
		t.Errorf("at the station: %v", fittings[0])
	}
}
