// Package stationtest opens a real station on a real directory for tests, with
// a small vehicle to check and a loopback socket to ask it over. Tests alone import it.
package stationtest

import (
	"context"
	_ "embed"
	"fmt"
	"sync"
	"testing"
	"time"

	"bayround/internal/catalogue"
	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// small is the configuration that most tests use.
//
//go:embed testdata/small.yaml
var small []byte

// Small returns the files of a small station: vehicles/p1 (shift routine) and
// vehicles/p2 (shift and weekly), people/driver, people/other and
// people/mechanic (of the workshop), gauges/g-1 and gauges/d-1, one pack.
func Small() []catalogue.File {
	return []catalogue.File{{Name: "small.yaml", Content: append([]byte(nil), small...)}}
}

// Morning is when the clocks of tests begin.
var Morning = time.Date(2026, time.March, 2, 7, 30, 0, 0, time.UTC)

// Clock is a clock that tests move. It is safe for use by several goroutines.
type Clock struct {
	mu  sync.Mutex
	now time.Time // guarded by mu
}

// NewClock returns a clock that stands at Morning.
func NewClock() *Clock { return &Clock{now: Morning} }

// Now is the time it shows.
func (c *Clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// Advance moves it on, or back.
func (c *Clock) Advance(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

// Kit is a real station on a real directory, and what a test needs to work it.
type Kit struct {
	*station.Station
	T     testing.TB
	Clock *Clock
	o     station.Options
	ids   int
	twins int // how many were opened beside it
	group int // first part of its ids, so that twins give others
}

// Open opens a small station in a directory of its own, closed when the test ends.
func Open(t testing.TB) *Kit {
	t.Helper()
	clock := NewClock()
	return OpenWith(t, clock, station.Options{Dir: t.TempDir(), Now: clock.Now, Defaults: Small()})
}

// OpenWith opens a station with options of the test's own; clock may be nil when
// the station goes by the computer's.
func OpenWith(t testing.TB, clock *Clock, o station.Options) *Kit {
	t.Helper()
	k := &Kit{T: t, Clock: clock, o: o}
	k.open()
	t.Cleanup(k.Close)
	return k
}

func (k *Kit) open() {
	k.T.Helper()
	st, err := station.Open(context.Background(), k.o)
	if err != nil {
		k.T.Fatalf("opening the station: %v", err)
	}
	k.Station = st
}

// Close closes the station; what goes wrong fails the test.
func (k *Kit) Close() {
	k.T.Helper()
	if err := k.Station.Close(); err != nil {
		k.T.Errorf("closing the station: %v", err)
	}
}

// Dir is the directory of the journal.
func (k *Kit) Dir() string { return k.o.Dir }

// Reopen closes the station and opens it anew.
func (k *Kit) Reopen() {
	k.T.Helper()
	k.Close()
	k.open()
}

// ID returns an id that was not used before in this kit.
func (k *Kit) ID() string {
	k.ids++
	return fmt.Sprintf("%08d-0000-4000-8000-%012d", k.group, k.ids)
}

// OpenRound opens a round of people/driver on tablet-1 and returns its name.
func (k *Kit) OpenRound(vehicle, routine string) string {
	k.T.Helper()
	name := "rounds/" + k.ID()
	_, err := k.Station.OpenRound(context.Background(), &pb.OpenRoundRequest{
		Round: name, Vehicle: vehicle, Routine: routine, Driver: "people/driver", Device: "tablet-1",
	})
	if err != nil {
		k.T.Fatalf("opening a round: %v", err)
	}
	return name
}

// Record records a result in a round; what is refused fails the test.
func (k *Kit) Record(round string, r *pb.Result) *pb.RecordResultResponse {
	k.T.Helper()
	resp, err := k.TryRecord(round, r)
	if err != nil {
		k.T.Fatalf("recording %s: %v", r.GetStepId(), err)
	}
	return resp
}

// TryRecord records a result in a round.
func (k *Kit) TryRecord(round string, r *pb.Result) (*pb.RecordResultResponse, error) {
	return k.RecordResult(context.Background(), k.Request(round, r))
}

// Request completes a result: id, person, device and device time where they are missing.
func (k *Kit) Request(round string, r *pb.Result) *pb.RecordResultRequest {
	return Complete(round, r, k.ID, k.now())
}

// now is the time by the kit's clock; without one, by the computer's.
func (k *Kit) now() time.Time {
	if k.Clock == nil {
		return time.Now()
	}
	return k.Clock.Now()
}

// Readiness returns the readiness of a vehicle now.
func (k *Kit) Readiness(vehicle string) *pb.Readiness {
	k.T.Helper()
	resp, err := k.GetReadiness(context.Background(), &pb.GetReadinessRequest{Vehicle: vehicle})
	if err != nil {
		k.T.Fatalf("readiness of %s: %v", vehicle, err)
	}
	return resp.GetReadiness()
}

// Plan returns the plan of a routine.
func (k *Kit) Plan(vehicle, routine string) *pb.Plan {
	k.T.Helper()
	resp, err := k.GetPlan(context.Background(), &pb.GetPlanRequest{Vehicle: vehicle, Routine: routine})
	if err != nil {
		k.T.Fatalf("plan of %s for %s: %v", routine, vehicle, err)
	}
	return resp.GetPlan()
}

// RecordAll answers every step of a routine soundly in a new round, which it
// leaves open, and returns the round.
func (k *Kit) RecordAll(vehicle, routine string) string {
	k.T.Helper()
	round := k.OpenRound(vehicle, routine)
	for _, step := range k.Plan(vehicle, routine).GetSteps() {
		k.Record(round, Sound(step))
	}
	return round
}
