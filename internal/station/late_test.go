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
