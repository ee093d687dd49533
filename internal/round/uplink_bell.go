package round

import (
	"context"
	"math/rand/v2"
	"sync"
	"time"
)

// bell tells any number of listeners that something has changed. Whoever takes
// the channel first and looks afterwards misses nothing.
type bell struct {
	mu   sync.Mutex
	next chan struct{} // guarded by mu: closed and replaced at every ring
}

func newBell() *bell { return &bell{next: make(chan struct{})} }

// rung is closed at the next ring.
func (b *bell) rung() <-chan struct{} {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.next
}

func (b *bell) ring() {
	b.mu.Lock()
	defer b.mu.Unlock()
	close(b.next)
	b.next = make(chan struct{})
}

// The pauses between tries grow from the shortest to the longest, for ever.
const (
	shortestPause = 100 * time.Millisecond
	longestPause  = 10 * time.Second
)

// backoff is the pauses between tries of one thing. The zero value begins anew.
type backoff struct{ reached time.Duration }

// over forgets the tries that failed.
func (b *backoff) over() { b.reached = 0 }

// pause waits before the next try: longer each time, and not for the same time on
// every tablet. It ends early when wake is closed, or ctx.
func (b *backoff) pause(ctx context.Context, wake <-chan struct{}) {
	b.reached = min(max(2*b.reached, shortestPause), longestPause)
	half := b.reached / 2
	timer := time.NewTimer(half + rand.N(half+1))
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-wake:
	case <-ctx.Done():
	}
}
