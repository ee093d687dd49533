package round_test

import (
	"io"
	"net"
	"sync"
	"testing"
)

// wire is a stretch of network between tablets and a station that can be cut.
type wire struct {
	listener net.Listener
	ended    sync.WaitGroup

	mu     sync.Mutex
	to     string            // guarded by mu: where the station listens
	cut    bool              // guarded by mu
	open   map[net.Conn]bool // guarded by mu: both ends of every connection
	closed bool              // guarded by mu
}

// newWire lays a wire to an address; it is taken away when the test ends.
func newWire(t testing.TB, to string) *wire {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	w := &wire{listener: listener, to: to, open: map[net.Conn]bool{}}
	w.ended.Go(w.accept)
	t.Cleanup(func() {
		w.mu.Lock()
		w.closed = true
		w.mu.Unlock()
		w.Cut()
		_ = listener.Close()
		w.ended.Wait()
	})
	return w
}

func (w *wire) Address() string { return w.listener.Addr().String() }

// Cut breaks every connection, and every new one.
func (w *wire) Cut() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.cut = true
	for c := range w.open {
		_ = c.Close()
	}
}

// Heal lets connections through again.
func (w *wire) Heal() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.cut = false
}

// Lead lets the wire lead to another address.
func (w *wire) Lead(to string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.to = to
}

func (w *wire) accept() {
	for {
		near, err := w.listener.Accept()
		if err != nil {
			return
		}
		far, err := w.reach()
		if err != nil || !w.keep(near, far) {
			_ = near.Close()
			if far != nil {
				_ = far.Close()
			}
			continue
		}
		w.ended.Go(func() { w.carry(near, far) })
		w.ended.Go(func() { w.carry(far, near) })
	}
}

func (w *wire) reach() (net.Conn, error) {
	w.mu.Lock()
	to, cut := w.to, w.cut
	w.mu.Unlock()
	if cut {
		return nil, net.ErrClosed
	}
	return net.Dial("tcp", to)
}

// keep notes the ends of a connection, unless the wire was cut meanwhile.
func (w *wire) keep(near, far net.Conn) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.cut || w.closed {
		return false
	}
	w.open[near], w.open[far] = true, true
	return true
}

func (w *wire) carry(from, to net.Conn) {
	_, _ = io.Copy(to, from)
	_, _ = from.Close(), to.Close()
	w.mu.Lock()
	defer w.mu.Unlock()
	delete(w.open, from)
	delete(w.open, to)
}
