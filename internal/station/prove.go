package station

import (
	"context"

	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/fault"
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
	record, err := s.journal.Event(seq)
	if err != nil {
		return nil, err
	}
	path, err := s.journal.Prove(seq, signed.Size)
	if err != nil {
		return nil, err
	}
	leaf := tlog.RecordHash(record)
	return &pb.ProveInclusionResponse{Record: record, LeafHash: leaf[:], Checkpoint: string(checkpoint), AuditPath: merkle.Bytes(path)}, nil
}
