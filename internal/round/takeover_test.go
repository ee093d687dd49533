package round_test

import (
	"crypto/sha256"
	"slices"
	"strings"
	"testing"
	"time"

	"bayround/internal/round"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// Both drivers confirm the words on the page, each with a PIN, in that order; one person
// cannot be both, and the record says who it was and what they read.
func TestDesk_AHandOverIsConfirmedByBoth(t *testing.T) {
	tab := newHands(t)
	tab.begin("vehicles/wn11", "routines/shift", "people/quellmere")
	tab.act("give-up", "note", "called away")
	tab.refused("NOT_HANDED_OVER", "take-over", "person", "people/venholt", "pin", "2468")
	tab.refused("PIN_WRONG", "hand-over", "pin", "1357")
	v := tab.act("hand-over", "pin", "2468")
	if v.Closing.GivenAt.IsZero() || v.Closing.TakenBy != nil {
		t.Errorf("handed over at %v, taken by %v", v.Closing.GivenAt, v.Closing.TakenBy)
	}
	tab.refused("SAME_PERSON", "take-over", "person", "people/arkwith", "pin", "2468")
	tab.refused("PERSON_UNKNOWN", "take-over", "person", "people/nobody", "pin", "2468")
	tab.refused("PIN_WRONG", "take-over", "person", "people/venholt", "pin", "9999")
	v = tab.act("take-over", "person", "people/venholt", "pin", "2468")
	if v.Closing.TakenBy.GetName() != "people/venholt" {
		t.Fatalf("taken by %v", v.Closing.TakenBy)
	}
	tab.refused("TAKEN_OVER", "take-over", "person", "people/venholt", "pin", "2468")
	resp, err := tab.kit.GetReadiness(t.Context(), &pb.GetReadinessRequest{Vehicle: "vehicles/wn11"})
	if err != nil {
		t.Fatal(err)
	}
	read := sha256.Sum256([]byte(v.Closing.Handover))
	h := resp.GetReadiness().GetHandOver()
	if h.GetOffGoing() != "people/arkwith" || h.GetOnComing() != "people/venholt" || string(h.GetTextSha256()) != string(read[:]) || h.GetOnComingConfirmed().AsTime().Before(h.GetOffGoingConfirmed().AsTime()) {
		t.Errorf("the record says %v", h)
	}
}

// Who takes over may come when the tablet has long gone back to its vehicles: the words wait
// there, with what has become of what they speak of, until they are taken over.
func TestDesk_AHandOverWaitsForWhoTakesOver(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	words := tab.act("give-up", "note", "called away").Closing.Handover
	if !strings.Contains(words, "shift check") || len(tab.View().Closing.Since) != 0 {
		t.Fatalf("%q, since then %q", words, tab.View().Closing.Since)
	}
	tab.clock.Advance(time.Hour) // nobody is signed in any more
	if err := tab.Tick(ctx); err != nil {
		t.Fatal(err)
	}
	tab.reopen()
	if v := tab.View(); v.Phase != round.PhaseVehicles || v.Session != nil || waits(v, wn11).IsZero() || !waits(v, "vehicles/wn12").IsZero() {
		t.Fatalf("phase %d, session %v, waits since %v", v.Phase, v.Session, waits(v, wn11))
	}
	tab.refused("NO_HAND_OVER", "open-hand-over", "vehicle", "vehicles/wn12")
	wholeShift(t, tab)
	v := tab.act("open-hand-over", "vehicle", wn11)
	if v.Closing.Handover != words || !slices.ContainsFunc(v.Closing.Since, func(line string) bool { return strings.HasPrefix(line, "done: shift check ") }) {
		t.Errorf("the words are %q, since then %q", v.Closing.Handover, v.Closing.Since)
	}
	tab.act("hand-over", "pin", "2468")
	tab.act("home")
	tab.act("open-hand-over", "vehicle", wn11) // who hands over need not wait
	tab.refused("SAME_PERSON", "take-over", "person", "people/arkwith", "pin", "2468")
	if v := tab.act("take-over", "person", "people/venholt", "pin", "2468"); v.Closing.TakenBy.GetName() != "people/venholt" || v.Closing.GivenBy.GetName() != "people/arkwith" {
		t.Errorf("taken by %v from %v", v.Closing.TakenBy, v.Closing.GivenBy)
	}
	if v := tab.act("home"); !waits(v, wn11).IsZero() {
		t.Errorf("taken over, and waits since %v", waits(v, wn11))
	}
	tab.refused("NO_HAND_OVER", "open-hand-over", "vehicle", wn11)
}

// The newest words of a vehicle stand in the place of those before, and none wait for ever.
func TestDesk_AHandOverWaitsNoLongerThanARota(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	tab.act("give-up", "note", "called away")
	first := waits(tab.act("home"), wn11)
	tab.clock.Advance(time.Minute)
	tab.begin(wn11, shift, "people/quellmere")
	tab.act("give-up", "note", "called away again")
	second := waits(tab.act("home"), wn11)
	if first.IsZero() || !second.After(first) {
		t.Errorf("waits since %v, then since %v", first, second)
	}
	tab.clock.Advance(8*24*time.Hour + time.Minute)
	tab.refused("NO_HAND_OVER", "open-hand-over", "vehicle", wn11)
}

func waits(v *round.View, vehicle string) time.Time {
	for _, one := range v.Vehicles {
		if one.Configuration.GetName() == vehicle {
			return one.HandOver
		}
	}
	return time.Time{}
}

// wholeShift has somebody else look at everything of a shift check.
func wholeShift(t *testing.T, tab *hands) {
	t.Helper()
	name := "rounds/" + tab.kit.ID()
	if _, err := tab.kit.Station.OpenRound(ctx, &pb.OpenRoundRequest{Round: name, Vehicle: wn11, Routine: shift, Driver: "people/venholt", Device: "tablet-2"}); err != nil {
		t.Fatal(err)
	}
	for _, step := range tab.kit.Plan(wn11, shift).GetSteps() {
		r := stationtest.Sound(step)
		r.Person = "people/venholt"
		tab.kit.Record(name, r)
	}
}
