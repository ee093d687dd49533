package station

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"

	"golang.org/x/mod/sumdb/note"

	"bayround/internal/fault"
	"bayround/internal/journal"
	"bayround/internal/merkle"
	"bayround/internal/recordfile"
	pb "bayround/proto/bayround/v1"
)

// ExportRecord gives the record from an event on as the parts of a record file, up
// to the newest checkpoint as of the call. It is read from the journal: there is no
// queue, and a slow reader delays only itself.
func (s *Station) ExportRecord(ctx context.Context, req *pb.ExportRecordRequest, send func(*pb.ExportRecordResponse) error) error {
	x := export{journal: s.journal, begin: func(head *pb.RecordHead) (*recordfile.Writer, error) {
		return recordfile.NewSender(func(part *pb.RecordPart) error {
			if isClosed(s.closing) {
				return stopping()
			}
			return send(&pb.ExportRecordResponse{Part: part})
		}, head)
	}}
	return x.run(ctx, uint64(req.GetFirstSequence()))
}

// Export writes the record in a directory, from an event on, as a record file. No
// other process may have it open.
func Export(ctx context.Context, dir string, first uint64, to io.Writer, log *slog.Logger) (err error) {
	j, err := journal.Open(ctx, journal.Options{Dir: dir, RowsVersion: rowsVersion, Logger: log})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, j.Close()) }()
	x := export{journal: j, begin: func(head *pb.RecordHead) (*recordfile.Writer, error) { return recordfile.NewWriter(to, head) }}
	return x.run(ctx, first)
}

// export is one stretch of a record being written.
type export struct {
	journal *journal.Journal
	begin   func(*pb.RecordHead) (*recordfile.Writer, error)
	file    *recordfile.Writer // nil until its first event is known
}

// run writes the stretch from the command of event first to the newest checkpoint.
func (x *export) run(ctx context.Context, first uint64) error {
	checkpoint := x.journal.Checkpoint()
	signed, err := opened(x.journal, checkpoint)
	if err != nil {
		return err
	}
	if first = max(first, 1); first > signed.Size+1 {
		return fault.New(fault.OutOfRange, "RECORD_SHORTER", "the record ends at event %d; ask from %d on at the latest", signed.Size, signed.Size+1)
	}
	err = x.journal.Commands(ctx, first, func(c journal.Stored) error {
		if c.First > signed.Size {
			return errBeyond // it was appended meanwhile
		}
		if err := x.open(c.First); err != nil {
			return err
		}
		return x.file.Command(recordCommand(c))
	})
	if err != nil && !errors.Is(err, errBeyond) {
		return err
	}
	if err := x.open(first); err != nil { // there was none
		return err
	}
	return x.file.Seal(string(checkpoint))
}

// errBeyond ends a walk before the end.
var errBeyond = errors.New("no more is wanted")

// open writes the head, once.
func (x *export) open(first uint64) (err error) {
	if x.file != nil {
		return nil
	}
	subtrees, err := x.journal.Subtrees(first)
	if err != nil {
		return err
	}
	x.file, err = x.begin(&pb.RecordHead{
		Version: 1, JournalId: x.journal.ID(), VerifierKey: x.journal.Verifier(),
		FirstSequence: int64(first), Subtrees: merkle.Bytes(subtrees),
	})
	return err
}

// opened reads a checkpoint of a journal's own; none is that of no event.
func opened(j *journal.Journal, checkpoint []byte) (merkle.Checkpoint, error) {
	if len(checkpoint) == 0 {
		return merkle.Checkpoint{}, nil
	}
	verifier, err := note.NewVerifier(j.Verifier())
	if err != nil {
		return merkle.Checkpoint{}, fmt.Errorf("read the journal's own key: %w", err)
	}
	return merkle.OpenCheckpoint(checkpoint, verifier)
}
