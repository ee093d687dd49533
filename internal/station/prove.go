package station

import (
	"cmp"
	"context"

	"bayround/internal/fault"
	"bayround/internal/journal"
	"bayround/internal/merkle"
	pb "bayround/proto/bayround/v1"
)

// ProveInclusion proves that an event stands in the record, against the newest
// checkpoint or the tree that is asked for.
func (s *Station) ProveInclusion(_ context.Context, req *pb.ProveInclusionRequest) (*pb.ProveInclusionResponse, error) {
	checkpoint, seq := s.journal.Checkpoint(), uint64(req.GetSequence())
	signed, err := opened(s.journal, checkpoint)
	if err != nil {
		return nil, err
	}
	size := cmp.Or(uint64(req.GetTreeSize()), signed.Size)
	if size > signed.Size {
		return nil, fault.New(fault.NotFound, "TREE_UNKNOWN", "the record holds %d events, there is no tree of %d", signed.Size, size)
	}
	if seq > size {
		return nil, fault.New(fault.NotFound, "EVENT_UNKNOWN", "there is no event %d among events 1 to %d", seq, size)
	}
	leaves, err := s.journal.Leaves(journal.Span{First: seq, Last: seq})
	if err != nil {
		return nil, err
	}
	var record []byte // none when its content was dropped
	if _, dropped := s.journal.Dropped(seq); !dropped {
		if record, err = s.journal.Event(seq); err != nil {
			return nil, err
		}
	}
	path, err := s.journal.Prove(seq, size)
	if err != nil {
		return nil, err
	}
	return &pb.ProveInclusionResponse{Record: record, LeafHash: leaves[0][:], Checkpoint: string(checkpoint), AuditPath: merkle.Bytes(path)}, nil
}
