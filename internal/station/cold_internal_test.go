package station

import (
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// What counts as cold, by a rule of two hours or 1 km and by one of standing alone
// (both are the test's own, not an authority's).
func TestCheckCold(t *testing.T) {
	now := time.Date(2026, time.March, 2, 7, 30, 0, 0, time.UTC)
	either, standing := coldness{stood: 2 * time.Hour, drivenKm: 1}, coldness{stood: 2 * time.Hour}
	for name, tc := range map[string]struct {
		rule    coldness
		stood   time.Duration // 0: nobody said
		driven  *float64
		refused bool
	}{
		"stood just long enough":                             {either, 2 * time.Hour, proto.Float64(20), false},
		"stood a moment less":                                {either, 2*time.Hour - time.Second, nil, true},
		"stood for less, driven just as far as allowed":      {either, time.Hour, proto.Float64(1), false},
		"stood for less, driven farther":                     {either, time.Hour, proto.Float64(1.01), true},
		"nobody knows when it stopped, driven farther":       {either, 0, proto.Float64(1.01), true},
		"nobody knows when it stopped, not driven":           {either, 0, proto.Float64(0), false},
		"nothing is known":                                   {either, 0, nil, false},
		"only standing counts, not driven":                   {standing, time.Hour, proto.Float64(0), true},
		"only standing counts, nobody knows when it stopped": {standing, 0, proto.Float64(20), false},
		"it need not be cold":                                {coldness{}, time.Second, proto.Float64(20), false},
	} {
		t.Run(name, func(t *testing.T) {
			c := &pb.RoundConditions{DrivenKm: tc.driven}
			if tc.stood > 0 {
				c.EngineStopped = timestamppb.New(now.Add(-tc.stood))
			}
			f := &frame{said: []statement{
				{nil, now.Add(-time.Minute), time.Time{}},
				{&pb.RoundConditions{DrivenKm: proto.Float64(0.5)}, now.Add(-time.Minute), time.Time{}},
				{c, now, time.Time{}},
				{nil, now, time.Time{}},
				{&pb.RoundConditions{DrivenKm: proto.Float64(30)}, now.Add(time.Nanosecond), time.Time{}}, // after the look
			}}
			err := f.checkCold(tc.rule, &pb.Result{DeviceTime: timestamppb.New(now), LookedAt: timestamppb.New(now)})
			if refused := fault.Is(err, fault.Precondition); refused != tc.refused || !refused && err != nil {
				t.Errorf("refused: %v, want %v", err, tc.refused)
			}
		})
	}
}
