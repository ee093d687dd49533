package station_test

import (
	"context"
	"crypto/rand"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// Every benchmark of writing measures in the same run what the disk alone
// takes for the same bytes: the floor below which nothing can be.

const engine = "vehicles/wn11"

// uuid is an id nobody has used.
func uuid() string {
	var b [16]byte
	_, _ = rand.Read(b[:]) // never fails
	b[6], b[8] = b[6]&0x0f|0x40, b[8]&0x3f|0x80
	return fmt.Sprintf("%x-%x-%x-%x-%x", b[0:4], b[4:6], b[6:8], b[8:10], b[10:16])
}

// sounds are sound answers to every step of a shift round, over and over.
type sounds struct {
	round string
	steps []*pb.CheckStep
	next  int
}

func newSounds(b *testing.B, k *stationtest.Kit, vehicle string) *sounds {
	b.Helper()
	round := "rounds/" + uuid()
	_, err := k.Station.OpenRound(ctx, &pb.OpenRoundRequest{
		Round: round, Vehicle: vehicle, Routine: shift, Driver: "people/arkwith", Device: "tablet-1",
	})
	if err != nil {
		b.Fatal(err)
	}
	return &sounds{round: round, steps: k.Plan(vehicle, shift).GetSteps()}
}

func (s *sounds) request() *pb.RecordResultRequest {
	r := stationtest.Sound(s.steps[s.next%len(s.steps)])
	s.next++
	r.ResultId, r.Person, r.Device, r.DeviceTime = uuid(), "people/arkwith", "tablet-1", timestamppb.New(time.Now())
	return &pb.RecordResultRequest{Round: s.round, Result: r}
}

// reportDisk reports what it takes to append and sync as many bytes as one
// result, and the median of the results' own times.
func reportDisk(b *testing.B, bytes int, took []time.Duration) {
	b.Helper()
	file, err := os.Create(filepath.Join(b.TempDir(), "floor"))
	if err != nil {
		b.Fatal(err)
	}
	defer file.Close() //nolint:errcheck // a scratch file
	floor := make([]time.Duration, min(len(took), 500))
	content := make([]byte, bytes)
	for i := range floor {
		start := time.Now()
		if _, err := file.Write(content); err != nil {
			b.Fatal(err)
		}
		if err := file.Sync(); err != nil {
			b.Fatal(err)
		}
		floor[i] = time.Since(start)
	}
	b.ReportMetric(float64(quantile(took, 0.5).Microseconds()), "p50-µs")
	b.ReportMetric(float64(quantile(took, 0.99).Microseconds()), "p99-µs")
	b.ReportMetric(float64(quantile(floor, 0.5).Microseconds()), "floor-p50-µs")
}

func quantile(all []time.Duration, q float64) time.Duration {
	slices.Sort(all)
	return all[int(float64(len(all)-1)*q)]
}

// One caller: each result waits for its own sync.
func BenchmarkRecordResult_Alone(b *testing.B) {
	k := stationtest.OpenDemo(b)
	s := newSounds(b, k, engine)
	var took []time.Duration
	size := 0
	for b.Loop() {
		req := s.request()
		size = proto.Size(req)
		start := time.Now()
		if _, err := k.RecordResult(ctx, req); err != nil {
			b.Fatal(err)
		}
		took = append(took, time.Since(start))
	}
	reportDisk(b, size, took)
}

// 64 callers on eight vehicles share syncs.
func BenchmarkRecordResult_64Callers(b *testing.B) {
	k := stationtest.OpenDemo(b)
	vehicles := []string{"wn11", "wn12", "wn13", "wn21", "wn22", "wn31", "wn32", "wn90"}
	const callers = 64
	all := make([]*sounds, callers)
	for c := range all {
		all[c] = newSounds(b, k, "vehicles/"+vehicles[c%len(vehicles)])
	}
	took := make([][]time.Duration, callers)
	b.ReportAllocs()
	b.ResetTimer()
	var running sync.WaitGroup
	for c := range callers {
		running.Go(func() {
			for range (b.N + callers - 1 - c) / callers { // together b.N
				req := all[c].request()
				start := time.Now()
				if _, err := k.RecordResult(ctx, req); err != nil {
					b.Error(err)
				}
				took[c] = append(took[c], time.Since(start))
			}
		})
	}
	running.Wait()
	b.StopTimer()
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "results/s")
	reportDisk(b, 400, slices.Concat(took...))
}

func BenchmarkGetReadiness(b *testing.B) {
	k := stationtest.OpenDemo(b)
	fill(b, k, engine, true)
	for b.Loop() {
		if _, err := k.GetReadiness(ctx, &pb.GetReadinessRequest{Vehicle: engine}); err != nil {
			b.Fatal(err)
		}
	}
}

// Readiness worked out anew, as after every event.
func BenchmarkGetReadiness_AsOf(b *testing.B) {
	k := stationtest.OpenDemo(b)
	fill(b, k, engine, true)
	at := timestamppb.New(time.Now())
	for b.Loop() {
		if _, err := k.GetReadiness(ctx, &pb.GetReadinessRequest{Vehicle: engine, AsOf: at}); err != nil {
			b.Fatal(err)
		}
	}
}

// A plan as it is read in the same process, against the copy that goes over the wire.
func BenchmarkOutline(b *testing.B) {
	k := stationtest.OpenDemo(b)
	b.Run("outline", func(b *testing.B) {
		for b.Loop() {
			if _, err := k.Outline(engine, shift, nil); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("copy", func(b *testing.B) {
		for b.Loop() {
			if _, err := k.GetPlan(ctx, &pb.GetPlanRequest{Vehicle: engine, Routine: shift}); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// fill answers a whole shift round soundly, with many callers, and ends it,
// unless it is to stay open. It returns how many events that made.
func fill(b *testing.B, k *stationtest.Kit, vehicle string, stays bool) int {
	b.Helper()
	s := newSounds(b, k, vehicle)
	var running sync.WaitGroup
	for range s.steps {
		req := s.request()
		running.Go(func() {
			if _, err := k.RecordResult(ctx, req); err != nil {
				b.Error(err)
			}
		})
	}
	running.Wait()
	if !stays {
		if _, err := k.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: uuid(), Round: s.round}); err != nil {
			b.Error(err)
		}
	}
	return len(s.steps) + 2
}

// Opening a station with BENCH_EVENTS events and their rows; 100,000 when the
// environment says nothing. The rounds have ended, but for the last of each vehicle.
func BenchmarkOpen(b *testing.B) {
	events := 100_000
	if text := os.Getenv("BENCH_EVENTS"); text != "" {
		var err error
		if events, err = strconv.Atoi(text); err != nil {
			b.Fatal(err)
		}
	}
	k := stationtest.OpenWith(b, nil, station.Options{Dir: b.TempDir(), Defaults: stationtest.Demo(b)})
	vehicles := []string{"wn11", "wn12", "wn13", "wn21", "wn22", "wn31", "wn32", "wn90"}
	var running sync.WaitGroup
	for _, v := range vehicles {
		running.Go(func() {
			for written := 0; written < events/len(vehicles); {
				written += fill(b, k, "vehicles/"+v, written == 0)
			}
		})
	}
	running.Wait()
	size := 0
	follow(b, k, "", func(*pb.JournalEvent) { size++ })
	k.Close()
	for b.Loop() {
		k.Reopen()
		b.StopTimer()
		k.Close()
		b.StartTimer()
	}
	b.ReportMetric(float64(size), "events")
	k.Reopen()
}

// A change told to 1,000 watchers in process: from the call that records it
// until the last of them has it. The lull between two wakings is in it.
func BenchmarkWatch_1000(b *testing.B) {
	k := stationtest.OpenDemo(b)
	s := newSounds(b, k, engine)
	watching, stop := context.WithCancel(ctx)
	var told, watchers sync.WaitGroup
	const listeners = 1000
	told.Add(listeners) // the present states
	for range listeners {
		watchers.Go(func() {
			heard := int64(-1)
			_ = k.Watch(watching, &pb.WatchReadinessRequest{Vehicles: []string{engine}}, func(m *pb.WatchReadinessResponse) error { // ends with watching
				if r := m.GetReadiness(); r != nil && r.GetSequence() > heard {
					heard = r.GetSequence()
					told.Done()
				}
				return nil
			})
		})
	}
	told.Wait()
	for b.Loop() {
		told.Add(listeners)
		if _, err := k.RecordResult(ctx, s.request()); err != nil {
			b.Fatal(err)
		}
		told.Wait()
	}
	stop()
	watchers.Wait()
}

// Everything that was measured at one place in 15 months of three rounds a day,
// with what it says, where it is heading and how the other wheels do.
func BenchmarkGetHistory_15Months(b *testing.B) {
	k := stationtest.Open(b)
	round := k.OpenRound(p1, shift)
	for range 3 * 456 {
		k.Clock.Advance(8 * time.Hour)
		r := stationtest.Read(tyre, "pressure", 820, "kPa")
		if _, err := k.TryRecord(round, r); err != nil {
			b.Fatal(err)
		}
	}
	for b.Loop() {
		if _, err := k.GetHistory(ctx, &pb.GetHistoryRequest{Vehicle: p1, StepId: tyre}); err != nil {
			b.Fatal(err)
		}
	}
}

// The whole record gone through anew under other rules: what an event takes.
func BenchmarkRehearse(b *testing.B) {
	k := stationtest.Open(b)
	round := k.OpenRound(p1, shift)
	for i := range 2000 {
		k.Clock.Advance(time.Minute)
		step := []string{tyre, oil}[i%2]
		r := stationtest.Stands(step, pb.LevelMark_LEVEL_MARK_BETWEEN, 0.5)
		if step == tyre {
			r = stationtest.Read(tyre, "pressure", 820, "kPa")
		}
		if _, err := k.TryRecord(round, r); err != nil {
			b.Fatal(err)
		}
	}
	events := 0
	for b.Loop() {
		err := k.Rehearse(ctx, &pb.RehearseRequest{Files: packs(k)}, func(m *pb.RehearseResponse) error {
			events += int(m.GetDone().GetEvents())
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(events), "ns/event")
}
