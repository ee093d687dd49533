package journal

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/dgraph-io/badger/v4"
	"pgregory.net/rapid"

	"bayround/internal/fault"
)

// crampedTask is the child that lives on a disk of 40 MB; cramped is what it wants to stay free there.
const crampedTask = "cramped"

var cramped = Space{ScarceBytes: 16 << 20, NoNewRoundsBytes: 14 << 20, FullBytes: 12 << 20, BallastBytes: 2 << 20}

// smallStore needs as little room as a disk of 40 MB can give: what is written anew at once is then
// small beside the levels above, as it is beside the usual ones.
func smallStore(b badger.Options) badger.Options {
	return b.WithMemTableSize(2 << 20).WithValueThreshold(256 << 10).WithBaseTableSize(256 << 10).WithBaseLevelSize(1 << 20)
}

// runCramped fills the journal until it refuses, then most of what is left from outside, and
// goes on: reading, refusing, and recording again when there is room. It ends by closing
// the journal where there is too little room.
func runCramped(j *Journal) int {
	beside := filepath.Dir(j.dir)
	filler, spare := filepath.Join(beside, "filler"), filepath.Join(beside, "spare")
	for _, step := range []func() error{
		func() error { return fillJournal(j, "first") },
		func() error { return refuses(j, filler) },
		func() error { return errors.Join(os.Remove(filler), os.Remove(spare)) },
		func() error { return childAppend(j, "again/0", 0) },
		func() error { return fillJournal(j, "second") },
		func() error { return refuses(j, filler+"2") },
		j.Close,
	} {
		if err := step(); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
	}
	fmt.Println("closed")
	return 0
}

// fillJournal records until it is told that the disk is full. What was taken before it makes the same answer.
func fillJournal(j *Journal, name string) error {
	for n := range 100_000 {
		id := fmt.Sprintf("%s/%d", name, n)
		err := childAppend(j, id, n)
		if fault.Is(err, fault.Exhausted) {
			if n == 0 {
				return nil
			}
			r, err := j.Append(context.Background(), Command{ID: fmt.Sprintf("%s/%d", name, n-1)}, nil)
			if err != nil || !r.Repeated {
				return fmt.Errorf("a repeated command on a full disk: %+v, %w", r, err)
			}
			return nil
		}
		if err != nil {
			return err
		}
	}
	return errors.New("the journal never refused")
}

// tidying is what is left free while the journal is open: the store may be about to write its tables
// anew, and a map that meets a disk filled from outside in that moment ends the process.
const tidying = 9 << 20

// fillDisk writes a file until no more than so many bytes are free.
func fillDisk(path string, leave int64) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o600)
	if err != nil {
		return err
	}
	for size := 1 << 20; size >= 512; size /= 2 {
		for err = nil; err == nil; {
			if free, _, asking := diskOf(filepath.Dir(path)); asking != nil || free-int64(size) < leave {
				break
			}
			_, err = f.Write(bytes.Repeat([]byte{1}, size))
		}
	}
	return f.Close()
}

func readAll(j *Journal) error {
	seen := uint64(0)
	err := j.Events(context.Background(), 1, func(uint64, []byte) error { seen++; return nil })
	if err == nil && seen != j.Size() {
		err = fmt.Errorf("read %d events of %d", seen, j.Size())
	}
	return err
}

// refuses fills the disk from outside until the journal refuses; tidying up, the store may give room back
// meanwhile.
func refuses(j *Journal, filler string) error {
	for n := range 200 {
		if err := fillDisk(filler, tidying); err != nil {
			return err
		}
		_, err := j.Append(context.Background(), Command{ID: fmt.Sprintf("%s/%d", filler, n)}, always(Entry{Events: [][]byte{{1}}}))
		if fault.Is(err, fault.Exhausted) {
			return readAll(j)
		}
		if err != nil {
			return err
		}
	}
	return errors.New("the journal never refused")
}

// Less room is never a better level, and the levels begin where they are said to.
func TestSpace_LessRoomIsNeverBetter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.Int64Range(0, 1<<45).Draw(t, "size")
		more, less := rapid.Int64Range(0, 1<<36).Draw(t, "more"), int64(0)
		less = rapid.Int64Range(0, more).Draw(t, "less")
		if (Space{}).level(less, size) < (Space{}).level(more, size) {
			t.Fatalf("of %d bytes, %d free are better than %d", size, less, more)
		}
	})
	const mib = 1 << 20
	for _, tc := range []struct {
		free, size int64
		want       SpaceLevel
	}{
		{64*mib - 1, 1 << 40, SpaceFull},
		{64 * mib, 1 << 40, SpaceNoNewRounds},
		{128 * mib, 1 << 40, SpaceScarce},
		{8 << 30, 1 << 40, SpaceEnough}, // a twentieth would be 51 GiB
		{512*mib - 1, 2 << 30, SpaceScarce},
		{512 * mib, 2 << 30, SpaceEnough},
		{1000 * mib, 32 << 30, SpaceScarce}, // less than a twentieth
	} {
		if got := (Space{}).level(tc.free, tc.size); got != tc.want {
			t.Errorf("%d MiB of %d MiB: level %d, want %d", tc.free/mib, tc.size/mib, got, tc.want)
		}
	}
}

// A journal that wants more than any disk has is at the level that wants it.
func TestSpace_RefusesBeforeTheDiskIsFull(t *testing.T) {
	dir := t.TempDir()
	j := open(t, dir, wanting(Space{NoNewRoundsBytes: 1 << 60}))
	if _, level, err := j.Space(); err != nil || level != SpaceNoNewRounds {
		t.Fatalf("level %d, %v", level, err)
	}
	if _, err := j.Append(context.Background(), Command{ID: "taken"}, always(Entry{Events: [][]byte{{1}}})); err != nil {
		t.Fatalf("what is no new round is refused: %v", err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	_, err := Open(context.Background(), Options{Dir: dir, Space: Space{FullBytes: 1 << 60}})
	if !fault.Is(err, fault.Exhausted) {
		t.Fatalf("opened on a disk with too little room: %v", err)
	}
}

// The ballast is laid where there is room, and given up where there is not.
func TestSpace_GivesTheBallastUp(t *testing.T) {
	dir := t.TempDir()
	ballast := filepath.Join(dir, ballastFile)
	if err := open(t, dir, wanting(Space{BallastBytes: 3 << 20})).Close(); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(ballast); err != nil || info.Size() != 3<<20 {
		t.Fatalf("the ballast: %v, %v", info, err)
	}
	if _, err := Open(context.Background(), Options{Dir: dir, Space: Space{FullBytes: 1 << 60}}); !fault.Is(err, fault.Exhausted) {
		t.Fatal(err)
	}
	if _, err := os.Stat(ballast); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the ballast is still there: %v", err)
	}
	if err := open(t, dir, wanting(Space{BallastBytes: 1 << 60})).Close(); err != nil {
		t.Fatalf("a ballast that does not fit keeps the journal from opening: %v", err)
	}
}

func wanting(s Space) func(*Options) { return func(o *Options) { o.Space = s } }
