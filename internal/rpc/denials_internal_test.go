package rpc

import (
	"log/slog"
	"sync"
	"testing"
	"time"
)

// A server may be stopped while it begins to serve, and before: then nothing goes on
// behind its back. (The race detector looks at this one, too.)
func TestSumming_EndsWheneverItIsBegun(t *testing.T) {
	for range 200 {
		s := newSumming(newDenials(nil, slog.New(slog.DiscardHandler), time.Hour))
		var beside sync.WaitGroup
		beside.Go(s.begin)
		s.end()
		beside.Wait()
		s.runs.Wait() // returns: what was begun has ended, or nothing was
		s.begin()
		s.runs.Wait()
	}
}
