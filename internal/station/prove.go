package station

import (
	"context"

	"bayround/internal/fault"
	"bayround/internal/journal"
	"bayround/internal/merkle"
	pb "bayround/proto/bayround/v1"
)

// ProveInclusion proves that an event stands in the record, against the newest
// checkpoint.
func (s *Station) ProveInclusion(_ context.Context, req *pb.ProveInclusionRequest) (*pb.ProveInclusionResponse, error) {
	checkpoint, seq := s.journal.Checkpoint(), uint64(req.GetSequence())
	signed, err := opened(s.journal, checkpoint)
	if err != nil {
		return nil, err
	}
	if seq > signed.Size {
		return nil, fault.New(fault.NotFound, "EVENT_UNKNOWN", "there is no event %d; the record holds events 1 to %d", seq, signed.Size)
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
	path, err := s.journal.Prove(seq, signed.Size)
	if err != nil {
		return nil, err
	}
	return &pb.ProveInclusionResponse{Record: record, LeafHash: leaves[0][:], Checkpoint: string(checkpoint), AuditPath: merkle.Bytes(path)}, nil
}
