package journal

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"syscall"

	"bayround/internal/fault"
)

// SpaceLevel is how much room the disk of a journal has.
type SpaceLevel int

// The levels, each with less room than the one before.
const (
	SpaceEnough      SpaceLevel = iota
	SpaceScarce                 // make room soon
	SpaceNoNewRounds            // what is long need not be begun any more; the journal itself takes all the same
	SpaceFull                   // nothing is taken; reading goes on
)

// Space says how much of the journal's disk must stay free. Badger writes through
// maps of files: a map that meets a full disk ends the process, and the store does
// not open again until there is room. So the journal refuses first.
type Space struct {
	// The levels begin where fewer bytes are free than these; 0 = 512 MiB, 128 MiB and
	// 64 MiB. Scarce is also where less than a twentieth of the disk is free, as far as
	// that is no more than 8 GiB.
	ScarceBytes, NoNewRoundsBytes, FullBytes int64
	// BallastBytes is the size of a file that is kept beside the store, to be given up when there
	// is too little room to open or to close; 0 = none.
	BallastBytes int64
}

// Ballast is the size of the ballast that a station keeps.
const Ballast = 64 << 20

const (
	defaultScarceBytes      = 512 << 20
	defaultNoNewRoundsBytes = 128 << 20
	defaultFullBytes        = 64 << 20 // the memtables, what they are flushed to, and one compaction
	mostScarceBytes         = 8 << 30
	scarceShare             = 20 // one in
)

// level tells what so many free bytes mean on a disk of a size.
func (s Space) level(free, size int64) SpaceLevel {
	or := func(bytes, preset int64) int64 {
		if bytes == 0 {
			return preset
		}
		return bytes
	}
	scarce := or(s.ScarceBytes, max(defaultScarceBytes, min(size/scarceShare, mostScarceBytes)))
	switch {
	case free < or(s.FullBytes, defaultFullBytes):
		return SpaceFull
	case free < or(s.NoNewRoundsBytes, defaultNoNewRoundsBytes):
		return SpaceNoNewRounds
	case free < scarce:
		return SpaceScarce
	}
	return SpaceEnough
}

// look asks the disk of dir.
func (s Space) look(dir string) (free int64, level SpaceLevel, err error) {
	free, size, err := diskOf(dir)
	if err != nil {
		return 0, SpaceEnough, err
	}
	return free, s.level(free, size), nil
}

// diskOf returns the bytes that are free on the disk of dir for whoever is not root, and its size.
func diskOf(dir string) (free, size int64, err error) {
	var disk syscall.Statfs_t
	if err := syscall.Statfs(dir, &disk); err != nil {
		return 0, 0, fmt.Errorf("ask how much room there is in %s: %w", dir, err)
	}
	return int64(disk.Bavail) * disk.Bsize, int64(disk.Blocks) * disk.Bsize, nil
}

// Space tells how many bytes are free on the journal's disk, and how much that is.
func (j *Journal) Space() (free int64, level SpaceLevel, err error) { return j.space.look(j.dir) }

// guard is the committer's view of the disk: what it said last, so that a change is
// logged once.
type guard struct {
	space Space
	dir   string
	log   *slog.Logger
	last  SpaceLevel
}

// refusal asks the disk and returns why nothing can be taken; nil when it can. A disk
// that does not answer is no reason: the write itself will say.
func (g *guard) refusal() error {
	free, level, err := g.space.look(g.dir)
	if err != nil {
		return nil
	}
	if level != g.last {
		g.last = level
		words := map[SpaceLevel]string{
			SpaceEnough:      "the record's disk has enough room again",
			SpaceScarce:      "the record's disk is getting full; make room soon",
			SpaceNoNewRounds: "the record's disk is nearly full; no new round is opened",
			SpaceFull:        "the record's disk is full; nothing is taken any more until there is room",
		}
		to := slog.LevelWarn
		if level == SpaceEnough {
			to = slog.LevelInfo
		} else if level == SpaceFull {
			to = slog.LevelError
		}
		g.log.Log(context.Background(), to, words[level], "dir", g.dir, "free_bytes", free)
	}
	if level < SpaceFull {
		return nil
	}
	return full(g.dir, free)
}

func full(dir string, free int64) error {
	return fault.New(fault.Exhausted, "RECORD_DISK_FULL",
		"the disk that holds the record in %s has only %d MiB free, so nothing more is recorded; what is recorded can still be read. Make room there and do it again",
		dir, free>>20)
}

// roomToOpen makes sure that the store can be opened: with too little room it gives the ballast
// up, and refuses when that is not enough.
func (s Space) roomToOpen(dir string, log *slog.Logger) error {
	at := dir
	if _, err := os.Stat(dir); err != nil {
		at = filepath.Dir(dir) // it is made later
	}
	free, level, err := s.look(at)
	if err != nil || level < SpaceFull {
		return nil // nor is a disk that does not answer a reason
	}
	if gaveUp(dir, log) {
		if free, level, err = s.look(at); err != nil || level < SpaceFull {
			return nil
		}
	}
	return fault.New(fault.Exhausted, "RECORD_DISK_FULL",
		"the disk that holds the record in %s has only %d MiB free, too little to open it without harm; nothing was touched. Make room there and start again",
		dir, free>>20)
}

// gaveUp gives the ballast up; false when there is none.
func gaveUp(dir string, log *slog.Logger) bool {
	err := os.Remove(filepath.Join(dir, ballastFile))
	if err == nil {
		log.Warn("the record's disk is full; the ballast beside it was given up to make room", "dir", dir)
	}
	return err == nil
}

// lay lays the ballast where there is none and enough room for it. What cannot be laid is no reason not to start.
func (s Space) lay(dir string, log *slog.Logger) {
	path := filepath.Join(dir, ballastFile)
	if s.BallastBytes == 0 {
		return
	}
	if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
		return
	}
	free, size, err := diskOf(dir)
	if err != nil || s.level(free-s.BallastBytes, size) > SpaceScarce {
		return
	}
	if err := fill(path, s.BallastBytes); err != nil {
		log.Warn("no ballast could be laid beside the record", "cause", err)
		_ = os.Remove(path + unfinished)
	}
}

// fill makes a file of so many bytes that really takes them from the disk.
func fill(path string, bytes int64) error {
	f, err := os.OpenFile(path+unfinished, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	if err = reserve(f, bytes); err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	return os.Rename(path+unfinished, path)
}

// write writes zeros, where the disk cannot reserve.
func write(f *os.File, bytes int64) error {
	block := make([]byte, 1<<20)
	for bytes > 0 {
		n, err := f.Write(block[:min(bytes, int64(len(block)))])
		if err != nil {
			return err
		}
		bytes -= int64(n)
	}
	return nil
}

// closeWithRoom closes the store, if closing cannot harm it: what is in memory is
// then written out. With too little room, the ballast given up, it is left as it is: everything is in the
// log that the next Open reads.
func (j *Journal) closeWithRoom() error {
	_, level, err := j.Space()
	if err == nil && level == SpaceFull && gaveUp(j.dir, j.log) {
		_, level, err = j.Space()
	}
	if err == nil && level == SpaceFull {
		j.log.Error("the record's disk is full; the store is left as it is, and read anew at the next start", "dir", j.dir)
		return nil
	}
	return j.store.close()
}

// room refuses a repair that the disk has no room for: one more store as large as this,
// with what comes from copies, and what must stay free. A store that is being written
// when the disk is full ends the process.
func (r *Repair) room(copyBytes int64) error {
	needs := copyBytes + defaultFullBytes
	for _, folder := range []string{badgerDir, unlistedDir} {
		entries, err := os.ReadDir(filepath.Join(r.dir, folder))
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return unusable(r.dir, err)
		}
		for _, entry := range entries {
			info, err := entry.Info()
			if err != nil {
				return unusable(r.dir, err)
			}
			needs += info.Size()
		}
	}
	free, _, err := diskOf(r.dir)
	if err != nil || free >= needs {
		return err
	}
	return fault.New(fault.Exhausted, "RECORD_DISK_FULL",
		"the repair needs about %d MiB on the disk that holds %s, and %d MiB are free there; nothing was changed: make room, and repair again", needs>>20, r.dir, free>>20)
}
