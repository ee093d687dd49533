package round_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// A shift check takes along what of the weekly check is this watch's, says so before it is
// begun, and keeps it: the share of a later watch does not come into it.
func TestDesk_TakesTheSharesOfTheWatchAlong(t *testing.T) {
	tab := newHands(t)
	if due := shiftOn(tab, wn11); due.Along != "" {
		t.Errorf("a weekly check that was never done is walked whole, not taken along: %q", due.Along)
	}
	name := "rounds/" + tab.kit.ID()
	if _, err := tab.kit.Station.OpenRound(t.Context(), &pb.OpenRoundRequest{Round: name, Vehicle: wn11, Routine: "routines/weekly", Driver: "people/quellmere", Device: "tablet-1"}); err != nil {
		t.Fatal(err)
	}
	for _, step := range tab.kit.Plan(wn11, "routines/weekly").GetSteps() {
		r := stationtest.Sound(step)
		r.Person = "people/quellmere"
		tab.kit.Record(name, r)
	}
	tab.clock.Advance(25 * time.Hour) // past the change of watch
	own, due := len(tab.kit.Plan(wn11, shift).GetSteps()), shiftOn(tab, wn11)
	if !strings.Contains(due.Along, " of the weekly check") || due.Steps <= own {
		t.Fatalf("%d of %d steps, %q", due.Steps, own, due.Along)
	}
	tab.begin(wn11, shift, "people/quellmere")
	resp, err := tab.kit.GetReadiness(t.Context(), &pb.GetReadinessRequest{Vehicle: wn11})
	if err != nil {
		t.Fatal(err)
	}
	var with []string
	for _, r := range resp.GetReadiness().GetRounds() {
		if r.GetRoutine() == shift {
			with = r.GetWithItems()
		}
	}
	if len(with) == 0 || len(tab.View().Round.Marks) != due.Steps {
		t.Fatalf("the round has %v and %d steps, want %d", with, len(tab.View().Round.Marks), due.Steps)
	}
	tab.later(24 * time.Hour)
	var asked []string
	for _, m := range tab.act("overview").Round.Marks {
		if item, _, _ := strings.Cut(m.StepID, "/"); !slices.Contains(asked, item) {
			asked = append(asked, item)
		}
	}
	for _, item := range with {
		if !slices.Contains(asked, item) {
			t.Errorf("%s was taken along, and is not asked for a day later", item)
		}
	}
	if len(tab.View().Round.Marks) != due.Steps {
		t.Errorf("%d steps a day later, want %d", len(tab.View().Round.Marks), due.Steps)
	}
}

func shiftOn(tab *hands, vehicle string) (found struct {
	Steps int
	Along string
},
) {
	for _, r := range dueOn(tab.act("home"), vehicle) {
		if r.Routine.GetName() == shift {
			found.Steps, found.Along = r.Steps, r.Along
		}
	}
	return found
}
