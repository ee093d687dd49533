package station_test

import (
	"context"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// Results that were recorded before their round ended count whenever they
// arrive: after many other rounds have ended, after the configuration has
// changed, after a restart.
func TestRecordResult_Late(t *testing.T) {
	k := stationtest.Open(t)
	first := k.RecordAll(p1, shift)
	recorded := k.Clock.Now()
	k.Clock.Advance(time.Minute)
	finish(t, k, first)
	for range 80 { // more than a station keeps in memory
		finish(t, k, k.OpenRound(p2, shift))
	}
	late := func(condition, device string) *pb.RecordResultResponse {
		r := stationtest.Seen(screen, condition)
		r.DeviceTime, r.Device = timestamppb.New(recorded), device
		return k.Record(first, r)
	}
	if resp := late("03", "tablet-2"); resp.GetVerdict() != pb.Verdict_VERDICT_UNFIT {
		t.Errorf("verdict %v after a shattered screen was delivered late, want UNFIT", resp.GetVerdict())
	}
	k.Reopen()
	k.ApplyAltered("gross_mass_kg: 18000", "gross_mass_kg: 17900")
	for range 80 {
		finish(t, k, k.OpenRound(p2, shift))
	}
	slip := stationtest.Seen(screen, "01")
	slip.DeviceTime, slip.Correction = timestamppb.New(recorded), true
	if resp := k.Record(first, slip); resp.GetVerdict() != pb.Verdict_VERDICT_FIT {
		t.Errorf("verdict %v after the slip was corrected late, want FIT", resp.GetVerdict())
	}
	resp, err := k.GetRound(ctx, &pb.GetRoundRequest{Name: first})
	if err != nil {
		t.Fatal(err)
	}
	r := resp.GetRound()
	if r.GetState() != pb.RoundState_ROUND_STATE_FINISHED || r.GetAnswered() != 9 || r.GetLastActivity().AsTime().Before(k.Clock.Now()) {
		t.Errorf("round %v", r)
	}
	if live := k.Readiness(p1).GetRounds(); len(live) != 0 {
		t.Errorf("a late result has opened %v again", live)
	}
}

func finish(t testing.TB, k *stationtest.Kit, round string) {
	t.Helper()
	if _, err := k.FinishRound(context.Background(), &pb.FinishRoundRequest{RequestId: k.ID(), Round: round}); err != nil {
		t.Fatal(err)
	}
}

// A result for a step that was taken off the vehicle meanwhile is recorded and
// judged: nothing gets better because it arrived late.
func TestRecordResult_OfAStepThatVanished(t *testing.T) {
	k := stationtest.Open(t)
	round := k.RecordAll(p1, shift)
	k.ApplyAltered("    features: [pump]\n", "", "    capabilities: [pump]\n", "")
	k.Reopen() // the plan of the round is that of its opening all the same
	resp := k.Record(round, stationtest.Seen(pump, "01"))
	if len(resp.GetFindings()) != 1 || resp.GetFindings()[0].GetRule() != "pump-stuck" {
		t.Errorf("findings %v", resp.GetFindings())
	}
	for range 2 {
		if open := k.Readiness(p1).GetOpenDefects(); len(open) != 1 || open[0].GetStepId() != pump {
			t.Errorf("open defects %v", open)
		}
		k.Reopen()
	}
}

// What was looked at long ago is no fresher for having been delivered late, and
// a device whose clock runs ahead makes nothing fresher either.
func TestRecordResult_LateDeliveryMakesNothingFresh(t *testing.T) {
	for _, tc := range []struct {
		name   string
		looked time.Duration // the device's clock against the station's at delivery
		newer  bool          // somebody has looked just now, too
		want   pb.Verdict
	}{
		{"looked just now", 0, false, pb.Verdict_VERDICT_FIT},
		{"looked thirteen hours before, good for fourteen", -13 * time.Hour, false, pb.Verdict_VERDICT_FIT},
		{"looked three days before", -72 * time.Hour, false, pb.Verdict_VERDICT_UNPROVEN},
		{"looked three days before, and a newer look is there", -72 * time.Hour, true, pb.Verdict_VERDICT_FIT},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			k := stationtest.Open(t)
			round := k.OpenRound(p1, shift)
			for _, step := range k.Plan(p1, shift).GetSteps() {
				if tc.newer || step.GetStepId() != screen {
					k.Record(round, stationtest.Sound(step))
				}
			}
			if resp := k.Record(round, lookedAt(k, stationtest.Seen(screen, "01"), tc.looked)); resp.GetVerdict() != tc.want {
				t.Errorf("verdict %v, want %v", resp.GetVerdict(), tc.want)
			}
			if got := k.Readiness(p1).GetVerdict(); got != tc.want {
				t.Errorf("readiness %v, want %v", got, tc.want)
			}
		})
	}
	k := stationtest.Open(t)
	round := k.RecordAll(p1, shift)
	before := k.Readiness(p1).GetUntil().AsTime()
	k.Record(round, lookedAt(k, stationtest.Seen(screen, "01"), time.Hour))
	if after := k.Readiness(p1).GetUntil().AsTime(); after.Sub(before) >= time.Minute {
		t.Errorf("a clock an hour ahead moved staleness from %v to %v", before, after)
	}
}

// lookedAt says of a result when somebody looked, by the device's clock against
// the station's.
func lookedAt(k *stationtest.Kit, r *pb.Result, ago time.Duration) *pb.Result {
	r.DeviceTime = timestamppb.New(k.Clock.Now().Add(ago))
	return r
}

// lastOf is the newest result of a step as the plan shows it.
func lastOf(t *testing.T, k *stationtest.Kit, routine, stepID string) *pb.Result {
	t.Helper()
	for _, s := range k.Plan(p1, routine).GetSteps() {
		if s.GetStepId() == stepID {
			return s.GetLast()
		}
	}
	t.Fatalf("%s has no step %s", routine, stepID)
	return nil
}

// An older look that is delivered late is kept, counts in its round and may
// raise a defect; but the newer look stays what is shown, what groups are
// judged by and what freshness counts from, over restarts and rebuilds too.
func TestRecordResult_LateOlderLookDisplacesNothing(t *testing.T) {
	k := stationtest.Open(t)
	k.RecordAll(p1, shift)
	until := k.Readiness(p1).GetUntil().AsTime()
	round := k.OpenRound(p1, shift)
	resp := k.Record(round, lookedAt(k, stationtest.Read(outer, "pressure", 6.9, "bar"), -time.Hour))
	if found := resp.GetFindings(); len(found) != 1 || found[0].GetRule() != "pressure-low" {
		t.Errorf("findings %v, want pressure-low alone: the twins as they are now do not differ", found)
	}
	if resp.GetVerdict() != pb.Verdict_VERDICT_RESTRICTED {
		t.Errorf("verdict %v, want RESTRICTED by the defect that the late result has raised", resp.GetVerdict())
	}
	for _, when := range []string{"at once", "after a restart", "after a rebuild"} {
		r := k.Readiness(p1)
		if got := lastOf(t, k, shift, outer).GetReading().GetValues()[0].GetAsTyped(); got != 800 {
			t.Errorf("%s: the plan shows %v, want the newer look's 800 (kPa)", when, got)
		}
		if !r.GetUntil().AsTime().Equal(until) || r.GetVerdict() != pb.Verdict_VERDICT_RESTRICTED {
			t.Errorf("%s: %v until %v, want RESTRICTED until %v", when, r.GetVerdict(), r.GetUntil().AsTime(), until)
		}
		if len(r.GetOpenDefects()) != 1 || len(r.GetReasons()) != 1 || r.GetReasons()[0].GetDefect() == "" {
			t.Errorf("%s: reasons %v, want the one defect", when, r.GetReasons())
		}
		got, err := k.GetRound(ctx, &pb.GetRoundRequest{Name: round})
		if err != nil || got.GetRound().GetAnswered() != 1 {
			t.Errorf("%s: %v, %v; want one step answered in its round", when, got.GetRound(), err)
		}
		restart(t, k, when == "after a restart")
	}
}

// restart opens the station anew; anew makes its rows out of its events.
func restart(t *testing.T, k *stationtest.Kit, anew bool) {
	t.Helper()
	if anew {
		k.Close()
		if _, err := station.Rebuild(ctx, k.Dir(), nil); err != nil {
			t.Fatal(err)
		}
	}
	k.Reopen()
}

// That nobody looked, told late, takes nothing from who looked after that.
func TestRecordResult_LateNotCheckedDisplacesNothing(t *testing.T) {
	k := stationtest.Open(t)
	round := k.RecordAll(p1, shift)
	k.Record(round, lookedAt(k, stationtest.NotChecked(screen, pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME), -time.Hour))
	k.Clock.Advance(20 * time.Hour)
	for range 2 {
		if last := lastOf(t, k, shift, screen); last.GetSeen() == nil {
			t.Errorf("the plan shows %v, want what was seen later", last)
		}
		for _, s := range k.Readiness(p1).GetReasons()[0].GetUnproven().GetSteps() {
			if s.GetCause() != pb.UnprovenCause_UNPROVEN_CAUSE_STALE {
				t.Errorf("%s is unproven as %v, want as stale", s.GetStepId(), s.GetCause())
			}
		}
		k.Reopen()
	}
	k.Record(round, stationtest.NotChecked(screen, pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME))
	if last := lastOf(t, k, shift, screen); last.GetNotChecked() == nil {
		t.Errorf("the plan shows %v, want that nobody looked, which is the newest", last)
	}
}

// A look from before a repair, delivered after it, is judged by itself and
// takes no part in its group: at once as well as after a restart.
func TestRecordResult_FromBeforeARepairTakesNoPartInItsGroup(t *testing.T) {
	k := stationtest.Open(t)
	round := k.RecordAll(p1, shift)
	k.Record(round, stationtest.Read(outer, "pressure", 6.9, "bar"))
	k.Clock.Advance(time.Hour)
	repairAll(t, k)
	resp := k.Record(round, lookedAt(k, stationtest.Read(outer, "pressure", 8.9, "bar"), -time.Minute))
	if len(resp.GetFindings()) != 0 {
		t.Errorf("findings %v, want none: what was read before the repair is no twin of what is there now", resp.GetFindings())
	}
	for range 2 {
		if r := k.Readiness(p1); r.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN || len(r.GetReasons()) != 1 {
			t.Errorf("%v because of %v, want UNPROVEN since the repair alone", r.GetVerdict(), r.GetReasons())
		}
		k.Reopen()
	}
}

func repairAll(t *testing.T, k *stationtest.Kit) {
	t.Helper()
	for _, d := range k.Readiness(p1).GetOpenDefects() {
		req := &pb.RecordRepairRequest{RequestId: k.ID(), Defect: d.GetName(), Person: "people/mechanic", Done: "mended"}
		if _, err := k.RecordRepair(ctx, req); err != nil {
			t.Fatal(err)
		}
	}
}

// A look from before a step was left open tells nothing of whether it is still
// open, unless it is of the round that has left it so.
func TestRecordResult_LateOlderLookPutsNothingBack(t *testing.T) {
	for _, own := range []bool{false, true} {
		k := stationtest.Open(t)
		first, second := k.OpenRound(p1, shift), k.OpenRound(p1, shift)
		open := stationtest.Seen(pump, "sound")
		open.LeftOpen = true
		k.Record(second, open)
		round, want := first, int32(60) // small.yaml: 60 s to put the pump back
		if own {
			round, want = second, 0
		}
		k.Record(round, lookedAt(k, stationtest.Seen(pump, "sound"), -time.Hour))
		if got := k.Readiness(p1).GetReadinessDebtS(); got != want {
			t.Errorf("of the round itself %v: debt %d s, want %d", own, got, want)
		}
	}
}

// A defect that was seen is not made older by an older look that shows it, too.
func TestRecordResult_LateDeliveryMakesNoDefectOlder(t *testing.T) {
	k := stationtest.Open(t)
	round := k.RecordAll(p1, shift)
	k.Clock.Advance(3 * time.Hour)
	k.Record(round, stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_BELOW, 0))
	k.Record(round, lookedAt(k, stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_BELOW, 0), -2*time.Hour))
	k.Record(round, lookedAt(k, stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_BETWEEN, 0.8), -time.Hour))
	if open := k.Readiness(p1).GetOpenDefects(); len(open) != 1 || open[0].GetTimesFound() != 2 {
		t.Errorf("open defects %v, want the low oil, found twice: nobody has looked since it was found", open)
	}
}

// A sound look from before a repair, or from before a defect was seen, closes
// nothing when it arrives afterwards; one from after does.
func TestRecordResult_LateDeliveryClosesNothing(t *testing.T) {
	k := stationtest.Open(t)
	round := k.RecordAll(p1, shift)
	early := k.Clock.Now()
	sound := func(step *pb.Result, at time.Time) pb.Verdict {
		step.DeviceTime, step.Device = timestamppb.New(at), "tablet-2"
		return k.Record(round, step).GetVerdict()
	}

	// Oil: a recheck is enough, but not one from before it was found low.
	k.Clock.Advance(time.Hour)
	k.Record(round, stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_BELOW, 0))
	low := k.Readiness(p1)
	if len(low.GetOpenDefects()) != 1 {
		t.Fatalf("open defects %v, want the low oil", low.GetOpenDefects())
	}
	if got := sound(stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_BETWEEN, 0.8), early); got != low.GetVerdict() {
		t.Errorf("verdict %v after a sound look from before, want %v still", got, low.GetVerdict())
	}
	k.Clock.Advance(time.Minute)
	if got := sound(stationtest.Stands(oil, pb.LevelMark_LEVEL_MARK_BETWEEN, 0.8), k.Clock.Now()); got != pb.Verdict_VERDICT_FIT {
		t.Errorf("verdict %v after a sound look from now, want FIT", got)
	}

	// Screen: repaired, and a look from before the repair proves nothing of it.
	k.Record(round, stationtest.Seen(screen, "03"))
	k.Clock.Advance(time.Hour)
	_, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{
		RequestId: k.ID(), Defect: k.Readiness(p1).GetOpenDefects()[0].GetName(), Person: "people/mechanic", Done: "new glass",
	})
	if err != nil {
		t.Fatal(err)
	}
	if got := sound(stationtest.Seen(screen, "01"), k.Clock.Now().Add(-30*time.Minute)); got != pb.Verdict_VERDICT_UNPROVEN {
		t.Errorf("verdict %v after a look from before the repair, want UNPROVEN", got)
	}
	k.Clock.Advance(time.Minute)
	if got := sound(stationtest.Seen(screen, "01"), k.Clock.Now()); got != pb.Verdict_VERDICT_FIT {
		t.Errorf("verdict %v after a look from after the repair, want FIT", got)
	}
}

// Conditions given anew stand with the resumption; the round is opened once.
func TestResumeRound_ConditionsAreNoSecondOpening(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	c := &pb.RoundConditions{EngineStopped: timestamppb.New(stationtest.Morning)}
	if _, err := k.ResumeRound(ctx, &pb.ResumeRoundRequest{RequestId: k.ID(), Round: round, Conditions: c}); err != nil {
		t.Fatal(err)
	}
	var opened, resumed int
	err := k.Follow(ctx, &pb.FollowRequest{StopAtEnd: true}, func(m *pb.FollowResponse) error {
		for _, ev := range m.GetEvents().GetEvents() {
			if ev.GetRoundOpened() != nil {
				opened++
			}
			if ev.GetRoundStateChanged().GetConditions() != nil {
				resumed++
			}
		}
		return nil
	})
	if err != nil || opened != 1 || resumed != 1 {
		t.Errorf("%d openings, %d resumptions with conditions, error %v; want 1, 1", opened, resumed, err)
	}
}

// A look that is delivered late takes the air and the odometer of when somebody
// looked, and is refused for nothing that was said after it: at once, after a restart
// and after a rebuild.
func TestRecordResult_LateTakesTheCircumstancesOfItsLook(t *testing.T) {
	k := stationtest.Open(t)
	limited(k, "    cold_rules: [{items: [TYR-010], stood: 2h, driven_at_most_km: 1, source: {title: House rules, status: SOURCE_STATUS_SERVICE_POLICY}}]\n")
	round := k.OpenRound(p1, shift)
	say := func(air, odometer, driven float64) {
		t.Helper()
		_, err := k.ResumeRound(ctx, &pb.ResumeRoundRequest{RequestId: k.ID(), Round: round, DeviceTime: timestamppb.New(k.Clock.Now()), Conditions: &pb.RoundConditions{
			AmbientCelsius: proto.Float64(air), OdometerKm: proto.Float64(odometer), DrivenKm: proto.Float64(driven),
		}})
		if err != nil {
			t.Fatal(err)
		}
	}
	say(6, 41210, 0)
	k.Clock.Advance(time.Hour)
	say(21, 41232, 22)
	for _, when := range []string{"at once", "after a restart", "after a rebuild"} {
		k.Clock.Advance(time.Minute)
		looked := -30*time.Minute - k.Clock.Now().Sub(stationtest.Morning.Add(time.Hour)) // half an hour before it was driven
		if _, err := k.TryRecord(round, lookedAt(k, stationtest.Read(tyre, "pressure", 8.5, "bar"), looked)); err != nil {
			t.Fatalf("%s: %v", when, err)
		}
		last, points := lastOf(t, k, shift, tyre), pointsOf(k, tyre)
		if newest := points[len(points)-1]; last.GetAirCelsius() != 6 || newest.GetAirCelsius() != 6 || newest.GetOdometerKm() != 41210 {
			t.Errorf("%s: air of %v, point %v; want 6 and 41210", when, last.AirCelsius, newest)
		}
		_, err := k.TryRecord(round, stationtest.Read(tyre, "pressure", 8.5, "bar"))
		refusal{fault.Precondition, "ENGINE_TOO_WARM"}.check(t, err)
		restart(t, k, when == "after a restart")
	}
}
