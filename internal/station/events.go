package station

import (
	"context"

	pb "bayround/proto/bayround/v1"
)

// Events gives yield every event from a sequence on (the first event is 1), up to
// the newest when it was called, in order. An error of yield ends it and comes
// back unchanged. It is what Follow is to callers far away: for whoever keeps a
// place in the journal of a station in the same process.
func (s *Station) Events(ctx context.Context, from int64, yield func(*pb.JournalEvent) error) error {
	return s.journal.Events(ctx, uint64(max(from, 1)), func(sequence uint64, record []byte) error {
		ev, err := parseEvent(sequence, record)
		if err != nil {
			return err
		}
		return yield(ev)
	})
}

// Grown returns once the journal holds an event after a sequence. It errs when
// ctx ends first, and when the station is closed or has failed.
func (s *Station) Grown(ctx context.Context, after int64) error {
	return s.journal.Wait(ctx, uint64(max(after, 0)))
}
