package station

import (
	"context"
	"slices"
	"sync"

	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	"bayround/internal/merkle"
	pb "bayround/proto/bayround/v1"
)

// ProveConsistency proves that the record only grew since a checkpoint that the
// caller saw, or since what was left of it when a person accepted a loss. A
// checkpoint that counts more than the record holds is kept: the record is behind
// from then on.
func (s *Station) ProveConsistency(ctx context.Context, req *pb.ProveConsistencyRequest) (*pb.ProveConsistencyResponse, error) {
	checkpoint := s.journal.Checkpoint()
	resp := &pb.ProveConsistencyResponse{Checkpoint: string(checkpoint)}
	if req.GetKnownCheckpoint() == "" {
		return resp, nil
	}
	ours, err := opened(s.journal, checkpoint)
	if err != nil {
		return nil, err
	}
	known, err := opened(s.journal, []byte(req.GetKnownCheckpoint()))
	if err != nil {
		return nil, s.journal.Know([]byte(req.GetKnownCheckpoint())) // it says what is wrong with it
	}
	resp.ProvenEvents = int64(known.Size)
	if why := s.leadsTo(known, ours); why != nil {
		if resp.Loss, err = s.lossOf(ctx, known); err != nil {
			return nil, err
		}
		if resp.GetLoss() == nil {
			s.log.Error("a device saw another record than this", "device", req.GetDevice(), "cause", why)
			if err := s.journal.Know([]byte(req.GetKnownCheckpoint())); err != nil {
				return nil, err
			}
			return nil, why // behind, and it is known now
		}
		resp.ProvenEvents = resp.GetLoss().GetKeptEvents()
	}
	if resp.GetProvenEvents() == 0 || uint64(resp.GetProvenEvents()) == ours.Size {
		return resp, nil // needs no proof
	}
	path, err := s.journal.ProveTree(uint64(resp.GetProvenEvents()), ours.Size)
	resp.ConsistencyPath = merkle.Bytes(path)
	return resp, err
}

// leadsTo says why the record is not the one that a checkpoint of ours vouches for:
// nil when it is.
func (s *Station) leadsTo(known, ours merkle.Checkpoint) error {
	if known.Size > ours.Size {
		return recordBehind(ours.Size, known.Size)
	}
	path, err := s.journal.ProveTree(known.Size, ours.Size)
	if err != nil {
		return err
	}
	if err := merkle.Grown(known, ours, path); err != nil {
		return fault.New(fault.Lost, "RECORD_FORKED",
			"the first %d events are not those that this station has signed before: there are two histories; keep both and find out which is true", known.Size).Because(err)
	}
	return nil
}

func recordBehind(ours, known uint64) error {
	return fault.New(fault.Precondition, "RECORD_BEHIND",
		"the record holds %d events, and a checkpoint is known that counts %d: its newest events are lost; nothing is taken until it is repaired", ours, known)
}

// claimed are the roots of all checkpoints that are known and count more than the
// record holds.
func (s *Station) claimed() (map[uint64]tlog.Hash, error) {
	roots := map[uint64]tlog.Hash{}
	for _, signed := range s.journal.Claims() {
		c, err := opened(s.journal, signed)
		if err != nil {
			return nil, err
		}
		roots[c.Size] = c.Root
	}
	return roots, nil
}

// losses are the losses that persons have accepted. They are few and seldom asked
// for, so they are looked up in the record then, each event once.
type losses struct {
	mu   sync.Mutex
	read uint64 // guarded by mu: every event up to this one was looked at
	all  []*pb.RecordLossAccepted
}

// accepted are the losses that persons have accepted, oldest first. When the record
// cannot be read to its end it gives those before, and why.
func (s *Station) accepted(ctx context.Context) ([]*pb.RecordLossAccepted, error) {
	l := &s.losses
	l.mu.Lock()
	defer l.mu.Unlock()
	err := s.journal.Events(ctx, l.read+1, func(seq uint64, record []byte) error {
		ev, err := parseEvent(seq, record)
		if err != nil {
			return err
		}
		if accepted := ev.GetRecordLossAccepted(); accepted != nil {
			l.all = append(l.all, accepted)
		}
		l.read = seq
		return nil
	})
	return slices.Clone(l.all), err
}

// lossOf returns the accepted loss by which a checkpoint does not fit; nil when
// there is none. Of several it is the one that left the least.
func (s *Station) lossOf(ctx context.Context, known merkle.Checkpoint) (loss *pb.RecordLossAccepted, err error) {
	all, err := s.accepted(ctx)
	for _, accepted := range all {
		lost, cerr := opened(s.journal, []byte(accepted.GetKnownCheckpoint()))
		if cerr != nil || known.Size > lost.Size || known.Size <= uint64(accepted.GetKeptEvents()) {
			continue // not of what was lost then
		}
		if loss == nil || accepted.GetKeptEvents() < loss.GetKeptEvents() {
			loss = proto.CloneOf(accepted)
		}
	}
	return loss, err
}
