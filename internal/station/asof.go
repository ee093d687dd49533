package station

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"sync"
	"time"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// pastLibraries keeps the libraries of a few former times: compiling rules is
// dear, and who asks for one instant mostly asks for its neighbours too.
type pastLibraries struct {
	mu   sync.Mutex
	kept []*library // guarded by mu: newest asked for last
}

// maxPastLibraries is how many are kept.
const maxPastLibraries = 4

// at returns what was in force after an event.
func (p *pastLibraries) at(ctx context.Context, l loader, today *library) (*library, error) {
	p.mu.Lock() // also while it is worked out: nobody else should do the same work
	defer p.mu.Unlock()
	refs, err := l.refs(ctx)
	if err != nil {
		return nil, err
	}
	for _, like := range slices.Concat([]*library{today}, p.kept) {
		if maps.Equal(refs, like.refs) {
			return like, nil
		}
	}
	lib, err := l.library(refs, today)
	if err != nil {
		return nil, err
	}
	p.kept = append(p.kept, lib)
	p.kept = p.kept[max(0, len(p.kept)-maxPastLibraries):]
	return lib, nil
}

// forget drops all of them: they may hold what was erased.
func (p *pastLibraries) forget() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.kept = nil
}

// readinessAt returns the readiness of a vehicle at an instant in the past, as
// it was known then.
func (s *Station) readinessAt(ctx context.Context, name string, at time.Time) (*pb.Readiness, error) {
	sequence, err := s.sequenceAt(ctx, at)
	if err != nil {
		return nil, err
	}
	if sequence == 0 {
		return nil, notThen(name, at)
	}
	return s.readinessAfterUntil(ctx, name, sequence, at)
}

// readinessAfter returns the readiness of a vehicle right after an event.
func (s *Station) readinessAfter(ctx context.Context, name string, sequence int64) (*pb.Readiness, error) {
	l := loader{journal: s.journal}
	ev, err := l.event(sequence)
	if err != nil {
		return nil, err
	}
	return s.readinessAfterUntil(ctx, name, sequence, ev.GetStationTime().AsTime())
}

// readinessAfterUntil returns the readiness at an instant at which an event is
// the newest one.
func (s *Station) readinessAfterUntil(ctx context.Context, name string, sequence int64, at time.Time) (*pb.Readiness, error) {
	l := loader{journal: s.journal, at: uint64(sequence)}
	lib, err := s.past.at(ctx, l, s.current.Load().lib)
	if err != nil {
		return nil, err
	}
	m := lib.models[name]
	if m == nil {
		return nil, notThen(name, at)
	}
	v, err := l.vehicle(ctx, m)
	if err != nil {
		return nil, fmt.Errorf("read %s after event %d: %w", name, sequence, err)
	}
	snap := v.snapshot()
	uuids, err := l.liveRounds(ctx, name)
	if err != nil {
		return nil, err
	}
	for _, uuid := range uuids {
		p, err := l.progress(ctx, uuid)
		if err != nil {
			return nil, err
		}
		if p.frame == nil {
			return nil, unreadable("round "+uuid, errEvent)
		}
		snap.rounds = append(snap.rounds, p)
	}
	return snap.at(at).asOf(at), nil
}

func notThen(name string, at time.Time) error {
	return fault.New(fault.NotFound, "VEHICLE_UNKNOWN", "there was no vehicle %q at this station at %s", name, clockWords(at))
}

// sequenceAt returns the newest event at or before an instant; 0 when there was
// none yet. Instants of events never run backwards, so it can be halved.
func (s *Station) sequenceAt(ctx context.Context, at time.Time) (int64, error) {
	l := loader{journal: s.journal}
	// low is at or before it, what is above high is not.
	low, high := int64(s.journal.Horizon()), s.current.Load().sequence
	if low > 0 {
		first, err := l.instantOf(min(low+1, high))
		if err != nil {
			return 0, err
		}
		if at.Before(first) {
			return 0, fault.New(fault.Precondition, "AS_OF_DROPPED",
				"what was known at %s is not known any more: what lay before %s was dropped when its time was over", clockWords(at), clockWords(first))
		}
	}
	for low < high {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		middle := (low + high + 1) / 2
		ev, err := l.event(middle)
		if err != nil {
			return 0, err
		}
		if ev.GetStationTime().AsTime().After(at) {
			high = middle - 1
		} else {
			low = middle
		}
	}
	return low, nil
}
