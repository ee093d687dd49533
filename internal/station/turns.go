package station

import (
	"context"

	"bayround/internal/fault"
)

// mostRehearsals is how many may go through the record or wait to.
const mostRehearsals = 4

// turns lets one after the other go through the whole record, which takes the
// processor from those who judge now, and a few wait.
type turns struct {
	here  chan struct{} // holds one for each that goes or waits
	going chan struct{} // holds one for the one that goes
}

func newTurns() turns {
	return turns{here: make(chan struct{}, mostRehearsals), going: make(chan struct{}, 1)}
}

// turn waits for a turn to go through the record. It refuses at once when there are
// enough waiting; whoever got a turn ends it with leave.
func (s *Station) turn(ctx context.Context) (leave func(), err error) {
	select {
	case s.turns.here <- struct{}{}:
	default:
		return nil, fault.New(fault.Exhausted, "REHEARSALS_WAITING",
			"the station goes through its record for somebody else, and %d more wait; ask again when they are done", mostRehearsals-1)
	}
	select {
	case s.turns.going <- struct{}{}:
		return func() { <-s.turns.going; <-s.turns.here }, nil
	case <-ctx.Done():
		err = ctx.Err()
	case <-s.closing:
		err = stopping()
	}
	<-s.turns.here
	return nil, err
}
