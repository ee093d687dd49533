package station_test

import (
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// adopted opens a twin that has taken over everything.
func adopted(k *stationtest.Kit) *stationtest.Kit {
	twin := k.Twin()
	twin.AdoptLibrary(k)
	for _, v := range vehicles {
		twin.AdoptStanding(k, v)
	}
	k.Clock.Advance(time.Second)
	return twin
}

// A round that was opened at one tablet is gone on with at another: what was
// found is cured, a slip is corrected, what is left is recorded, and it ends.
func TestAdoptStanding_RoundGoesOnAtTheTwin(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	low := k.Record(round, stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_BELOW, 0)).GetResultId()
	k.Record(round, stationtest.Seen(screen, "01"))
	if _, err := k.BeginStep(ctx, &pb.BeginStepRequest{RequestId: k.ID(), Round: round, StepId: pump}); err != nil {
		t.Fatal(err)
	}
	if _, err := k.PauseRound(ctx, &pb.PauseRoundRequest{RequestId: k.ID(), Round: round}); err != nil {
		t.Fatal(err)
	}
	twin := adopted(k)
	if _, err := twin.TryRecord(round, stationtest.Seen(pump, "sound")); !fault.Is(err, fault.Precondition) {
		t.Errorf("recorded while it is paused: %v", err)
	}
	if _, err := twin.ResumeRound(ctx, &pb.ResumeRoundRequest{RequestId: twin.ID(), Round: round}); err != nil {
		t.Fatal(err)
	}
	cured := stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_BETWEEN, 0.9)
	cured.Cure = &pb.Cure{FoundResultId: low, Done: "topped up"}
	twin.Record(round, cured)
	slip := stationtest.Seen(screen, "sound")
	slip.Correction = true
	twin.Record(round, slip)
	twin.Reopen()
	if _, err := twin.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: twin.ID(), Round: round}); !fault.Is(err, fault.Precondition) {
		t.Errorf("ended with the pump undone: %v", err)
	}
	for _, step := range twin.Plan(p1, shift).GetSteps() {
		if id := step.GetStepId(); id != oil && id != screen {
			twin.Record(round, stationtest.Sound(step))
		}
	}
	resp, err := twin.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: twin.ID(), Round: round})
	if err != nil {
		t.Fatal(err)
	}
	if r := resp.GetReadiness(); r.GetVerdict() != pb.Verdict_VERDICT_FIT || len(r.GetOpenDefects()) > 0 || r.GetReadinessDebtS() != 0 || len(r.GetRounds()) > 0 {
		t.Errorf("the round leaves %v", r)
	}
	if r := resp.GetRound(); r.GetAnswered() != r.GetSteps() || r.GetState() != pb.RoundState_ROUND_STATE_FINISHED {
		t.Errorf("the round stands at %v", r)
	}
}

// What has ended at the station ends at the twin; how, it knows when it is told.
func TestAdoptStanding_EndsWhatHasEnded(t *testing.T) {
	for _, tc := range []struct {
		name string
		tell bool
		want pb.RoundState
	}{
		{"told how", true, pb.RoundState_ROUND_STATE_FINISHED},
		{"not told how", false, pb.RoundState_ROUND_STATE_GIVEN_UP},
	} {
		t.Run(tc.name, func(t *testing.T) {
			k := stationtest.Open(t)
			round := k.OpenRound(p1, shift)
			k.Record(round, stationtest.Seen(screen, "02"))
			twin := adopted(k)
			finished, err := k.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: k.ID(), Round: round})
			if err != nil {
				t.Fatal(err)
			}
			k.Clock.Advance(time.Second)
			standing := proto.CloneOf(k.Standing(p1))
			if tc.tell {
				standing.Rounds = append(standing.Rounds, &pb.StandingRound{Round: finished.GetRound(), Conditions: []*pb.RoundConditions{{}}, Results: twin.Standing(p1).GetRounds()[0].GetResults()})
			}
			if changed, err := twin.Station.AdoptStanding(ctx, twin.ID(), standing); err != nil || !changed {
				t.Fatalf("taking it over: %v, %v", changed, err)
			}
			check := func(when string) {
				t.Helper()
				got, err := twin.GetRound(ctx, &pb.GetRoundRequest{Name: round})
				if err != nil {
					t.Fatal(err)
				}
				if r := got.GetRound(); r.GetState() != tc.want || r.GetAnswered() != 1 || len(twin.Readiness(p1).GetRounds()) > 0 {
					t.Errorf("%s: %v", when, r)
				}
			}
			check("at once")
			if _, err := twin.TryRecord(round, stationtest.Seen(screen, "sound")); !fault.Is(err, fault.Precondition) {
				t.Errorf("recorded after the end: %v", err)
			}
			twin.Reopen()
			check("after a restart")
		})
	}
}

// A round that ended here while the station would not end it lives on.
func TestAdoptStanding_RevivesWhatLives(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	twin := adopted(k)
	if _, err := twin.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: twin.ID(), Round: round}); err != nil {
		t.Fatal(err)
	}
	if !twin.AdoptStanding(k, p1) {
		t.Error("nothing changed")
	}
	twin.Record(round, stationtest.Seen(screen, "sound"))
	twin.Reopen()
	if r := twin.Readiness(p1).GetRounds(); len(r) != 1 || r[0].GetState() != pb.RoundState_ROUND_STATE_OPEN || r[0].GetAnswered() != 1 {
		t.Errorf("rounds after a restart: %v", r)
	}
	resp, err := twin.ListRounds(ctx, &pb.ListRoundsRequest{})
	if err != nil || len(resp.GetRounds()) != 1 {
		t.Errorf("all rounds: %v, %v", resp, err)
	}
}

// What was recorded here and refused there is gone; what both know stays as it
// was recorded here.
func TestAdoptStanding_DropsWhatTheStationRefused(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	twin := adopted(k)
	both := twin.Request(round, stationtest.Seen(screen, "sound"))
	for _, s := range []*stationtest.Kit{twin, k} {
		if _, err := s.RecordResult(ctx, both); err != nil {
			t.Fatal(err)
		}
		k.Clock.Advance(3 * time.Second) // the station hears of it later
	}
	here := twin.Standing(p1).GetAnswers()[0].GetNewest()
	twin.Record(round, stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_BELOW, 0))
	twin.AdoptStanding(k, p1)
	r := twin.Readiness(p1)
	if len(r.GetOpenDefects()) > 0 || r.GetRounds()[0].GetAnswered() != 1 {
		t.Errorf("after taking over: %v", r)
	}
	if d := diff(here, twin.Standing(p1).GetAnswers()[0].GetNewest()); d != "" {
		t.Errorf("what both know (before: -, after: +)\n%s", d)
	}
	twin.Reopen()
	if d := diff(comparable(r), comparable(twin.Readiness(p1))); d != "" {
		t.Errorf("a restart (before: -, after: +)\n%s", d)
	}
}

// Since when a verdict holds is taken over, and what time has changed since then
// is worked out here.
func TestAdoptStanding_TakesOverSince(t *testing.T) {
	k := stationtest.Open(t)
	k.RecordAll(p1, shift)
	since := k.Readiness(p1).GetSince()
	given := k.Standing(p1)
	k.Clock.Advance(time.Hour)
	twin := k.Twin()
	twin.AdoptLibrary(k)
	twin.AdoptStanding(k, p1)
	if r := twin.Readiness(p1); r.GetVerdict() != pb.Verdict_VERDICT_FIT || !proto.Equal(r.GetSince(), since) {
		t.Errorf("an hour later: %v since %v, want FIT since %v", r.GetVerdict(), r.GetSince().AsTime(), since.AsTime())
	}
	k.Clock.Advance(20 * time.Hour) // answers are good for 14
	late := k.Twin()
	late.AdoptLibrary(k)
	if _, err := late.Station.AdoptStanding(ctx, late.ID(), given); err != nil {
		t.Fatal(err)
	}
	want := k.Readiness(p1)
	if r := late.Readiness(p1); r.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN || !proto.Equal(r.GetSince(), want.GetSince()) {
		t.Errorf("taken over 21 hours later: %v since %v, want since %v", r.GetVerdict(), r.GetSince().AsTime(), want.GetSince().AsTime())
	}
}

// The clock of a tablet may stand before the instant since which a verdict holds.
func TestAdoptStanding_WithAClockThatIsBehind(t *testing.T) {
	k := stationtest.Open(t)
	k.RecordAll(p1, shift)
	given := k.Standing(p1)
	k.Clock.Advance(-10 * time.Minute)
	twin := k.Twin()
	twin.AdoptLibrary(k)
	if _, err := twin.Station.AdoptStanding(ctx, twin.ID(), given); err != nil {
		t.Fatal(err)
	}
	if r := twin.Readiness(p1); r.GetVerdict() != pb.Verdict_VERDICT_FIT || !proto.Equal(r.GetSince(), given.GetSince()) {
		t.Errorf("%v since %v, want FIT since %v", r.GetVerdict(), r.GetSince().AsTime(), given.GetSince().AsTime())
	}
	before := exact(twin.Readiness(p1))
	twin.Reopen()
	if string(before) != string(exact(twin.Readiness(p1))) {
		t.Error("a restart changes what it says")
	}
}

func TestAdoptStanding_Refuses(t *testing.T) {
	k := stationtest.Open(t)
	k.OpenRound(p1, shift)
	twin := adopted(k)
	other := proto.CloneOf(k.Standing(p1))
	other.Vehicle = "vehicles/p2"
	size := events(t, twin)
	for _, tc := range []struct {
		name  string
		given *pb.Standing
		want  refusal
	}{
		{"an unknown vehicle", &pb.Standing{Vehicle: "vehicles/nowhere"}, refusal{fault.NotFound, "VEHICLE_UNKNOWN"}},
		{"a round of another vehicle", other, refusal{fault.Invalid, "ROUND_OF_ANOTHER_VEHICLE"}},
	} {
		_, err := twin.Station.AdoptStanding(ctx, twin.ID(), tc.given)
		tc.want.check(t, err)
	}
	if n := events(t, twin); n != size {
		t.Errorf("refused, and %d events more", n-size)
	}
	twin.OpenRound("vehicles/p2", shift) // it goes on working
}

// newestEvent returns the newest event of a station.
func newestEvent(t *testing.T, k *stationtest.Kit) (newest *pb.JournalEvent) {
	t.Helper()
	follow(t, k, "", func(ev *pb.JournalEvent) { newest = ev })
	return newest
}

// The journal of a twin grows by what is new, not by all that is known.
func TestAdoptStanding_TellsOnlyWhatIsNew(t *testing.T) {
	k := stationtest.OpenDemo(t)
	const vehicle = engine
	person := k.Library().GetPeople()[0].GetName()
	twin := k.Twin()
	twin.AdoptLibrary(k)
	name := "rounds/" + k.ID()
	if _, err := k.Station.OpenRound(ctx, &pb.OpenRoundRequest{Round: name, Vehicle: vehicle, Routine: shift, Driver: person, Device: "tablet-2"}); err != nil {
		t.Fatal(err)
	}
	steps := k.Plan(vehicle, shift).GetSteps()
	record := func(step *pb.CheckStep) {
		t.Helper()
		r := stationtest.Sound(step)
		r.Person = person
		k.Record(name, r)
	}
	for _, step := range steps {
		record(step)
	}
	twin.AdoptStanding(k, vehicle)
	whole := newestEvent(t, twin)
	record(steps[0])
	twin.AdoptStanding(k, vehicle)
	one := newestEvent(t, twin)
	t.Logf("%d steps: %d bytes told, %d bytes the first time, %d bytes for one more", len(steps), proto.Size(k.Standing(vehicle)), proto.Size(whole), proto.Size(one))
	if got := len(one.GetStandingAdopted().GetAnswers()); got != 1 {
		t.Errorf("one more is told with %d answers", got)
	}
	if proto.Size(one)*5 > proto.Size(whole) {
		t.Errorf("one more result is told in %d bytes, all in %d", proto.Size(one), proto.Size(whole))
	}
	if d := diff(comparable(k.Readiness(vehicle)), comparable(twin.Readiness(vehicle))); d != "" {
		t.Errorf("station: -, twin: +\n%s", d)
	}
}

// A standing larger than an event is taken in parts, and a repeat does nothing.
func TestAdoptStanding_TakesParts(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	twin := adopted(k)
	given := proto.CloneOf(k.Standing(p1))
	results := given.GetRounds()[0]
	for i := range 4000 { // of steps that are on no vehicle any more
		results.Results = append(results.Results, &pb.Result{
			ResultId: k.ID(), StepId: "OLD-010/" + string(rune('a'+i%26)) + string(rune('a'+i/26%26)) + string(rune('a'+i/676)),
			Person: "people/driver", Round: round, StationTime: timestamppb.New(k.Clock.Now()), Note: "as many words as somebody may say of one thing, over and over, until it has become far too much to be stored at once: it is taken in parts",
			Answer: &pb.Result_NotChecked{NotChecked: &pb.NotChecked{Reason: pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME}},
		})
	}
	for _, res := range results.GetResults() {
		results.Round.AnsweredSteps = append(results.Round.AnsweredSteps, res.GetStepId())
	}
	slices.Sort(results.Round.AnsweredSteps)
	size, id := events(t, twin), twin.ID()
	for range 2 {
		if changed, err := twin.Station.AdoptStanding(ctx, id, given); err != nil || !changed {
			t.Fatalf("taking over %d bytes: %v, %v", proto.Size(given), changed, err)
		}
	}
	if n := events(t, twin) - size; n < 2 || n > 8 {
		t.Errorf("%d bytes are told in %d events", proto.Size(given), n)
	}
	size = events(t, twin)
	if changed, err := twin.Station.AdoptStanding(ctx, twin.ID(), given); err != nil || changed || events(t, twin) != size {
		t.Errorf("taking the same over again: %v, %v, %d events more", changed, err, events(t, twin)-size)
	}
	count := func() int32 { return twin.Readiness(p1).GetRounds()[0].GetAnswered() }
	if count() != 4000 {
		t.Errorf("%d steps are answered", count())
	}
	twin.Reopen()
	if count() != 4000 {
		t.Errorf("after a restart %d steps are answered", count())
	}
}
