package station_test

import (
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// The pack in force says what cold is, for good or for worse than the catalogue's
// three hours: two hours, or no more than 1 km.
func TestRecordResult_ColdByThePack(t *testing.T) {
	for name, tc := range map[string]struct {
		stood   time.Duration // 0: nobody said
		driven  *float64
		refused bool
	}{
		"stood as long as the pack wants":              {2 * time.Hour, proto.Float64(20), false},
		"stood for less":                               {time.Hour, nil, true},
		"stood for less, driven too far":               {time.Hour, proto.Float64(1.1), true},
		"stood for less, driven to the pump":           {time.Hour, proto.Float64(1), false},
		"driven too far, nobody knows when it stopped": {0, proto.Float64(12), true},
		"nothing is known":                             {0, nil, false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := stationtest.Open(t)
			limited(k, "    cold_rules: [{items: [TYR-010], stood: 2h, driven_at_most_km: 1, source: {title: House rules, status: SOURCE_STATUS_SERVICE_POLICY}}]\n")
			round := k.OpenRound(p1, shift)
			told := &pb.RoundConditions{DrivenKm: tc.driven}
			if tc.stood > 0 {
				told.EngineStopped = timestamppb.New(k.Clock.Now().Add(-tc.stood))
			}
			if _, err := k.ResumeRound(ctx, &pb.ResumeRoundRequest{RequestId: k.ID(), Round: round, Conditions: told}); err != nil {
				t.Fatal(err)
			}
			_, err := k.TryRecord(round, stationtest.Read(tyre, "pressure", 8.5, "bar"))
			want := refusal{}
			if tc.refused {
				want = refusal{fault.Precondition, "ENGINE_TOO_WARM"}
			}
			want.check(t, err)
		})
	}
}
