package station_test

import (
	"testing"
	"time"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// What was read with a gauge whose calibration had lapsed when somebody looked,
// or of which nobody knows when it does, is taken; but it says so, in the record
// and where the plan shows it. What the device says of it counts for nothing.
func TestRecordResult_GaugeOverdue(t *testing.T) {
	due := stationtest.Morning.Add(time.Hour)
	for name, tc := range map[string]struct {
		gauge  string
		looked time.Duration // after the calibration is due
		late   time.Duration // delivered so much later
		want   bool
	}{
		"in date":                      {"gauges/dated", -time.Minute, 0, false},
		"to the last moment":           {"gauges/dated", -time.Microsecond, 0, false},
		"lapsed":                       {"gauges/dated", time.Minute, 0, true},
		"in date when somebody looked": {"gauges/dated", -time.Minute, time.Hour, false},
		"lapsed when somebody looked":  {"gauges/dated", time.Minute, time.Hour, true},
		"nobody knows when it is due":  {"gauges/g-1", 0, 0, true},
		"no gauge was named":           {"", time.Minute, 0, false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := stationtest.Open(t)
			_, err := k.Apply(ctx, &pb.ApplyRequest{RequestId: k.ID(), Files: []*pb.NamedFile{{FileName: "dated.yaml", Content: []byte(
				"gauges:\n  - name: gauges/dated\n    title: dated\n    station: stations/quay\n    quantity: QUANTITY_PRESSURE\n" +
					"    range: {least: 0, greatest: 1200}\n    resolution: 10\n    max_permissible_error: 16\n" +
					"    calibration_due: " + due.Format(time.RFC3339) + "\n")}}})
			if err != nil {
				t.Fatal(err)
			}
			round := k.OpenRound(p1, shift)
			k.Clock.Advance(due.Add(tc.looked + tc.late).Sub(k.Clock.Now()))
			r := lookedAt(k, stationtest.Read(tyre, "pressure", 8.5, "bar"), -tc.late)
			r.Gauge, r.GaugeOverdue = tc.gauge, !tc.want
			if resp := k.Record(round, r); len(resp.GetFindings()) != 0 {
				t.Errorf("findings %v, want none", resp.GetFindings())
			}
			k.Reopen()
			if got := lastOf(t, k, shift, tyre); got.GetGaugeOverdue() != tc.want || got.GetGauge() != tc.gauge {
				t.Errorf("the plan shows overdue %v of %q, want %v", got.GetGaugeOverdue(), got.GetGauge(), tc.want)
			}
			var recorded *pb.Result
			follow(t, k, "", func(ev *pb.JournalEvent) {
				if ev.GetResultRecorded() != nil {
					recorded = ev.GetResultRecorded().GetResult()
				}
			})
			if recorded.GetGaugeOverdue() != tc.want {
				t.Errorf("the record says overdue %v, want %v", recorded.GetGaugeOverdue(), tc.want)
			}
		})
	}
}
