package round_test

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// What is open at a step that is not part of the round in hand is told to the next watch by
// what the step is called: in the routine that has it, or, when no routine has it any
// more, by the catalogue with its place.
func TestDesk_TheHandOverNamesStepsThatAreNotOfItsRound(t *testing.T) {
	tab := newHands(t)
	name := "rounds/" + tab.kit.ID()
	_, err := tab.kit.Station.OpenRound(ctx, &pb.OpenRoundRequest{Round: name, Vehicle: wn11, Routine: weekly, Driver: "people/quellmere", Device: "tablet-1"})
	must(t, err)
	inShift := map[string]bool{}
	for _, step := range tab.kit.Plan(wn11, shift).GetSteps() {
		inShift[step.GetStepId()] = true
	}
	var at *pb.CheckStep
	for _, step := range tab.kit.Plan(wn11, weekly).GetSteps() {
		if fault := faultySeen(step); at == nil && !inShift[step.GetStepId()] && fault != "" {
			at = step
			r := stationtest.Seen(step.GetStepId(), fault)
			r.Person = "people/quellmere"
			tab.kit.Record(name, r)
		}
	}
	if at == nil || len(tab.kit.Readiness(wn11).GetOpenDefects()) == 0 {
		t.Fatal("there is no defect at a step of the weekly check alone")
	}
	handOver := func() string {
		t.Helper()
		tab.clock.Advance(time.Hour)
		tab.begin(wn11, shift, "")
		words := tab.act("give-up", "note", "next").Closing.Handover
		tab.act("done")
		if strings.Contains(words, at.GetStepId()) {
			t.Errorf("%s is told by its id:\n%s", at.GetTitle(), words)
		}
		return words
	}
	if words := handOver(); !strings.Contains(words, "Open from before:\n- "+at.GetTitle()+": ") {
		t.Errorf("%s is not named:\n%s", at.GetTitle(), words)
	}

	changed := proto.CloneOf(tab.kit.Library().GetCatalogue())
	item := ""
	for _, it := range changed.GetItems() {
		if it.GetId() == at.GetItem() {
			it.Triggers, item = nil, it.GetTitle()
		}
	}
	changed.Version += "-changed"
	_, err = tab.kit.Station.AdoptLibrary(ctx, tab.kit.ID(), &pb.StationFile{Catalogue: changed})
	must(t, err)
	_, place, _ := strings.Cut(at.GetStepId(), "/")
	if words := handOver(); !strings.Contains(words, "- "+item+", "+strings.ReplaceAll(place, "-", " ")+": ") {
		t.Errorf("%s is not named by the catalogue:\n%s", item, words)
	}
}

// faultySeen is a condition of a step that is a fault; empty where none is simply seen.
func faultySeen(step *pb.CheckStep) string {
	if step.GetAnswerKind() != pb.AnswerKind_ANSWER_KIND_CONDITION {
		return ""
	}
	for _, c := range step.GetConditions() {
		if c.GetFault() != "" {
			return c.GetId()
		}
	}
	return ""
}
