package journal

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"

	"bayround/internal/durable"
	"bayround/internal/faultpoint"
)

// The names of a replacement of the store.
const (
	newStoreDir    = badgerDir + unfinished
	replacingFile  = "replacing"
	notesFile      = "notes"
	refillDir      = "refill" // copies others have given; what was made of them is in the store
	repairedSuffix = "-repaired"
)

// replacing is what the file of that name holds: it is there from when the new store
// is whole until everything is in place.
type replacing struct {
	Evidence string `json:"evidence"` // folder among the evidence that the old store goes to
	Identity string `json:"identity"` // what the file JOURNAL must hold
	Head     string `json:"head"`     // of the new store; empty while it has no event
	Note     []byte `json:"note,omitempty"`
}

// begin makes it the truth that the new store takes the place of the old.
func (p replacing) begin(dir string) error {
	b, err := json.Marshal(p)
	if err != nil {
		return err
	}
	if err := durable.Replace(filepath.Join(dir, replacingFile), b); err != nil {
		return fmt.Errorf("write the file %s: %w", replacingFile, err)
	}
	return faultpoint.Hit(faultpoint.JournalBeforeReplacing)
}

// finishReplacing finishes a replacement that was begun; without one it removes what
// is left of a new store that was never finished. Whoever calls it holds the mark.
// Each step can be done again. It reports whether there was one.
func finishReplacing(dir string, log *slog.Logger) (replaced bool, err error) {
	b, err := os.ReadFile(filepath.Join(dir, replacingFile))
	if errors.Is(err, fs.ErrNotExist) {
		return false, os.RemoveAll(filepath.Join(dir, newStoreDir))
	}
	if err != nil {
		return false, unusable(dir, err)
	}
	var p replacing
	if err := json.Unmarshal(b, &p); err != nil || !filepath.IsLocal(p.Evidence) {
		return false, lost("REPLACING_UNREADABLE",
			"the file %s in %q cannot be read: a repair of the store broke off, and how it goes on is not known; keep a copy of the directory, remove that file, and repair again", replacingFile, dir)
	}
	for _, step := range []func(string) error{p.swap, p.heads, p.clear, p.leaveNote} {
		if err := step(dir); err != nil {
			return false, fmt.Errorf("put the repaired store in place: %w", err)
		}
	}
	if err := durable.Remove(filepath.Join(dir, replacingFile)); err != nil {
		return false, fmt.Errorf("put the repaired store in place: %w", err)
	}
	log.Warn("a repaired store was put in place of the old one, which is kept", "evidence", filepath.Join(dir, evidenceDir, p.Evidence))
	return true, nil
}

// finishRepair does so before the journal in dir is opened, when there is need.
func finishRepair(dir string, log *slog.Logger) error {
	if !anyThere(dir, replacingFile, newStoreDir, scratchDir) {
		return nil
	}
	m, err := takeMark(dir)
	if err != nil {
		return err
	}
	replaced, err := finishReplacing(dir, log)
	return errors.Join(err, os.RemoveAll(filepath.Join(dir, scratchDir)), m.leave(replaced || !m.unclean))
}

func anyThere(dir string, names ...string) bool {
	for _, name := range names {
		if _, err := os.Stat(filepath.Join(dir, name)); !errors.Is(err, fs.ErrNotExist) {
			return true
		}
	}
	return false
}

// swap puts the old store aside and the new one in its place.
func (p replacing) swap(dir string) error {
	made, place := filepath.Join(dir, newStoreDir), filepath.Join(dir, badgerDir)
	if _, err := os.Stat(made); errors.Is(err, fs.ErrNotExist) {
		return nil // it is in place already
	} else if err != nil {
		return err
	}
	aside := filepath.Join(dir, evidenceDir, p.Evidence)
	if err := os.MkdirAll(aside, 0o700); err != nil {
		return err
	}
	if err := renameIfThere(place, filepath.Join(aside, badgerDir)); err != nil {
		return err
	}
	if err := errors.Join(durable.SyncDir(aside), durable.SyncDir(filepath.Dir(aside)), durable.SyncDir(dir)); err != nil {
		return err
	}
	if err := faultpoint.Hit(faultpoint.JournalInReplacing); err != nil {
		return err
	}
	if err := durable.Rename(made, place); err != nil {
		return err
	}
	return faultpoint.Hit(faultpoint.JournalAfterReplacing)
}

// heads makes what stands beside the store say what the store holds.
func (p replacing) heads(dir string) error {
	if err := durable.Replace(filepath.Join(dir, journalFile), []byte(p.Identity)); err != nil {
		return err
	}
	if p.Head != "" {
		if err := durable.Replace(filepath.Join(dir, headAFile), []byte(p.Head)); err != nil {
			return err
		}
	} else if err := durable.Remove(filepath.Join(dir, headAFile)); err != nil {
		return err
	}
	return errors.Join(durable.Remove(filepath.Join(dir, headBFile)), durable.Remove(filepath.Join(dir, headSeenFile)))
}

// clear puts the copies aside that were given for the repair.
func (p replacing) clear(dir string) error {
	return errors.Join(
		renameIfThere(filepath.Join(dir, refillDir), filepath.Join(dir, evidenceDir, p.Evidence, refillDir)),
		renameIfThere(filepath.Join(dir, unlistedDir), filepath.Join(dir, evidenceDir, p.Evidence, unlistedDir)), durable.SyncDir(dir))
}

// leaveNote adds the note to those that nobody has taken up yet.
func (p replacing) leaveNote(dir string) error {
	if p.Note == nil {
		return nil
	}
	notes, err := readNotes(dir)
	if err != nil {
		return err
	}
	for _, there := range notes {
		if string(there) == string(p.Note) {
			return nil
		}
	}
	return writeNotes(dir, append(notes, p.Note))
}

func renameIfThere(from, to string) error {
	if err := os.Rename(from, to); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

func readNotes(dir string) (notes [][]byte, err error) {
	b, err := os.ReadFile(filepath.Join(dir, notesFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err == nil {
		err = json.Unmarshal(b, &notes)
	}
	if err != nil {
		return nil, fmt.Errorf("read the file %s: %w", notesFile, err)
	}
	return notes, nil
}

func writeNotes(dir string, notes [][]byte) error {
	b, err := json.Marshal(notes)
	if err != nil {
		return err
	}
	return durable.Replace(filepath.Join(dir, notesFile), b)
}

// Notes returns what repairs of the store have left for whoever opens the journal
// next, oldest first.
func (j *Journal) Notes() ([][]byte, error) { return readNotes(j.dir) }

// NotesTaken removes them for good.
func (j *Journal) NotesTaken() error { return durable.Remove(filepath.Join(j.dir, notesFile)) }
