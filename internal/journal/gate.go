package journal

import (
	"sync"

	"bayround/internal/fault"
)

// gate keeps the store open while somebody reads it: Badger unmaps its files
// when it closes, and a late reader would crash the process.
type gate struct {
	mu     sync.Mutex
	shut   bool // guarded by mu
	inside sync.WaitGroup
}

// enter errs when the gate is shut; otherwise leave must follow.
func (g *gate) enter() error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.shut {
		return closed()
	}
	g.inside.Add(1)
	return nil
}

func (g *gate) leave() { g.inside.Done() }

// close lets nobody in any more and waits for those inside.
func (g *gate) close() {
	g.mu.Lock()
	g.shut = true
	g.mu.Unlock()
	g.inside.Wait()
}

func closed() error {
	return fault.New(fault.Unavailable, "JOURNAL_CLOSED", "the journal is closed; open it again, then repeat with the same command id")
}
