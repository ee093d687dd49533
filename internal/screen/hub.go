package screen

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"
)

// limits are the times and numbers that hold the sockets; tests choose smaller ones.
type limits struct {
	beat      time.Duration // a frame at least this often
	ping      time.Duration
	pong      time.Duration // nothing heard for this long: gone
	write     time.Duration // a frame not taken within this: gone
	frame     int64         // longest frame from a page, in bytes
	tablets   int           // sockets of the tablet's page
	bays      int           // sockets of the bay page, both listeners together
	act       time.Duration // longest that one act may take
	farewell  time.Duration // longest wait to say why a socket is closed
	handshake time.Duration
}

func defaultLimits() limits {
	return limits{
		beat: time.Second, ping: 8 * time.Second, pong: 20 * time.Second, write: 5 * time.Second,
		frame: 16 << 10, tablets: 8, bays: 1100, act: 10 * time.Second, farewell: time.Second, handshake: 5 * time.Second,
	}
}

// source is where a hub's pictures come from.
type source struct {
	name    string
	changed func() <-chan struct{}                      // closed at the next change
	draw    func(now time.Time) ([]region, beat, error) // never called twice at once
}

// hub shows one page to all its sockets: one picture at a time, drawn once for
// all. It keeps no queue; a socket that is woken takes the newest picture.
type hub struct {
	source source
	log    *slog.Logger
	now    func() time.Time

	current atomic.Pointer[picture]

	mu      sync.Mutex
	sockets map[*socket]struct{} // guarded by mu
	failed  string               // guarded by mu: what was last said to the log about drawing
}

func newHub(s *Server, src source) *hub {
	h := &hub{source: src, log: s.log, now: s.now, sockets: map[*socket]struct{}{}}
	h.current.Store(&picture{build: s.assets.build, boot: s.boot})
	return h
}

// run draws at every change and every beat until ctx ends. With nobody looking it
// draws nothing.
func (h *hub) run(ctx context.Context, every time.Duration) {
	tick := time.NewTicker(every)
	defer tick.Stop()
	due := true
	for {
		changed := h.source.changed() // before drawing, so that no change falls between
		h.refresh(due)
		select {
		case <-ctx.Done():
			return
		case <-changed:
			due = false
		case <-tick.C:
			due = true
		}
	}
}

// refresh draws the newest state and wakes all sockets if something changed or a
// beat is due. With nobody looking it draws nothing.
func (h *hub) refresh(due bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if len(h.sockets) > 0 {
		h.refreshLocked(due)
	}
}

func (h *hub) refreshLocked(due bool) {
	now := h.now()
	former := h.current.Load()
	regions, b, err := h.drawn(now)
	if err != nil {
		// What cannot be drawn must not be taken for what was drawn before.
		regions, b = former.regions, beatOf(now, time.Time{}, false, "")
		b.Fault = "The page could not be drawn; the kiosk's log says why."
		h.complain(err.Error())
	} else {
		h.failed = ""
	}
	newest := former.next(regions, b)
	if !due && newest.version == former.version && b.Live == former.beat.Live {
		return
	}
	h.current.Store(newest)
	for s := range h.sockets {
		s.rouse()
	}
}

// look draws what the page shows now, for whoever asks once.
func (h *hub) look() ([]region, beat, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.drawn(h.now())
}

// drawn draws, and takes a panic for an error: the tablet's program must go on
// recording when one state cannot be shown.
func (h *hub) drawn(now time.Time) (regions []region, b beat, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("drawing panicked: %v", p)
		}
	}()
	return h.source.draw(now)
}

// complain writes to the log what it has not just written. Call with mu held.
func (h *hub) complain(what string) {
	if h.failed != what {
		h.log.Error("drawing a page", "page", h.source.name, "error", what)
		h.failed = what
	}
}

// join adds a socket, unless most are there already, and wakes it: its first
// frame is the whole state, no older than a beat.
func (h *hub) join(s *socket, most int) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	if len(h.sockets) >= most {
		return false
	}
	h.sockets[s] = struct{}{}
	if len(h.sockets) == 1 { // nothing was drawn while nobody looked
		h.refreshLocked(true)
	}
	s.rouse()
	return true
}

func (h *hub) leave(s *socket) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.sockets, s)
}

// count is how many sockets look on.
func (h *hub) count() int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return len(h.sockets)
}
