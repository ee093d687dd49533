package journal

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"log/slog"
	"os"
	"path/filepath"

	"golang.org/x/mod/sumdb/note"

	"bayround/internal/durable"
	"bayround/internal/fault"
)

// RestoreOptions says which journal is made anew, and where.
type RestoreOptions struct {
	// Dir is the directory it gets, on a local disk: empty or not there, or what a
	// restore that broke off has left.
	Dir string
	// ID and Verifier are those of the journal.
	ID, Verifier string
	// Signer is the signing key as the file signer.key holds it; nil = it is not at
	// hand, and must be put there before the journal can be opened.
	Signer []byte
	// Head is the signed checkpoint that the events must lead to; nil for a journal
	// without events.
	Head []byte
	// Beside, if set, brings back what belongs beside the journal. It is called when
	// the journal itself is whole; until it has returned the restore is unfinished.
	Beside func() error
	// Logger hears warnings and worse; nil = discard.
	Logger *slog.Logger
}

// Restore makes a journal anew from its commands, in order from the first, and reads
// back what it has written. What they lead to must be exactly what Head counts: it
// takes nothing on trust and mends nothing. Rows must be made anew (RowsComplete is
// false). The first error of commands ends it and comes back unchanged.
//
// After an error, or when the process ends meanwhile, the directory is marked as
// unfinished: Open refuses it (RESTORE_UNFINISHED), and Restore begins it again.
func Restore(ctx context.Context, o RestoreOptions, commands iter.Seq2[Stored, error]) (Report, error) {
	b := &building{id: identity{id: o.ID, verifierKey: o.Verifier}, head: o.Head, logger: o.Logger}
	if err := b.check(); err != nil {
		return Report{}, err
	}
	if o.Signer != nil {
		var err error
		if b.key, err = fitSigner(o.Signer, "which is to be restored", b.verifier); err != nil {
			return Report{}, err
		}
	}
	m, err := beginRestore(o.Dir)
	if err != nil {
		return Report{}, err
	}
	b.path = filepath.Join(o.Dir, badgerDir)
	report, err := b.build(ctx, commands)
	if err == nil {
		err = o.finish(b.id)
	}
	if leaving := m.leave(true); err == nil { // an unfinished one is told by its own file
		err = leaving
	}
	return report, err
}

// finish puts everything in place that is not the store, and last takes away the
// mark of the unfinished.
func (o RestoreOptions) finish(id identity) error {
	if o.Signer != nil {
		if err := durable.Replace(filepath.Join(o.Dir, signerFile), o.Signer); err != nil {
			return fmt.Errorf("write the signing key: %w", err)
		}
	}
	if err := durable.Replace(filepath.Join(o.Dir, journalFile), id.encode()); err != nil {
		return fmt.Errorf("write the file %s: %w", journalFile, err)
	}
	if o.Head != nil {
		if err := putHead(filepath.Join(o.Dir, headAFile), o.Head); err != nil {
			return fmt.Errorf("write the file %s: %w", headAFile, err)
		}
	}
	if o.Beside != nil {
		if err := o.Beside(); err != nil {
			return err
		}
	}
	if err := durable.Remove(filepath.Join(o.Dir, restoringFile)); err != nil {
		return fmt.Errorf("finish the restore: %w", err)
	}
	return nil
}

// beginRestore marks dir as unfinished and clears what an earlier restore into it
// has left. The mark it returns keeps other processes out.
func beginRestore(dir string) (*mark, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, unusable(dir, err)
	}
	unfinished := filepath.Join(dir, restoringFile)
	_, err := os.Stat(unfinished)
	if errors.Is(err, fs.ErrNotExist) {
		if err := refuseUsed(dir); err != nil {
			return nil, err
		}
	} else if err != nil {
		return nil, unusable(dir, err)
	}
	if err := durable.Replace(unfinished, []byte("what lies here is not whole: the restore into this directory has not ended\n")); err != nil {
		return nil, unusable(dir, err)
	}
	m, err := takeMark(dir)
	if err != nil {
		return nil, err
	}
	for _, name := range []string{badgerDir, journalFile, signerFile, headAFile} {
		if err := os.RemoveAll(filepath.Join(dir, name)); err != nil {
			return nil, errors.Join(unusable(dir, err), m.leave(true))
		}
	}
	return m, nil
}

// refuseUsed errs when a directory holds anything.
func refuseUsed(dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return unusable(dir, err)
	}
	for _, entry := range entries {
		if entry.Name() != freshDisk {
			return fault.New(fault.Precondition, "DIRECTORY_USED",
				"%q holds %q; a record is restored into an empty directory, so that nothing is written over", dir, entry.Name())
		}
	}
	return nil
}

// check reads what the journal is to be.
func (b *building) check() (err error) {
	if b.verifier, err = note.NewVerifier(b.id.verifierKey); err == nil {
		_, err = parseIdentity(journalFile, b.id.encode())
	}
	if err != nil {
		return fault.New(fault.Invalid, "IDENTITY_UNREADABLE", "%.60q and %.120q are not the id and the key of a journal", b.id.id, b.id.verifierKey).Because(err)
	}
	if b.head == nil {
		return nil
	}
	b.signed, err = openCheckpoint(b.head, b.verifier)
	return err
}
