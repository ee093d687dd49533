package station_test

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// What could not be checked was not looked at: it alone keeps a check due, and says so.
func TestDues_WhatCouldNotBeCheckedStaysDue(t *testing.T) {
	k := scheduled(t)
	k.RecordAll(p1, shift)
	k.Clock.Advance(12 * time.Hour) // the next watch
	round, steps := k.OpenRound(p1, shift), k.Plan(p1, shift).GetSteps()
	left := steps[0]
	k.Record(round, stationtest.NotChecked(left.GetStepId(), pb.NotCheckedReason_NOT_CHECKED_REASON_NOT_REACHABLE))
	for _, s := range steps[1:] {
		k.Record(round, stationtest.Sound(s))
	}
	if _, err := k.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: k.ID(), Round: round}); err != nil {
		t.Fatal(err)
	}
	d := dueOf(t, k, p1, shift)
	hold(t, "one could not be checked", d, pb.DueState_DUE_STATE_DUE, "Mon 2 19:30", "Mon 2 20:30")
	if want := "1 of " + strconv.Itoa(len(steps)) + " steps left"; d.GetOpenSteps() != 1 || !strings.HasSuffix(d.GetText(), want) {
		t.Errorf("%d steps are open: %q, want %q", d.GetOpenSteps(), d.GetText(), want)
	}
	k.Clock.Advance(12 * time.Hour) // and is no new debt in the watch after: due since the first
	hold(t, "a watch later", dueOf(t, k, p1, shift), pb.DueState_DUE_STATE_OVERDUE, "Mon 2 19:30", "Mon 2 20:30")
	k.RecordAll(p1, shift)
	hold(t, "all was looked at", dueOf(t, k, p1, shift), pb.DueState_DUE_STATE_COMING, "Tue 3 19:30", "Tue 3 20:30")
}

// A vehicle owes no look at what it does not have: a change of its configuration takes away
// the last thing that was left of the check.
func TestDues_OfWhatTheVehicleDoesNotHave(t *testing.T) {
	k := scheduled(t)
	round, steps := k.OpenRound(p1, shift), k.Plan(p1, shift).GetSteps()
	for _, s := range steps {
		if s.GetItem() != "PMP-010" {
			k.Record(round, stationtest.Sound(s))
		}
	}
	before := dueOf(t, k, p1, shift)
	hold(t, "nobody has looked at the pump", before, pb.DueState_DUE_STATE_DUE, "Mon 2 07:30", "Mon 2 08:30")
	k.ApplyAltered(append(withOccasions(), "features: [pump]", "features: []", "capabilities: [pump]", "capabilities: []")...)
	after := dueOf(t, k, p1, shift)
	hold(t, "there is no pump", after, pb.DueState_DUE_STATE_COMING, "Mon 2 19:30", "Mon 2 20:30")
	if before.GetDone() != nil || after.GetDone() == nil || after.GetSteps() != before.GetSteps()-1 {
		t.Errorf("before %v, after %v", before, after)
	}
}
