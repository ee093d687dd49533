package station

import (
	"context"

	"bayround/internal/fault"
	"bayround/internal/journal"
	pb "bayround/proto/bayround/v1"
)

// GetRecordState tells how well the record stands.
func (s *Station) GetRecordState(ctx context.Context, _ *pb.GetRecordStateRequest) (*pb.GetRecordStateResponse, error) {
	known, behind := s.journal.Behind()
	scrub, _ := s.Scrubbed()
	free, space := s.Space()
	losses, err := s.accepted(ctx)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if err != nil { // what is known is told all the same; the daily reading says what is wrong
		s.log.Warn("the record cannot be read to its end for the losses that were accepted", "cause", err)
	}
	return &pb.GetRecordStateResponse{State: &pb.RecordState{
		JournalId: s.journal.ID(), Events: int64(s.journal.Size()), Behind: behind, KnownCheckpoint: string(known), Scrub: scrub,
		FreeBytes: free, Space: space, Losses: losses,
	}}, nil
}

// Space tells how many bytes are free on the record's disk, and how much room that
// is; unspecified when the disk does not say.
func (s *Station) Space() (freeBytes int64, level pb.SpaceLevel) {
	free, space, err := s.journal.Space()
	if err != nil {
		return 0, pb.SpaceLevel_SPACE_LEVEL_UNSPECIFIED
	}
	switch space {
	case journal.SpaceEnough:
		return free, pb.SpaceLevel_SPACE_LEVEL_ENOUGH
	case journal.SpaceScarce:
		return free, pb.SpaceLevel_SPACE_LEVEL_SCARCE
	case journal.SpaceNoNewRounds:
		return free, pb.SpaceLevel_SPACE_LEVEL_NO_NEW_ROUNDS
	default:
		return free, pb.SpaceLevel_SPACE_LEVEL_FULL
	}
}

// roomForRound refuses a new round where there may not be room for all of it.
func (s *Station) roomForRound() error {
	free, level := s.Space()
	if level < pb.SpaceLevel_SPACE_LEVEL_NO_NEW_ROUNDS {
		return nil
	}
	return fault.New(fault.Exhausted, "RECORD_DISK_SCARCE",
		"the storage that holds the record has only %d MiB free, so no new round is opened; rounds under way go on. Tell the officer in charge, who has room made on it", free>>20)
}

// HeadsTorn reports that none of the checkpoints beside the record could be read at the
// start: a loss before it would not have been noticed.
func (s *Station) HeadsTorn() bool { return s.journal.HeadsTorn() }

// Answers returns nil once the station's writing side has come round: it is not
// stuck. It errs when ctx ends first, or the station has stopped.
func (s *Station) Answers(ctx context.Context) error { return s.journal.Answers(ctx) }
