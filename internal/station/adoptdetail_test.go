package station_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// sameKnowledge compares what the station knows of a vehicle with what the twin
// knows, but for the numbers of the journals.
func sameKnowledge(t *testing.T, k, twin *stationtest.Kit, when string) {
	t.Helper()
	there, here := told(k.Standing(p1)), told(twin.Standing(p1))
	if d := diff(there, here); d != "" {
		t.Errorf("%s: what is known (station: -, twin: +)\n%s", when, d)
	}
	if d := diff(comparable(k.Readiness(p1)), comparable(twin.Readiness(p1))); d != "" {
		t.Errorf("%s: the readiness (station: -, twin: +)\n%s", when, d)
	}
}

// told is a standing without numbers of a journal.
func told(s *pb.Standing) *pb.Standing {
	s.Sequence = 0
	for _, r := range s.GetRounds() {
		r.Round.Sequence = 0
	}
	return s
}

// adoptsAll has a twin take over p1, and compares: at once, and after a restart.
func adoptsAll(t *testing.T, k, twin *stationtest.Kit, when string) {
	t.Helper()
	k.Clock.Advance(time.Second)
	twin.AdoptLibrary(k)
	k.Clock.Advance(time.Second)
	twin.AdoptStanding(k, p1)
	k.Clock.Advance(time.Second)
	sameKnowledge(t, k, twin, when)
	twin.Reopen()
	sameKnowledge(t, k, twin, when+", after a restart")
}

// The last answer that made a vehicle fit is not known at the station.
func TestAdoptStanding_UnprovesWhatTheStationRefused(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	for _, step := range k.Plan(p1, shift).GetSteps() {
		if step.GetStepId() != pump {
			k.Record(round, stationtest.Sound(step))
		}
	}
	twin := adopted(k)
	twin.Record(round, stationtest.Seen(pump, "sound"))
	if v := twin.Readiness(p1).GetVerdict(); v != pb.Verdict_VERDICT_FIT {
		t.Fatalf("before: %v", v)
	}
	adoptsAll(t, k, twin, "without it")
	if v := twin.Readiness(p1).GetVerdict(); v != pb.Verdict_VERDICT_UNPROVEN {
		t.Errorf("after: %v", v)
	}
}

// A repair leaves a step unproven and takes its value out of its group.
func TestAdoptStanding_TakesOverRepairs(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	const inner, outer = "TYR-010/axle-2-nearside-inner", "TYR-010/axle-2-nearside-outer"
	k.Record(round, stationtest.Read(inner, "pressure", 6.5, "bar"))
	k.Record(round, stationtest.Read(outer, "pressure", 8, "bar"))
	twin := adopted(k)
	sameKnowledge(t, k, twin, "before the repair")
	name := k.Readiness(p1).GetOpenDefects()[0].GetName()
	if _, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: name, Person: "people/mechanic", Done: "pumped up"}); err != nil {
		t.Fatal(err)
	}
	adoptsAll(t, k, twin, "after the repair")
	k.Record(round, stationtest.Read(inner, "pressure", 8, "bar"))
	k.Record(round, stationtest.NotChecked(inner, pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME))
	adoptsAll(t, k, twin, "after the recheck")
}

// Of a round that was interrupted twice the newest interruption counts.
func TestAdoptStanding_TakesOverWhenARoundChanged(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	pause := func() {
		if _, err := k.PauseRound(ctx, &pb.PauseRoundRequest{RequestId: k.ID(), Round: round}); err != nil {
			t.Fatal(err)
		}
	}
	pause()
	twin := adopted(k)
	k.Clock.Advance(time.Hour)
	if _, err := k.ResumeRound(ctx, &pb.ResumeRoundRequest{RequestId: k.ID(), Round: round}); err != nil {
		t.Fatal(err)
	}
	pause()
	adoptsAll(t, k, twin, "after the second pause")
}

// The configuration has changed since a round was opened; a twin that comes later
// knows only the new one, and tells the round as the station does.
func TestAdoptStanding_OfARoundOnAFormerPlan(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	steps := k.Plan(p1, shift).GetSteps()
	answer := func(at *stationtest.Kit, i int) { at.Record(round, stationtest.Sound(steps[i])) }
	answer(k, 3)
	k.ApplyAltered("    features: [pump]\n", "", "order: 0, title: front", "order: 9, title: front")
	if d := k.Plan(p1, shift).GetDigest(); d == k.Standing(p1).GetRounds()[0].GetRound().GetPlanDigest() {
		t.Fatal("the plan has not changed")
	}
	twin := k.Twin()
	adoptsAll(t, k, twin, "at first")
	answer(k, 0)
	answer(k, 5)
	adoptsAll(t, k, twin, "after two more")
	answer(twin, 1)
	twin.Reopen()
	want := []string{steps[0].GetStepId(), steps[3].GetStepId(), steps[5].GetStepId(), steps[1].GetStepId()}
	if got := twin.Readiness(p1).GetRounds()[0].GetAnsweredSteps(); !slices.Equal(got, want) {
		t.Errorf("answered %v, want %v", got, want)
	}
	for i := range steps {
		if steps[i].GetStepId() != pump {
			answer(k, i)
		}
	}
	adoptsAll(t, k, twin, "after all")
}

// The plan a round was opened on is in force again after a twin took the round
// over without it: the twin tells it in one order, before a restart and after.
func TestAdoptStanding_OfARoundWhosePlanComesBack(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	steps := k.Plan(p1, shift).GetSteps()
	k.Record(round, stationtest.Sound(steps[3]))
	k.ApplyAltered("triggers: [TRIGGER_SHIFT]\n      undo_s: 60", "triggers: [TRIGGER_WEEKLY]\n      undo_s: 60") // the vehicle stays at its revision
	if d := k.Plan(p1, shift).GetDigest(); d == k.Standing(p1).GetRounds()[0].GetRound().GetPlanDigest() {
		t.Fatal("the plan has not changed")
	}
	twin := k.Twin()
	adoptsAll(t, k, twin, "under another plan")
	k.ApplyAltered()
	if d := k.Plan(p1, shift).GetDigest(); d != k.Standing(p1).GetRounds()[0].GetRound().GetPlanDigest() {
		t.Fatal("the plan has not come back")
	}
	twin.AdoptLibrary(k)
	twin.AdoptStanding(k, p1)
	k.Clock.Advance(time.Second)
	twin.Record(round, stationtest.Sound(steps[0]))
	before := twin.Readiness(p1)
	twin.Reopen()
	if d := diff(before, twin.Readiness(p1)); d != "" {
		t.Errorf("a restart (before: -, after: +)\n%s", d)
	}
}

// Rounds are listed in the order in which they became known, whatever is taken
// over of them later, and one that was revived is not forgotten.
func TestAdoptStanding_KeepsTheListOfRounds(t *testing.T) {
	k := stationtest.Open(t)
	twin := adopted(k)
	var names []string
	for range 3 {
		names = append(names, k.OpenRound(p1, shift))
	}
	adoptsAll(t, k, twin, "three rounds")
	revived := names[0]
	if _, err := twin.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: twin.ID(), Round: revived}); err != nil {
		t.Fatal(err)
	}
	k.Record(names[1], stationtest.Seen(screen, "sound"))
	twin.AdoptStanding(k, p1)
	sameKnowledge(t, k, twin, "one revived")
	for range 70 { // more than are kept in memory after their end
		other := twin.OpenRound("vehicles/p2", shift)
		if _, err := twin.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: twin.ID(), Round: other}); err != nil {
			t.Fatal(err)
		}
	}
	twin.Record(revived, stationtest.Seen(screen, "sound"))
	if n := twin.Readiness(p1).GetRounds()[0].GetAnswered(); n != 1 {
		t.Errorf("%d steps of the revived round are answered", n)
	}
	for _, when := range []string{"at once", "after a restart"} {
		if got := listed(t, twin); !slices.Equal(got, []string{names[2], names[1], names[0]}) {
			t.Errorf("%s the rounds are %v, want %v backwards", when, got, names)
		}
		twin.Reopen()
	}
}

// listed lists the rounds of p1 page by page, each page with one.
func listed(t *testing.T, k *stationtest.Kit) (names []string) {
	t.Helper()
	for token := ""; ; {
		resp, err := k.ListRounds(ctx, &pb.ListRoundsRequest{Vehicle: p1, PageSize: 1, PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range resp.GetRounds() {
			names = append(names, r.GetName())
		}
		if token = resp.GetNextPageToken(); token == "" {
			return names
		}
	}
}

// A reading that repeats that of the round before is noted at a twin, too, which
// took both over.
func TestAdoptStanding_KnowsTheRoundBefore(t *testing.T) {
	k := stationtest.Open(t)
	const wheel = "TYR-010/axle-1-nearside"
	read := func(at *stationtest.Kit, round string, bar float64) {
		k.Clock.Advance(time.Minute)
		at.Record(round, stationtest.Read(wheel, "pressure", bar, "bar"))
	}
	first, second := k.OpenRound(p1, shift), k.OpenRound(p1, shift)
	read(k, first, 8.2)
	twin := adopted(k)
	read(k, second, 8.3)
	adoptsAll(t, k, twin, "both rounds")
	read(twin, second, 8.2)
	for _, r := range twin.Readiness(p1).GetRounds() {
		if want := map[string]int32{second: 1}[r.GetName()]; r.GetRepeatedValues() != want {
			t.Errorf("%s repeats %d values, want %d", r.GetName(), r.GetRepeatedValues(), want)
		}
	}
}

// Two tablets record at one step; the order is that of the station.
func TestAdoptStanding_TakesOverTheOrder(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	twin := adopted(k)
	late := twin.Request(round, stationtest.Seen(screen, "01"))
	if _, err := twin.RecordResult(ctx, late); err != nil { // here first
		t.Fatal(err)
	}
	for i := range 20 { // and there after the others, which are more than a row remembers
		k.Clock.Advance(time.Second)
		k.Record(round, stationtest.Seen(screen, []string{"02", "sound"}[i%2]))
	}
	if _, err := k.RecordResult(ctx, late); err != nil {
		t.Fatal(err)
	}
	k.Clock.Advance(time.Second)
	twin.AdoptStanding(k, p1)
	ids := func(at *stationtest.Kit) string {
		var all []string
		for _, res := range at.Standing(p1).GetRounds()[0].GetResults() {
			all = append(all, res.GetResultId())
		}
		return fmt.Sprint(len(all), all)
	}
	for _, when := range []string{"at once", "after a restart"} {
		if there, here := ids(k), ids(twin); here != there || !strings.HasPrefix(here, "16 ") {
			t.Errorf("%s: the station has\n%s, the twin\n%s", when, there, here)
		}
		k.Reopen()
		twin.Reopen()
	}
	if twin.AdoptStanding(k, p1) {
		t.Error("taking the same over again changed something")
	}
}

// What became of a defect is known at the twin after it was closed at the station, so
// that its reporter is told; after 60 days it is told no more, and stays known.
func TestAdoptStanding_TellsWhatBecameOfAClosedDefect(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	k.Record(round, stationtest.Seen(pump, "01"))
	twin := adopted(k)
	name := k.Readiness(p1).GetOpenDefects()[0].GetName()
	if _, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: name, Person: "people/mechanic", Done: "bearing fitted"}); err != nil {
		t.Fatal(err)
	}
	k.Clock.Advance(time.Minute)
	k.Record(round, stationtest.Seen(pump, "sound"))
	adoptsAll(t, k, twin, "closed")
	resp, err := twin.GetDefect(ctx, &pb.GetDefectRequest{Name: name})
	if err != nil {
		t.Fatal(err)
	}
	if d := resp.GetDefect(); d.GetState() != pb.DefectState_DEFECT_STATE_CLOSED || d.GetRepair().GetDone() != "bearing fitted" || d.GetClosedBy() == "" {
		t.Errorf("at the twin: %v", d)
	}
	if n := len(k.Standing(p1).GetDefects()); n != 1 {
		t.Fatalf("%d defects are told, want the closed one", n)
	}
	k.Clock.Advance(60 * 24 * time.Hour)
	if told := k.Standing(p1).GetDefects(); len(told) > 0 {
		t.Errorf("60 days after: %v", told)
	}
	twin.AdoptStanding(k, p1)
	if _, err := twin.GetDefect(ctx, &pb.GetDefectRequest{Name: name}); err != nil {
		t.Errorf("the twin has forgotten it: %v", err)
	}
}
