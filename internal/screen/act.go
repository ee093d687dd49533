package screen

import (
	"context"
	"errors"
	"strings"
	"sync"

	"bayround/internal/fault"
	"bayround/internal/round"
)

// mostRemembered acts are remembered, so that one sent again does nothing twice.
const mostRemembered = 256

// done is an act that was begun; err may be read once finished is closed.
type done struct {
	finished chan struct{}
	err      error
}

// acts hands acts to the desk, each id once: a page that got no answer over its
// socket sends the same act by POST.
type acts struct {
	desk  Desk
	boot  string // first part of the ids of this process's pages
	mu    sync.Mutex
	known map[string]*done // guarded by mu
	order []string         // guarded by mu: ids in known, oldest first
}

func newActs(desk Desk, boot string) *acts {
	return &acts{desk: desk, boot: boot, known: map[string]*done{}}
}

// do carries out an act, or waits for the end of the first with the same id. A
// page's own going away stops nothing that was begun: ctx is the server's.
func (a *acts) do(ctx context.Context, id string, act round.Act) error {
	if id == "" {
		return a.desk.Do(ctx, act)
	}
	if !strings.HasPrefix(id, a.boot+".") {
		// It may have been carried out before this process began. Whoever pressed
		// looks at what is now true and presses again if need be.
		return fault.New(fault.Stale, "PAGE_OF_ANOTHER_START", "the tablet's program was started again meanwhile; look at what it shows now")
	}
	d, first := a.begin(id)
	if first {
		defer close(d.finished)
		d.err = a.desk.Do(ctx, act)
		return d.err
	}
	select {
	case <-d.finished:
		return d.err
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (a *acts) begin(id string) (d *done, first bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if d, ok := a.known[id]; ok {
		return d, false
	}
	if len(a.order) == mostRemembered {
		delete(a.known, a.order[0])
		a.order = append(a.order[:0], a.order[1:]...)
	}
	d = &done{finished: make(chan struct{})}
	a.known[id] = d
	a.order = append(a.order, id)
	return d, true
}

// inWords is what the page says of a refusal; empty when nothing was refused.
func inWords(err error) string {
	var f *fault.Fault
	switch {
	case err == nil:
		return ""
	case errors.As(err, &f):
		return f.Message
	case errors.Is(err, context.DeadlineExceeded):
		return "The tablet did not finish this in time. Look whether it was taken before doing it again."
	}
	return "The tablet could not do this; its log says why."
}
