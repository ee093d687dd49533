package journal

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"

	"bayround/internal/durable"
)

const (
	evidenceKept     = 3        // how many unclean stops evidence is kept of
	maxEvidenceBytes = 16 << 20 // of one file; a write-ahead log holds little more than a memtable of 8 MiB
	evidenceBlock    = 64 << 10
	// evidenceReserve is what must stay free on the disk: to open comes first.
	evidenceReserve = 64 << 20
	evidenceForm    = "20060102T150405.000000000Z"
)

// errNoRoom says that the disk needs its room for more important things.
var errNoRoom = errors.New("there is no room for it on the disk")

// setAside copies what opening the store changes or throws away without a word
// into the evidence directory. It reports whether that is done; a start is never
// kept from going on by it.
func setAside(dir string, now time.Time, log *slog.Logger) bool {
	to := filepath.Join(dir, evidenceDir, now.UTC().Format(evidenceForm))
	err := errors.Join(copyEvidence(dir, to), dropEvidence(filepath.Dir(to)))
	if err != nil {
		log.Warn("the last stop was not a clean one, and what it left could not be set aside; the start goes on", "cause", err)
		return false
	}
	log.Warn("the last stop was not a clean one; what it left was set aside before the store was opened", "evidence", to)
	return true
}

// copyEvidence makes the copy whole or not at all.
func copyEvidence(dir, to string) error {
	files, err := evidenceOf(dir)
	if err != nil {
		return err
	}
	if err := haveRoom(dir, files); err != nil {
		return err
	}
	partly := to + unfinished
	if err := os.MkdirAll(partly, 0o700); err != nil {
		return err
	}
	for _, file := range files {
		if err := copyData(file, filepath.Join(partly, filepath.Base(file))); err != nil {
			return errors.Join(fmt.Errorf("copy %s: %w", file, err), os.RemoveAll(partly))
		}
	}
	if err := durable.SyncDir(partly); err != nil {
		return err
	}
	return durable.Rename(partly, to)
}

// evidenceOf lists what tells how the store was left: its write-ahead logs, what
// lists its tables and keys, the newest value log, and the heads.
func evidenceOf(dir string) (files []string, err error) {
	inner := filepath.Join(dir, badgerDir)
	logs, err := filepath.Glob(filepath.Join(inner, "*.mem"))
	if err != nil {
		return nil, err
	}
	values, err := filepath.Glob(filepath.Join(inner, "*.vlog"))
	if err != nil {
		return nil, err
	}
	candidates := append(logs, filepath.Join(inner, "MANIFEST"), filepath.Join(inner, "KEYREGISTRY"))
	if len(values) > 0 {
		candidates = append(candidates, slices.Max(values)) // they are numbered with leading zeros
	}
	for _, head := range []string{headAFile, headBFile, headSeenFile} {
		candidates = append(candidates, filepath.Join(dir, head))
	}
	for _, file := range candidates {
		if _, err := os.Stat(file); err == nil {
			files = append(files, file)
		} else if !errors.Is(err, fs.ErrNotExist) {
			return nil, err
		}
	}
	return files, nil
}

// haveRoom errs when copies would leave less than the reserve.
func haveRoom(dir string, files []string) error {
	free, _, err := diskOf(dir)
	if err != nil {
		return err
	}
	for _, file := range files {
		var s syscall.Stat_t
		if err := syscall.Stat(file, &s); err != nil {
			return err
		}
		free -= min(s.Blocks*512, maxEvidenceBytes) // blocks of 512 bytes, whatever the disk's own are
	}
	if free < evidenceReserve {
		return errNoRoom
	}
	return nil
}

// copyData copies a file of which most may never have been written: what is zero
// is left out and reads as zero in the copy. What lies beyond maxEvidenceBytes of
// data is left out too.
func copyData(from, to string) error {
	source, err := os.Open(from)
	if err != nil {
		return err
	}
	defer source.Close()
	target, err := os.OpenFile(to, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	err = copyBlocks(target, source)
	return errors.Join(err, target.Sync(), target.Close())
}

func copyBlocks(target *os.File, source io.Reader) error {
	block, zero := make([]byte, evidenceBlock), make([]byte, evidenceBlock)
	written := 0
	for at := int64(0); ; {
		n, err := io.ReadFull(source, block)
		if n > 0 && written < maxEvidenceBytes && !bytes.Equal(block[:n], zero[:n]) {
			if _, err := target.WriteAt(block[:n], at); err != nil {
				return err
			}
			written += n
		}
		at += int64(n)
		switch {
		case errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF):
			return target.Truncate(at)
		case err != nil:
			return err
		}
	}
}

// dropEvidence removes all but the newest, and what was not finished.
func dropEvidence(evidence string) error {
	entries, err := os.ReadDir(evidence)
	if err != nil {
		return err
	}
	slices.SortFunc(entries, func(a, b os.DirEntry) int { return -cmp.Compare(a.Name(), b.Name()) })
	kept := 0
	for _, entry := range entries {
		if !strings.HasSuffix(entry.Name(), unfinished) && kept < evidenceKept {
			kept++
			continue
		}
		if err := os.RemoveAll(filepath.Join(evidence, entry.Name())); err != nil {
			return err
		}
	}
	return nil
}
