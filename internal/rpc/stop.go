package rpc

import (
	"context"
	"errors"

	"bayround/internal/fault"
)

// errStopping is the cause with which contexts of streams end when the server stops.
var errStopping = errors.New("the server stops")

// reasonStops is the reason a stream ends with then.
const reasonStops = "STATION_STOPS"

// stopSignal tells every open stream that the server stops.
type stopSignal struct {
	over context.Context //nolint:containedctx // used as a signal with callbacks, not to carry anything
	send context.CancelFunc
}

func newStopSignal() *stopSignal {
	over, send := context.WithCancel(context.Background())
	return &stopSignal{over: over, send: send}
}

// bind returns a context that ends with parent or with the server, the latter
// with errStopping as its cause. release frees what it holds.
func (s *stopSignal) bind(parent context.Context) (ctx context.Context, release func()) {
	ctx, cancel := context.WithCancelCause(parent)
	unhook := context.AfterFunc(s.over, func() { cancel(errStopping) })
	return ctx, func() {
		unhook()
		cancel(context.Canceled)
	}
}

// stopping is what a caller hears whose stream ends because the station stops.
func stopping() error {
	return fault.New(fault.Unavailable, reasonStops, "the station is stopping; come back when it serves again")
}
