package round

import (
	"sync"
	"time"

	pb "bayround/proto/bayround/v1"
)

// silence is how long after the last word of the station what it said is not
// taken for current any more: what WatchReadiness promises its readers.
const silence = 5 * time.Second

// hearing is what was heard from the station, and when. How long ago is told by
// the monotonic clock, so that setting the tablet's clock makes nothing live.
type hearing struct {
	clock  func() time.Time // for what is shown
	device func() time.Time // the tablet's own, which may be off
	silent func()           // called when nothing was heard for too long

	mu       sync.Mutex
	states   map[string]*pb.Readiness // guarded by mu: newest of each vehicle; never changed, replaced
	sequence int64                    // guarded by mu: newest of the station's journal that was told of
	beat     int64                    // guarded by mu: the same, in the newest heartbeat or at the beginning of the watch
	watches  int                      // guarded by mu: how many watches have told every present state
	current  int                      // guarded by mu: number of the watch that runs and has told them; 0 when none does
	latest   time.Time                // guarded by mu: when it was heard last, with its monotonic reading
	shown    time.Time                // guarded by mu: the same by the tablet's clock; zero when never
	alive    bool                     // guarded by mu: it was heard, and no silence was noticed since
	since    time.Time                // guarded by mu: since when it is alive or not
	skew     time.Duration            // guarded by mu
	timer    *time.Timer              // guarded by mu: notices silence
	stopped  bool                     // guarded by mu
}

func newHearing(clock func() time.Time, silent func()) *hearing {
	return &hearing{clock: clock, device: clock, silent: silent, states: map[string]*pb.Readiness{}}
}

// passage is a vehicle going from one state to the next.
type passage struct{ before, after *pb.Readiness }

// knewMore tells that of some vehicle newer things were heard than the states tell with
// which a watch begins, or that they leave it out: the station has lost them.
func (h *hearing) knewMore(states []*pb.Readiness) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	same := 0
	for _, r := range states {
		switch before := h.states[r.GetVehicle()]; {
		case before == nil:
		case r.GetSequence() < before.GetSequence():
			return true
		default:
			same++
		}
	}
	return same < len(h.states)
}

// present takes the states with which a watch begins, all at once: half of them
// beside half of the old ones would be no picture of any moment. They are all that there
// is: what the station vouches for no longer must not stay.
func (h *hearing) present(states []*pb.Readiness, sequence int64) (passages []passage) {
	h.mu.Lock()
	defer h.mu.Unlock()
	before := h.states
	h.states = make(map[string]*pb.Readiness, len(states))
	for _, r := range states {
		passages = append(passages, h.takeLocked(before[r.GetVehicle()], r)...)
	}
	h.sequence = max(h.sequence, sequence)
	h.beat = sequence
	h.watches++
	h.current = h.watches
	h.heardLocked()
	return passages
}

// ended says that the watch has ended. What was heard is still current, for a while.
func (h *hearing) ended() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.current = 0
}

// readiness takes a newer state of a vehicle.
func (h *hearing) readiness(r *pb.Readiness) []passage {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.heardLocked()
	return h.takeLocked(h.states[r.GetVehicle()], r)
}

// takeLocked takes a state of a vehicle, after another or none. The station tells them in
// order, so that the last word counts.
func (h *hearing) takeLocked(before, r *pb.Readiness) []passage {
	h.states[r.GetVehicle()] = r
	h.sequence = max(h.sequence, r.GetSequence())
	if before == nil {
		return nil
	}
	return []passage{{before, r}}
}

// heartbeat takes a sign of life, and tells whether there is more to it: the
// station's journal has grown, or the clocks have parted by a second.
func (h *hearing) heartbeat(sequence int64, station time.Time) (more bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.heardLocked()
	h.sequence = max(h.sequence, sequence)
	if h.since.After(h.shown) {
		h.since = h.shown // the clock was put right meanwhile
	}
	grown := sequence > h.beat
	h.beat = max(h.beat, sequence)
	skew := h.device().Sub(station).Round(time.Second)
	moved := skew != h.skew
	h.skew = skew
	return grown || moved
}

// heardLocked notes that the station was heard now.
func (h *hearing) heardLocked() {
	h.latest, h.shown = time.Now(), h.clock()
	if !h.alive {
		h.alive, h.since = true, h.shown
	}
	switch {
	case h.stopped:
	case h.timer == nil:
		h.timer = time.AfterFunc(silence, h.expire)
	default:
		h.timer.Reset(silence)
	}
}

// expire notices silence.
func (h *hearing) expire() {
	h.mu.Lock()
	if h.stopped || !h.alive || time.Since(h.latest) < silence {
		h.mu.Unlock() // it was heard meanwhile, and the timer set anew
		return
	}
	h.alive, h.since = false, h.shown
	h.mu.Unlock()
	h.silent()
}

// stop lets it notice nothing more.
func (h *hearing) stop() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.stopped = true
	if h.timer != nil {
		h.timer.Stop()
	}
}

// forget forgets every state: they were of another journal.
func (h *hearing) forget() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.states, h.sequence, h.beat = map[string]*pb.Readiness{}, 0, 0
}

// link says how the tablet stands to the station.
func (h *hearing) link() Link {
	h.mu.Lock()
	defer h.mu.Unlock()
	live := h.liveLocked()
	since := h.since
	if !live {
		since = h.shown // it was heard last then
	}
	return Link{Live: live, Since: since, Skew: h.skew}
}

// heardAt is when the station was heard last, by the clock that is shown; zero when never.
func (h *hearing) heardAt() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.shown
}

// liveLocked does not wait for the timer: a program that was held still for a
// while must not be believed when it goes on.
func (h *hearing) liveLocked() bool { return h.alive && time.Since(h.latest) < silence }

func (h *hearing) live() bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.liveLocked()
}

func (h *hearing) state(vehicle string) *pb.Readiness {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.states[vehicle]
}

// beats returns how far the station's journal had come at the newest heartbeat.
func (h *hearing) beats() int64 {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.beat
}

// all returns the newest states, how far the station's journal had come, and the
// number of the watch that runs, 0 when none does.
func (h *hearing) all() (states map[string]*pb.Readiness, sequence int64, watch int) {
	h.mu.Lock()
	defer h.mu.Unlock()
	states = make(map[string]*pb.Readiness, len(h.states))
	for name, r := range h.states {
		states[name] = r
	}
	return states, h.sequence, h.current
}
