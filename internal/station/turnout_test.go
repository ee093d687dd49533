package station_test

import (
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// A round tells of the turnouts that broke into it: where among its results, and
// whether the vehicle had been out, which it had when nobody knows.
func TestRound_TellsOfItsTurnouts(t *testing.T) {
	for name, tc := range map[string]struct {
		conditions func(called time.Time) *pb.RoundConditions
		out        bool
	}{
		"nobody said":                  {func(time.Time) *pb.RoundConditions { return nil }, true},
		"nobody knows":                 {func(time.Time) *pb.RoundConditions { return &pb.RoundConditions{} }, true},
		"the engine stopped after it":  {func(at time.Time) *pb.RoundConditions { return stoppedAt(at.Add(time.Minute)) }, true},
		"the engine stopped before it": {func(at time.Time) *pb.RoundConditions { return stoppedAt(at.Add(-time.Hour)) }, false},
	} {
		t.Run(name, func(t *testing.T) {
			k := stationtest.Open(t)
			round := k.OpenRound(p1, shift)
			k.Record(round, stationtest.Seen(screen, "sound"))
			called := k.Clock.Now()
			if _, err := k.PauseRound(ctx, &pb.PauseRoundRequest{RequestId: k.ID(), Round: round, Turnout: true, DeviceTime: timestamppb.New(called)}); err != nil {
				t.Fatal(err)
			}
			k.Clock.Advance(20 * time.Minute)
			k.Reopen()
			if _, err := k.ResumeRound(ctx, &pb.ResumeRoundRequest{RequestId: k.ID(), Round: round, Conditions: tc.conditions(called)}); err != nil {
				t.Fatal(err)
			}
			k.Reopen()
			resp, err := k.GetRound(ctx, &pb.GetRoundRequest{Name: round})
			if err != nil {
				t.Fatal(err)
			}
			runs := resp.GetRound().GetTurnouts()
			if len(runs) != 1 || runs[0].GetResultsBefore() != 1 || runs[0].GetResumed() == nil || runs[0].GetWentOut() != tc.out {
				t.Errorf("turnouts %v, want one after one result, ended, went out %v", runs, tc.out)
			}
		})
	}
}

func stoppedAt(at time.Time) *pb.RoundConditions {
	return &pb.RoundConditions{EngineStopped: timestamppb.New(at)}
}
