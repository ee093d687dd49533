package station

import (
	"context"

	pb "bayround/proto/bayround/v1"
)

// GetRecordState tells how well the record stands.
func (s *Station) GetRecordState(context.Context, *pb.GetRecordStateRequest) (*pb.GetRecordStateResponse, error) {
	known, behind := s.journal.Behind()
	scrub, _ := s.Scrubbed()
	return &pb.GetRecordStateResponse{State: &pb.RecordState{
		JournalId: s.journal.ID(), Events: int64(s.journal.Size()), Behind: behind, KnownCheckpoint: string(known), Scrub: scrub,
	}}, nil
}

// HeadsTorn reports that none of the checkpoints beside the record could be read at the
// start: a loss before it would not have been noticed.
func (s *Station) HeadsTorn() bool { return s.journal.HeadsTorn() }

// Answers returns nil once the station's writing side has come round: it is not
// stuck. It errs when ctx ends first, or the station has stopped.
func (s *Station) Answers(ctx context.Context) error { return s.journal.Answers(ctx) }
