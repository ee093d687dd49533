package round

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// errDiffers says that what the station gives does not go on from the copy.
var errDiffers = errors.New("the station's record does not go on from the copy")

// fetch takes over what the station has and the copy has not, makes sure of every
// byte and syncs it. It returns the checkpoint of what the copy holds then. What
// came before the stream broke is kept; the next time goes on from there.
func (c *recordCopy) fetch(ctx context.Context, journal pb.JournalServiceClient, s sighting) (checkpoint string, err error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := journal.ExportRecord(ctx, &pb.ExportRecordRequest{FirstSequence: int64(c.size()) + 1})
	if err != nil {
		return "", err
	}
	late := time.AfterFunc(patience, cancel)
	defer late.Stop()
	checkpoint, err = c.take(s, func() (*pb.RecordPart, error) {
		late.Reset(patience)
		m, err := stream.Recv()
		return m.GetPart(), err
	})
	if serr := c.sync(); serr != nil {
		return "", errors.Join(err, serr)
	}
	if errors.Is(err, errDiffers) {
		return "", errors.Join(err, c.setAside(time.Now()))
	}
	if err != nil {
		return "", err
	}
	if err := c.roll(checkpoint); err != nil {
		return "", err
	}
	return checkpoint, c.erase()
}

// take writes the parts of a stretch on.
func (c *recordCopy) take(s sighting, next func() (*pb.RecordPart, error)) (checkpoint string, err error) {
	first, err := next()
	if err != nil {
		return "", err
	}
	if err := c.goesOn(s, first.GetHead()); err != nil {
		return "", err
	}
	for {
		part, err := next()
		if errors.Is(err, io.EOF) {
			err = io.ErrUnexpectedEOF
		}
		if err != nil {
			return "", err
		}
		if seal := part.GetSeal(); seal != nil {
			if err := c.vouched(seal.GetCheckpoint()); err != nil {
				return "", fmt.Errorf("%w: %w", errDiffers, err)
			}
			return seal.GetCheckpoint(), nil
		}
		if err := c.add(part.GetCommand()); err != nil {
			return "", notWritten(err)
		}
	}
}

// notWritten tells a command that does not follow from a disk that takes no more.
func notWritten(err error) error {
	if fault.Is(err, fault.Lost) {
		return fmt.Errorf("%w: %w", errDiffers, err)
	}
	return err
}

// goesOn makes sure that a head is of the station that is known and goes on where
// the copy ends.
func (c *recordCopy) goesOn(s sighting, head *pb.RecordHead) error {
	if head.GetJournalId() != s.JournalID || head.GetVerifierKey() != s.VerifierKey {
		return fmt.Errorf("the station exports the record of journal %.40q, it is known as %s", head.GetJournalId(), s.JournalID)
	}
	if c.next == nil {
		c.next = head
		return nil
	}
	if !proto.Equal(head, c.next) {
		return errDiffers
	}
	return nil
}

// sent is what was offered to a station, in which watch of it.
type sent struct {
	watch int
	last  uint64
}

// offer gives a station that is behind what the copy holds beyond it, once in each
// contact and again when there is more.
func (w *recordWitness) offer(ctx context.Context, s sighting, now *pb.GetCheckpointResponse) error {
	if offered := (sent{w.watching, w.copy.size()}); w.offered == offered {
		return nil
	}
	var has uint64
	if now.GetCheckpoint() != "" {
		signed, err := s.open(now.GetCheckpoint())
		if err != nil {
			return err
		}
		has = signed.Size
	}
	if w.copy.size() <= has {
		return nil
	}
	got, err := w.send(ctx, s, has+1)
	if err != nil {
		return fmt.Errorf("offering the copy of its record to the station: %w", err)
	}
	w.log.Warn("the station's record is behind; it was given this tablet's copy", "has", has, "up to", got.GetKeptToSequence(), "enough", got.GetEnough())
	w.offered = sent{w.watching, w.copy.size()}
	return nil
}

// send streams the copy from an event on.
func (w *recordWitness) send(ctx context.Context, s sighting, first uint64) (*pb.OfferRecordResponse, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := w.journal.OfferRecord(ctx)
	if err != nil {
		return nil, err
	}
	late := time.AfterFunc(patience, cancel)
	defer late.Stop()
	give := func(part *pb.RecordPart) error {
		late.Reset(patience)
		return stream.Send(&pb.OfferRecordRequest{Part: part, Device: w.device})
	}
	err = w.copy.from(first,
		func(head *pb.RecordHead) error { return give(&pb.RecordPart{Part: &pb.RecordPart_Head{Head: head}}) },
		func(cmd *pb.RecordCommand) error {
			return give(&pb.RecordPart{Part: &pb.RecordPart_Command{Command: cmd}})
		})
	if err == nil && w.copy.vouched(s.Checkpoint) == nil {
		err = give(&pb.RecordPart{Part: &pb.RecordPart_Seal{Seal: &pb.RecordSeal{Checkpoint: s.Checkpoint}}})
	}
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	late.Reset(patience)
	return stream.CloseAndRecv() // it knows why the station took no more
}
