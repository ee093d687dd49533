package station_test

import (
	"context"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

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

func finish(t *testing.T, k *stationtest.Kit, round string) {
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
		want   pb.Verdict
	}{
		{"looked just now", 0, pb.Verdict_VERDICT_FIT},
		{"looked thirteen hours before, good for fourteen", -13 * time.Hour, pb.Verdict_VERDICT_FIT},
		{"looked three days before", -72 * time.Hour, pb.Verdict_VERDICT_UNPROVEN},
	} {
		t.Run(tc.name, func(t *testing.T) {
			k := stationtest.Open(t)
			round := k.RecordAll(p1, shift)
			r := stationtest.Seen(screen, "01")
			r.DeviceTime = timestamppb.New(k.Clock.Now().Add(tc.looked))
			if resp := k.Record(round, r); resp.GetVerdict() != tc.want {
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
	ahead := stationtest.Seen(screen, "01")
	ahead.DeviceTime = timestamppb.New(k.Clock.Now().Add(time.Hour))
	k.Record(round, ahead)
	if after := k.Readiness(p1).GetUntil().AsTime(); after.Sub(before) >= time.Minute {
		t.Errorf("a clock an hour ahead moved staleness from %v to %v", before, after)
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
