package journal

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"bayround/internal/durable"
	"bayround/internal/fault"
)

// The names in a journal's directory.
const (
	journalFile = "JOURNAL"
	signerFile  = "signer.key"
	badgerDir   = "badger"
	openFile    = "open"             // there while a process has the journal open
	evidenceDir = "evidence"         // what unclean stops left behind
	photosDir   = "photos"           // not ours, but may stand beside us
	trustDir    = "trust"            // nor are these: the keys of the station
	freshDisk   = "lost+found"       // nor is this
	unfinished  = durable.Unfinished // ends the name of a file that is still being written
	// restoringFile is there while a restore is under way, and after one that broke off.
	restoringFile = "restoring"
	ballastFile   = "ballast"  // takes room that can be given up
	movedFile     = "MOVED"    // says where the journal goes on in place of here
	unlistedDir   = "unlisted" // tables that the store does not list
)

// ownNames may stand in a directory in which a journal is made: what an
// interrupted first start leaves behind, the photos that belong to the record and the
// station's keys (brought back from a copy before the station was started), and what
// every fresh ext4 holds. In a journal's own directory anything may stand.
func ownNames() []string {
	return []string{signerFile, badgerDir, journalFile + unfinished, signerFile + unfinished, openFile, photosDir, trustDir, freshDisk, ballastFile, ballastFile + unfinished}
}

// inspect reads the JOURNAL file of dir. It returns nil when there is none
// and a journal may be made there.
func inspect(dir string) (*identity, error) {
	if err := refuseUnfinished(dir); err != nil {
		return nil, err
	}
	b, err := os.ReadFile(filepath.Join(dir, journalFile))
	if err == nil {
		made, err := parseIdentity(filepath.Join(dir, journalFile), b)
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", filepath.Join(dir, journalFile), err)
		}
		return &made, nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return nil, unusable(dir, err)
	}
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, unusable(dir, err)
	}
	for _, entry := range entries {
		if !slices.Contains(ownNames(), entry.Name()) {
			return nil, foreign(dir, entry.Name())
		}
	}
	return nil, nil
}

// refuseUnfinished errs when a restore into dir has not ended.
func refuseUnfinished(dir string) error {
	_, err := os.Stat(filepath.Join(dir, restoringFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return unusable(dir, err)
	}
	return fault.New(fault.Precondition, "RESTORE_UNFINISHED",
		"a restore into %q broke off, or is under way; what lies there is not whole: restore into the same directory again", dir)
}

func foreign(dir, name string) error {
	return fault.New(fault.Precondition, "DIRECTORY_FOREIGN",
		"%q is not a journal's directory (it has no file %s) and holds %q; give the journal an empty directory of its own",
		dir, journalFile, name)
}

func unusable(dir string, cause error) error {
	return fault.New(fault.Precondition, "DIRECTORY_UNUSABLE",
		"the journal's directory %q cannot be used; it must be a directory on a local disk that this user may read and write",
		dir).Because(cause)
}

// makeWritable makes dir and its badger directory if need be, and tries
// whether files can be made in them: Badger's own error would not say.
func makeWritable(dir string) error {
	inner := filepath.Join(dir, badgerDir)
	if err := os.MkdirAll(inner, 0o700); err != nil {
		return unusable(dir, err)
	}
	for _, d := range []string{dir, inner} {
		probe, err := os.CreateTemp(d, "probe-*"+unfinished)
		if err != nil {
			return unusable(dir, err)
		}
		if err := errors.Join(probe.Close(), os.Remove(probe.Name())); err != nil {
			return unusable(dir, err)
		}
	}
	return errors.Join(durable.SyncDir(filepath.Dir(dir)), durable.SyncDir(dir))
}
