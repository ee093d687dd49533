package station

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"log/slog"
	"os"

	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/fault"
	"bayround/internal/journal"
	"bayround/internal/recordfile"
	pb "bayround/proto/bayround/v1"
)

// RestoreOptions says which record is brought back, and where to.
type RestoreOptions struct {
	// Dir is the directory it gets; empty, or not there yet.
	Dir string
	// File is a record file with its seal, from the first event on.
	File string
	// Signer is the station's signing key, as its file holds it; nil = not at hand.
	Signer []byte
	// Beside brings back what belongs beside the record; nil = nothing does.
	Beside func() error
	// Logger hears warnings and worse; nil = discard.
	Logger *slog.Logger
}

// Restore makes a station's record anew from a record file. The file is held to
// everything first; then every event is written, what they lead to is held against
// the signed checkpoint, and all is read back. See journal.Restore for what a restore
// that broke off leaves.
func Restore(ctx context.Context, o RestoreOptions) (journal.Report, error) {
	whole, err := verifyFile(o.File)
	if err != nil {
		return journal.Report{}, err
	}
	if first := whole.Head.GetFirstSequence(); first != 1 {
		return journal.Report{}, fault.New(fault.Precondition, "RECORD_PARTIAL",
			"%s begins with event %d; a record is restored from its first event on: export it whole", o.File, first)
	}
	return journal.Restore(ctx, journal.RestoreOptions{
		Dir: o.Dir, ID: whole.Head.GetJournalId(), Verifier: whole.Head.GetVerifierKey(),
		Signer: o.Signer, Head: []byte(whole.Checkpoint), Beside: o.Beside, Logger: o.Logger,
	}, storedIn(o.File))
}

// MarkMoved marks the record in a directory as one that goes on elsewhere: no station
// starts from it any more. The checkpoint is the newest of what was copied.
func MarkMoved(dir, where string, checkpoint []byte) error {
	return journal.MarkMoved(dir, where, checkpoint)
}

func verifyFile(name string) (recordfile.Report, error) {
	f, err := os.Open(name)
	if err != nil {
		return recordfile.Report{}, err
	}
	report, err := recordfile.Verify(f)
	if err != nil {
		err = fmt.Errorf("%s: %w", name, err)
	}
	return report, errors.Join(err, f.Close())
}

// storedIn gives the commands of a record file. An error is its last.
func storedIn(name string) iter.Seq2[journal.Stored, error] {
	return func(yield func(journal.Stored, error) bool) {
		err := eachCommand(name, func(first uint64, cmd *pb.RecordCommand) error {
			if !yield(storedCommand(first, cmd), nil) {
				return errBeyond
			}
			return nil
		})
		if err != nil && !errors.Is(err, errBeyond) {
			yield(journal.Stored{}, fmt.Errorf("%s: %w", name, err))
		}
	}
}

// eachCommand calls visit with the commands of a record file and the sequence of the
// first event of each. An error of visit ends it and comes back unchanged.
func eachCommand(name string, visit func(first uint64, cmd *pb.RecordCommand) error) (err error) {
	f, err := os.Open(name)
	if err != nil {
		return err
	}
	defer f.Close()
	r, err := recordfile.NewReader(f)
	if err != nil {
		return err
	}
	for {
		first := r.Last() + 1
		cmd, err := r.Next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err == nil {
			err = visit(first, cmd)
		}
		if err != nil {
			return err
		}
	}
}

// storedCommand is recordCommand the other way round.
func storedCommand(first uint64, cmd *pb.RecordCommand) journal.Stored {
	s := journal.Stored{
		Command: journal.Command{ID: cmd.GetCommandId(), Digest: [32]byte(cmd.GetRequestDigest())},
		Receipt: cmd.GetReceipt(), First: first,
	}
	for _, ev := range cmd.GetEvents() {
		kept := journal.StoredEvent{Record: ev.GetRecord()}
		switch {
		case ev.GetLeafHash() != nil:
			kept.Leaf = tlog.Hash(ev.GetLeafHash())
		default:
			kept.Leaf = tlog.RecordHash(kept.Record)
		}
		s.Events = append(s.Events, kept)
	}
	for _, text := range cmd.GetApart() {
		s.Apart = append(s.Apart, journal.Apart{Salt: [32]byte(text.GetSalt()), Content: text.GetContent()})
	}
	return s
}
