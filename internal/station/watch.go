package station

import (
	"context"
	"sync"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

const (
	// heartbeatEvery keeps the promise of a heartbeat at least every five
	// seconds, a late timer included.
	heartbeatEvery = 4 * time.Second
	// lull is the least time between two wakings of all watchers. Under load
	// it saves them from waking for every batch; a display cannot tell.
	lull = 10 * time.Millisecond
	// longestSleep bounds how long the teller trusts a timer to keep step with
	// the station's clock, which somebody may set.
	longestSleep = 30 * time.Second
)

// board is where watchers wait. There is no queue: who wakes looks at what is
// published now.
type board struct {
	mu    sync.Mutex
	beat  *pb.WatchReadinessResponse // guarded by mu: newest heartbeat, shared by all watchers
	news  chan struct{}              // guarded by mu: closed and replaced to wake everybody
	dirty chan struct{}              // holds one: something was published
}

func (b *board) init() {
	b.news, b.dirty = make(chan struct{}), make(chan struct{}, 1)
}

// signal asks the teller to wake the watchers. It never waits.
func (b *board) signal() {
	select {
	case b.dirty <- struct{}{}:
	default:
	}
}

// wake wakes all watchers; a beat of nil leaves the newest heartbeat.
func (b *board) wake(beat *pb.WatchReadinessResponse) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if beat != nil {
		b.beat = beat
	}
	close(b.news)
	b.news = make(chan struct{})
}

// look returns the newest heartbeat and what will be closed at the next news.
// Whoever looks first and reads the published state afterwards misses nothing.
func (b *board) look() (beat *pb.WatchReadinessResponse, news <-chan struct{}) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.beat, b.news
}

// Watch sends the readiness of the vehicles and call signs, of all vehicles when none
// is named, as WatchReadiness promises, until ctx ends or send fails; it returns their
// error. Messages are shared between watchers and must not be changed.
func (s *Station) Watch(ctx context.Context, req *pb.WatchReadinessRequest, send func(*pb.WatchReadinessResponse) error) error {
	for _, name := range req.GetVehicles() {
		if _, err := s.current.Load().vehicle(name); err != nil {
			return err
		}
	}
	w := watcher{station: s, req: req, send: send, seen: map[string]*view{}}
	heard, news := s.board.look()
	present, err := w.tell()
	if err != nil {
		return err
	}
	if err := send(presentAt(present)); err != nil {
		return err
	}
	for {
		if err := s.await(ctx, news); err != nil {
			return err
		}
		var beat *pb.WatchReadinessResponse
		beat, news = s.board.look()
		if _, err := w.tell(); err != nil {
			return err
		}
		if beat != heard {
			if err := send(beat); err != nil {
				return err
			}
			heard = beat
		}
	}
}

// await waits for news. Ends come first: a watch whose station stops must not
// go on because there is always something new.
func (s *Station) await(ctx context.Context, news <-chan struct{}) error {
	select {
	case <-ctx.Done():
	case <-s.closing:
	case <-s.failed:
	case <-news:
	}
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case isClosed(s.closing):
		return stopping()
	case isClosed(s.failed):
		return stopped()
	}
	return nil
}

func isClosed(c <-chan struct{}) bool {
	select {
	case <-c:
		return true
	default:
		return false
	}
}

func presentAt(sequence int64) *pb.WatchReadinessResponse {
	return &pb.WatchReadinessResponse{Message: &pb.WatchReadinessResponse_Present{Present: &pb.Present{Sequence: sequence}}}
}

// watcher is one watch; it belongs to the goroutine that watches.
type watcher struct {
	station *Station
	req     *pb.WatchReadinessRequest
	send    func(*pb.WatchReadinessResponse) error
	seen    map[string]*view // the newest view that was sent, by vehicle
}

// tell sends the newest view of each vehicle that was not sent yet, and
// returns the sequence it rests on.
func (w *watcher) tell() (sequence int64, err error) {
	p := w.station.current.Load()
	now := w.station.clock()
	names, err := p.watched(w.req)
	if err != nil {
		return 0, err
	}
	if len(names) == 0 {
		names = p.names
	}
	for _, name := range names {
		newest := p.vehicles[name].at(now)
		if w.seen[name] == newest {
			continue
		}
		_, message := newest.get(now)
		if err := w.send(message); err != nil {
			return 0, err
		}
		w.seen[name] = newest
	}
	return p.sequence, nil
}

// tell is the teller: it wakes the watchers when something was published, when
// a readiness changes by itself, and for heartbeats.
func (s *Station) tell() {
	defer close(s.told)
	beat := time.NewTicker(heartbeatEvery)
	defer beat.Stop()
	change := time.NewTimer(s.nextChange())
	defer change.Stop()
	for {
		var message *pb.WatchReadinessResponse
		select {
		case <-s.closing:
			return
		case <-s.journal.Failed():
			s.fail("the journal failed", nil)
			return
		case <-s.board.dirty:
		case <-change.C:
		case <-beat.C:
			message = s.heartbeat()
		}
		s.board.wake(message)
		change.Reset(s.nextChange())
		s.rest()
	}
}

// rest keeps the teller from waking everybody too often.
func (s *Station) rest() {
	pause := time.NewTimer(lull)
	defer pause.Stop()
	select {
	case <-pause.C:
	case <-s.closing:
	}
}

func (s *Station) heartbeat() *pb.WatchReadinessResponse {
	return &pb.WatchReadinessResponse{Message: &pb.WatchReadinessResponse_Heartbeat{Heartbeat: &pb.Heartbeat{
		Sequence: s.current.Load().sequence, StationTime: timestamppb.New(s.clock()),
	}}}
}

// nextChange is how long it takes until a readiness changes by itself.
func (s *Station) nextChange() time.Duration {
	now, wait := s.clock(), longestSleep
	for _, snap := range s.current.Load().vehicles {
		w := snap.at(now)
		for _, at := range []time.Time{w.standing.until, w.changes} {
			if !at.IsZero() {
				wait = min(wait, at.Sub(now))
			}
		}
	}
	return max(wait, 0)
}
