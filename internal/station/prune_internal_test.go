package station

import (
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// What was read with a gauge since it was last found good is kept while nobody knows
// better: else it could not be judged anew.
func TestInDoubt_SinceAGaugeWasLastFoundGood(t *testing.T) {
	at := func(day int, good bool) *pb.GaugeCheck {
		return &pb.GaugeCheck{StationTime: timestamppb.New(time.Date(2026, 3, day, 0, 0, 0, 0, time.UTC)), Good: good}
	}
	for name, tc := range map[string]struct {
		gauge   *pb.Gauge
		since   int // day; 0 = for ever
		doubted bool
	}{
		"never checked":              {&pb.Gauge{}, 0, false},
		"good":                       {&pb.Gauge{Checks: []*pb.GaugeCheck{at(1, false), at(2, true)}}, 2, false},
		"wrong since the first":      {&pb.Gauge{Checks: []*pb.GaugeCheck{at(1, false), at(2, false)}}, 0, true},
		"good, then wrong":           {&pb.Gauge{Checks: []*pb.GaugeCheck{at(1, true), at(2, true), at(3, false), at(4, false)}}, 2, true},
		"wrong, good, wrong":         {&pb.Gauge{Checks: []*pb.GaugeCheck{at(1, false), at(2, true), at(3, false)}}, 2, true},
		"wrong and taken out of use": {&pb.Gauge{Withdrawn: true, Checks: []*pb.GaugeCheck{at(1, true), at(2, false)}}, 1, false},
	} {
		since, doubted := inDoubt(tc.gauge)
		day := 0
		if !since.IsZero() {
			day = since.Day()
		}
		if doubted != tc.doubted || day != tc.since {
			t.Errorf("%s: since %v, in doubt %v; want day %d, %v", name, since, doubted, tc.since, tc.doubted)
		}
	}
}
