package station_test

import (
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// roundVehicle has a shift round of 120 steps.
const roundVehicle = "vehicles/wn32"

// A whole round of 120 steps, judged and durable: one answer after the other, as
// a driver gives them, and 64 at a time, as a tablet gives what it has kept. The
// floor is what the disk alone takes in the same run: as many syncs of as many
// bytes, one for each answer or one for 64.
func BenchmarkRound(b *testing.B) {
	for _, bench := range []struct {
		name    string
		atATime int
	}{{"answer by answer", 1}, {"64 at a time", 64}} {
		b.Run(bench.name, func(b *testing.B) {
			k := stationtest.OpenDemo(b)
			steps := len(k.Plan(roundVehicle, shift).GetSteps())
			if steps != 120 {
				b.Fatalf("%s has %d steps, want 120", roundVehicle, steps)
			}
			var took []time.Duration
			size := 0
			for b.Loop() {
				b.StopTimer()
				s := newSounds(b, k, roundVehicle)
				requests := make([]*pb.RecordResultRequest, steps)
				for i := range requests {
					requests[i] = s.request()
					size = max(size, proto.Size(requests[i]))
				}
				b.StartTimer()
				start := time.Now()
				recordSome(b, k, requests, bench.atATime)
				took = append(took, time.Since(start))
				b.StopTimer()
				finish(b, k, s.round) // or ever more rounds would be open
				b.StartTimer()
			}
			b.StopTimer()
			floor := floorOfRounds(b, size*bench.atATime, (steps+bench.atATime-1)/bench.atATime, min(len(took), 50))
			b.ReportMetric(float64(quantile(took, 0.5).Microseconds()), "p50-µs")
			b.ReportMetric(float64(quantile(took, 0.99).Microseconds()), "p99-µs")
			b.ReportMetric(float64(quantile(floor, 0.5).Microseconds()), "floor-p50-µs")
		})
	}
}

// recordSome records requests, so many at a time.
func recordSome(b *testing.B, k *stationtest.Kit, requests []*pb.RecordResultRequest, atATime int) {
	b.Helper()
	work := make(chan *pb.RecordResultRequest)
	var callers sync.WaitGroup
	for range atATime {
		callers.Go(func() {
			for req := range work {
				if _, err := k.RecordResult(ctx, req); err != nil {
					b.Error(err)
				}
			}
		})
	}
	for _, req := range requests {
		work <- req
	}
	close(work)
	callers.Wait()
}

// floorOfRounds measures appending and syncing so many bytes so many times, as
// often as there are rounds.
func floorOfRounds(b *testing.B, bytes, syncs, rounds int) []time.Duration {
	b.Helper()
	file, err := os.Create(filepath.Join(b.TempDir(), "floor"))
	if err != nil {
		b.Fatal(err)
	}
	defer file.Close() //nolint:errcheck // a scratch file
	content, took := make([]byte, bytes), make([]time.Duration, rounds)
	for i := range took {
		start := time.Now()
		for range syncs {
			if _, err := file.Write(content); err != nil {
				b.Fatal(err)
			}
			if err := file.Sync(); err != nil {
				b.Fatal(err)
			}
		}
		took[i] = time.Since(start)
	}
	return took
}
