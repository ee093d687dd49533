package station_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"bayround/internal/fault"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// listener is a watch whose messages a test takes when it wants to.
type listener struct {
	messages chan *pb.WatchReadinessResponse // unbuffered: who does not take holds the watch
	ended    chan error
	cancel   context.CancelFunc
}

func watch(k *stationtest.Kit, vehicles ...string) *listener {
	return watchFor(k, &pb.WatchReadinessRequest{Vehicles: vehicles})
}

func watchFor(k *stationtest.Kit, req *pb.WatchReadinessRequest) *listener {
	watching, cancel := context.WithCancel(context.Background())
	l := &listener{make(chan *pb.WatchReadinessResponse), make(chan error, 1), cancel}
	go func() {
		l.ended <- k.Watch(watching, req, func(m *pb.WatchReadinessResponse) error {
			select {
			case l.messages <- m:
				return nil
			case <-watching.Done():
				return watching.Err()
			}
		})
	}()
	return l
}

// next returns the next message that is no heartbeat.
func (l *listener) next() *pb.WatchReadinessResponse {
	for m := range l.messages {
		if m.GetHeartbeat() == nil {
			return m
		}
	}
	return nil
}

// present takes the present states.
func (l *listener) present(t *testing.T) map[string]*pb.Readiness {
	t.Helper()
	states := map[string]*pb.Readiness{}
	for m := l.next(); m.GetPresent() == nil; m = l.next() {
		states[m.GetReadiness().GetVehicle()] = m.GetReadiness()
	}
	return states
}

// stop ends the watch and returns its error.
func (l *listener) stop() error {
	l.cancel()
	return <-l.ended
}

// bubble runs a test on a station whose time passes only when everything waits.
func bubble(t *testing.T, test func(t *testing.T, k *stationtest.Kit)) {
	t.Helper()
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		k := stationtest.OpenWith(t, nil, station.Options{Dir: dir, Defaults: stationtest.Small()})
		test(t, k)
		k.Close() // within the bubble: its goroutines must end there
	})
}

func TestWatch_PresentStatesComeFirst(t *testing.T) {
	bubble(t, func(t *testing.T, k *stationtest.Kit) {
		round := k.RecordAll(p1, shift)
		all, one := watch(k), watch(k, p2)
		if states := all.present(t); len(states) != 2 || states[p1].GetVerdict() != pb.Verdict_VERDICT_FIT {
			t.Errorf("present states: %v", states)
		}
		if states := one.present(t); len(states) != 1 || states[p2].GetVerdict() != pb.Verdict_VERDICT_UNPROVEN {
			t.Errorf("present state of one: %v", states)
		}
		k.Record(round, stationtest.Seen(screen, "03"))
		got := all.next().GetReadiness()
		if got.GetVehicle() != p1 || got.GetVerdict() != pb.Verdict_VERDICT_UNFIT {
			t.Errorf("after a shattered screen: %v", got)
		}
		select {
		case m := <-one.messages:
			if m.GetHeartbeat() == nil {
				t.Errorf("the watch of another vehicle hears %v", m)
			}
		case <-time.After(time.Minute):
			t.Error("no heartbeat within a minute")
		}
		for _, l := range []*listener{all, one} {
			if err := l.stop(); !errors.Is(err, context.Canceled) {
				t.Errorf("the watch ended with %v", err)
			}
		}
	})
}

func TestWatch_HeartbeatsEveryFiveSeconds(t *testing.T) {
	bubble(t, func(t *testing.T, k *stationtest.Kit) {
		l := watch(k)
		l.present(t)
		last := time.Now()
		for range 100 {
			m := <-l.messages
			gap := time.Since(last)
			if m.GetHeartbeat() == nil || gap > 5*time.Second {
				t.Fatalf("%v after %v, want a heartbeat within 5 s", m, gap)
			}
			if m.GetHeartbeat().GetSequence() != 14 || !m.GetHeartbeat().GetStationTime().AsTime().Equal(time.Now()) {
				t.Fatalf("heartbeat %v at %v", m, time.Now())
			}
			last = time.Now()
		}
		if err := l.stop(); !errors.Is(err, context.Canceled) {
			t.Error(err)
		}
	})
}

// What time alone changes is told at that very instant, without any command.
func TestWatch_TellsWhatTimeChanges(t *testing.T) {
	bubble(t, func(t *testing.T, k *stationtest.Kit) {
		time.Sleep(1300 * time.Millisecond) // so that no heartbeat falls on the instant
		k.ApplyAltered("good_for: 14h", "good_for: 14m")
		k.RecordAll(p1, shift)
		l := watch(k, p1)
		fit := l.present(t)[p1]
		due := fit.GetUntil().AsTime()
		if fit.GetVerdict() != pb.Verdict_VERDICT_FIT || time.Until(due).Round(time.Second) != 14*time.Minute {
			t.Fatalf("%v until %v, want FIT for 14 min", fit.GetVerdict(), due)
		}
		stale := l.next().GetReadiness()
		if now := time.Now(); now.Sub(due).Abs() > time.Millisecond { // the station's time is some nanoseconds ahead
			t.Errorf("told at %v, due at %v", now, due)
		}
		if stale.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN || !stale.GetSince().AsTime().Equal(due) {
			t.Errorf("%v since %v, want UNPROVEN since %v", stale.GetVerdict(), stale.GetSince().AsTime(), due)
		}
		if got := k.Readiness(p1); !got.GetSince().AsTime().Equal(due) {
			t.Errorf("who asks hears since %v", got.GetSince().AsTime())
		}
		if err := l.stop(); !errors.Is(err, context.Canceled) {
			t.Error(err)
		}
	})
}

// A reader that does not take its messages holds up neither the writer nor
// other readers, and gets the last state when it looks again.
func TestWatch_SlowReaderSeesTheLastState(t *testing.T) {
	bubble(t, func(t *testing.T, k *stationtest.Kit) {
		slow, quick := watch(k, p1), watch(k, p1)
		slow.present(t)
		quick.present(t)
		round := k.OpenRound(p1, shift)
		states := 0
		for range 50 {
			for _, condition := range []string{"sound", "03"} {
				want := k.Record(round, stationtest.Seen(screen, condition)).GetSequence()
				for quick.next().GetReadiness().GetSequence() < want {
				}
			}
			states += 2
		}
		last := k.Readiness(p1)
		heard := 0
		for sequence := int64(0); sequence < last.GetSequence(); heard++ {
			got := slow.next().GetReadiness()
			if got.GetSequence() <= sequence {
				t.Fatalf("state %d after %d", got.GetSequence(), sequence)
			}
			if sequence = got.GetSequence(); sequence == last.GetSequence() && got.GetVerdict() != last.GetVerdict() {
				t.Errorf("last state %v, want %v", got.GetVerdict(), last.GetVerdict())
			}
		}
		if heard > 2 { // the one it stood at, and the last one
			t.Errorf("the slow reader was given %d of %d states", heard, states)
		}
		for _, l := range []*listener{slow, quick} {
			if err := l.stop(); !errors.Is(err, context.Canceled) {
				t.Error(err)
			}
		}
	})
}

func TestWatch_NewVehiclesJoinAWatchOfAll(t *testing.T) {
	bubble(t, func(t *testing.T, k *stationtest.Kit) {
		l := watch(k)
		l.present(t)
		k.ApplyAltered("name: vehicles/p1", "name: vehicles/p3")
		if got := l.next().GetReadiness(); got.GetVehicle() != "vehicles/p3" || got.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN {
			t.Errorf("after a vehicle was added: %v", got)
		}
		if err := l.stop(); !errors.Is(err, context.Canceled) {
			t.Error(err)
		}
	})
}

func TestWatch_Ends(t *testing.T) {
	bubble(t, func(t *testing.T, k *stationtest.Kit) {
		err := k.Watch(ctx, &pb.WatchReadinessRequest{Vehicles: []string{p1, "vehicles/p9"}}, func(*pb.WatchReadinessResponse) error { return nil })
		refusal{fault.NotFound, "VEHICLE_UNKNOWN"}.check(t, err)

		broken := errors.New("the line is dead")
		if err := k.Watch(ctx, nil, func(*pb.WatchReadinessResponse) error { return broken }); !errors.Is(err, broken) {
			t.Errorf("a dead line: %v", err)
		}
		l := watch(k)
		l.present(t)
		if err := k.Station.Close(); err != nil {
			t.Error(err)
		}
		refusal{fault.Unavailable, "STATION_STOPPING"}.check(t, <-l.ended)
	})
}

// Under many writers every watcher's states of one vehicle only go forward,
// and the last one is what is asked for afterwards. Messages are shared.
func TestWatch_StatesNeverRunBackwards(t *testing.T) {
	k := stationtest.Open(t)
	rounds := []string{k.OpenRound(p1, shift), k.OpenRound(p2, shift)}
	watching, stop := context.WithCancel(context.Background())
	defer stop()
	type heard struct {
		mu   sync.Mutex
		last map[string]*pb.WatchReadinessResponse // guarded by mu
		back []int64                               // guarded by mu: sequences that ran back
		done chan struct{}
	}
	var all []*heard
	for range 20 {
		h := &heard{last: map[string]*pb.WatchReadinessResponse{}, done: make(chan struct{})}
		all = append(all, h)
		go func() {
			defer close(h.done)
			_ = k.Watch(watching, nil, func(m *pb.WatchReadinessResponse) error { // ends with watching
				h.mu.Lock()
				defer h.mu.Unlock()
				if r := m.GetReadiness(); r != nil {
					if r.GetSequence() < h.last[r.GetVehicle()].GetReadiness().GetSequence() {
						h.back = append(h.back, r.GetSequence())
					}
					h.last[r.GetVehicle()] = m
				}
				return nil
			})
		}()
	}
	var writers sync.WaitGroup
	for w := range 8 {
		requests := make([]*pb.RecordResultRequest, 0, 50)
		for i := range 50 {
			requests = append(requests, k.Request(rounds[w%2], stationtest.Seen(screen, []string{"sound", "02"}[i%2])))
		}
		writers.Go(func() {
			for _, req := range requests {
				if _, err := k.RecordResult(ctx, req); err != nil {
					t.Error(err)
				}
			}
		})
	}
	writers.Wait()
	want := map[string]int64{p1: k.Readiness(p1).GetSequence(), p2: k.Readiness(p2).GetSequence()}
	for _, h := range all {
		await(t, func() bool {
			h.mu.Lock()
			defer h.mu.Unlock()
			return h.last[p1].GetReadiness().GetSequence() == want[p1] && h.last[p2].GetReadiness().GetSequence() == want[p2]
		})
	}
	stop()
	for _, h := range all {
		<-h.done
		if len(h.back) > 0 {
			t.Errorf("ran back to %v", h.back)
		}
		if h.last[p1] != all[0].last[p1] {
			t.Error("the last message is not shared between watchers")
		}
	}
}

// await waits until something holds; the test's own deadline bounds it.
func await(t *testing.T, holds func() bool) {
	t.Helper()
	tick := time.NewTicker(time.Millisecond)
	defer tick.Stop()
	for !holds() {
		select {
		case <-tick.C:
		case <-t.Context().Done():
			t.Fatal("the test ended first")
		}
	}
}
