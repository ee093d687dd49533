package journal

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"

	"bayround/internal/durable"
	"bayround/internal/fault"
)

// MarkMoved marks the journal in dir as one that goes on elsewhere: Open refuses it
// from now on (RECORD_MOVED) and says where it went. Its newest checkpoint must be
// the one given, so that nothing is left behind.
func MarkMoved(dir, where string, checkpoint []byte) error {
	o := Options{Dir: dir}
	made, err := inspect(dir)
	if err != nil {
		return err
	}
	if made == nil {
		return unknownJournal(o)
	}
	m, err := takeMark(dir)
	if err != nil {
		return err
	}
	err = markMoved(dir, *made, where, checkpoint)
	return errors.Join(err, m.leave(!m.unclean))
}

func markMoved(dir string, id identity, where string, checkpoint []byte) error {
	verifier, err := id.verifier()
	if err != nil {
		return err
	}
	s := store{dir: dir, identity: id, verifier: verifier}
	for _, file := range []string{headAFile, headBFile, headSeenFile} {
		c := s.readClaim(file, slog.New(slog.DiscardHandler))
		if c.signed == nil || bytes.Equal(c.signed, checkpoint) {
			continue
		}
		var moved claim
		if moved.Checkpoint, err = openCheckpoint(checkpoint, verifier); err != nil || c.Size >= moved.Size {
			return fault.New(fault.Precondition, "RECORD_GREW",
				"the record in %q is not what was copied: its file %s counts %d events; make the copy anew", dir, file, c.Size)
		}
	}
	if err := durable.Replace(filepath.Join(dir, movedFile), []byte(where+"\n")); err != nil {
		return fmt.Errorf("write the file %s: %w", movedFile, err)
	}
	return nil
}

// refuseMoved errs when the journal in dir goes on elsewhere.
func refuseMoved(dir string) error {
	where, err := os.ReadFile(filepath.Join(dir, movedFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return unusable(dir, err)
	}
	return fault.New(fault.Precondition, "RECORD_MOVED",
		"the record in %q was moved, to %s, and goes on there; two that go on from one record are two histories. Only if no other was ever started from that copy, remove the file %s here",
		dir, bytes.TrimSpace(where), movedFile)
}
