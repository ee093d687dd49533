package round

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/proto"

	"bayround/internal/durable"
	"bayround/internal/merkle"
	"bayround/internal/recordfile"
	pb "bayround/proto/bayround/v1"
)

const (
	// copyFolder holds the tablet's copy of the station's record: record files that
	// join on to each other, each named after the first event in it. The newest is
	// written on and has no seal.
	copyFolder = "copy"
	copyName   = "%020d.record"
	// segmentBytes is how long a file grows before the next is begun.
	segmentBytes = 5 << 20
	// copyKept is how far back a copy reaches at least, by the station's time.
	copyKept = 30 * 24 * time.Hour
)

// segment is one file of the copy.
type segment struct {
	name        string
	first, last uint64    // last is the one before first while there is no event
	newest      time.Time // station time of the last event; zero when its content was dropped
}

// recordCopy is the tablet's copy of the station's record. One goroutine owns it.
type recordCopy struct {
	dir      string
	log      *slog.Logger
	segments []segment      // they join on to each other, oldest first
	next     *pb.RecordHead // where it goes on; nil when there is nothing
	file     *os.File       // of the last segment while it is written on
	buffer   *bufio.Writer  // into file
	writer   *recordfile.Writer
	erased   map[string]int64 // persons that were erased, by which event; the copy may tell yet who they are
}

// size is the sequence of the newest event that it holds.
func (c *recordCopy) size() uint64 {
	if c.next == nil {
		return 0
	}
	return uint64(c.next.GetFirstSequence() - 1)
}

// add writes a command on.
func (c *recordCopy) add(cmd *pb.RecordCommand) error {
	if c.writer == nil {
		if err := c.begin(); err != nil {
			return err
		}
	}
	if err := c.writer.Command(cmd); err != nil {
		return err
	}
	c.note(cmd, c.writer.Last(), c.writer.Following())
	return nil
}

// note takes note of a command that stands in the last segment.
func (c *recordCopy) note(cmd *pb.RecordCommand, last uint64, next *pb.RecordHead) {
	newest := &c.segments[len(c.segments)-1]
	newest.last, c.next = last, next
	for _, record := range cmd.GetEvents() {
		var ev pb.JournalEvent
		if err := proto.Unmarshal(record.GetRecord(), &ev); err != nil {
			continue // it was read before; it cannot be
		}
		if ev.GetStationTime() != nil {
			newest.newest = ev.GetStationTime().AsTime()
		}
		if erased := ev.GetPersonErased(); erased != nil {
			if c.erased == nil {
				c.erased = map[string]int64{}
			}
			c.erased[erased.GetPerson()] = ev.GetSequence()
		}
	}
}

// begin begins a segment.
func (c *recordCopy) begin() (err error) {
	first := uint64(c.next.GetFirstSequence())
	name := filepath.Join(c.dir, fmt.Sprintf(copyName, first))
	if c.file, err = os.OpenFile(name, os.O_CREATE|os.O_TRUNC|os.O_RDWR, 0o600); err != nil {
		return fmt.Errorf("begin a file of the copy: %w", err)
	}
	c.buffer = bufio.NewWriterSize(c.file, 64<<10)
	if c.writer, err = recordfile.NewWriter(c.buffer, c.next); err != nil {
		return err
	}
	c.segments = append(c.segments, segment{name: name, first: first, last: first - 1})
	return durable.SyncDir(c.dir)
}

// sync puts everything that was added on disk.
func (c *recordCopy) sync() error {
	if c.file == nil {
		return nil
	}
	return errors.Join(c.buffer.Flush(), c.file.Sync())
}

// close ends writing; everything is on disk then.
func (c *recordCopy) close() error {
	if c.file == nil {
		return nil
	}
	err := errors.Join(c.sync(), c.file.Close())
	c.file, c.buffer, c.writer = nil, nil, nil
	return err
}

// roll seals the newest segment once it is long enough, with a checkpoint of
// exactly what is there, and drops what is older than need be.
func (c *recordCopy) roll(checkpoint string) error {
	if c.writer == nil || c.writer.Bytes() < segmentBytes {
		return nil
	}
	if err := c.writer.Seal(checkpoint); err != nil {
		return err
	}
	if err := c.close(); err != nil {
		return err
	}
	return c.drop()
}

// drop removes segments whose time is over. It goes by the station's time in the
// events, so that no clock that is set wrong removes anything.
func (c *recordCopy) drop() error {
	until := c.segments[len(c.segments)-1].newest.Add(-copyKept)
	for len(c.segments) > 1 && !c.segments[0].newest.IsZero() && c.segments[0].newest.Before(until) {
		if err := os.Remove(c.segments[0].name); err != nil {
			return fmt.Errorf("drop an old file of the copy: %w", err)
		}
		c.segments = c.segments[1:]
	}
	return durable.SyncDir(c.dir)
}

// from reads the copy on from the command that made an event: begin gets the head
// of a record file that begins there, each the commands. A copy that begins later is
// read from its beginning.
func (c *recordCopy) from(first uint64, begin func(*pb.RecordHead) error, each func(*pb.RecordCommand) error) error {
	if c.next == nil {
		return nil
	}
	if err := c.sync(); err != nil {
		return err
	}
	begun := false
	for _, s := range c.segments {
		if s.last < first {
			continue
		}
		if err := s.read(func(r *recordfile.Reader) error {
			if begun || r.Last()+1 < first {
				return nil
			}
			begun = true
			return begin(r.Following())
		}, func(cmd *pb.RecordCommand) error {
			if !begun {
				return nil
			}
			return each(cmd)
		}); err != nil {
			return err
		}
	}
	if begun {
		return nil
	}
	return begin(c.next)
}

// read reads a segment: before is called before each command, each after it.
func (s segment) read(before func(*recordfile.Reader) error, each func(*pb.RecordCommand) error) error {
	f, err := os.Open(s.name)
	if err != nil {
		return fmt.Errorf("read the copy: %w", err)
	}
	defer f.Close()
	r, err := recordfile.NewReader(f)
	if err != nil {
		return err
	}
	for r.Last() < s.last {
		if err := before(r); err != nil {
			return err
		}
		cmd, err := r.Next()
		if err != nil {
			return err
		}
		if err := each(cmd); err != nil {
			return err
		}
	}
	return nil
}

// rootAt is the root of the first size events, if it can be told from the copy.
func (c *recordCopy) rootAt(size uint64) (root tlog.Hash, known bool, err error) {
	var head *pb.RecordHead
	none := func(*pb.RecordCommand) error { return nil }
	err = c.from(size+1, func(h *pb.RecordHead) error { head = h; return nil }, none)
	if err != nil || head == nil || uint64(head.GetFirstSequence()) != size+1 {
		return root, false, err
	}
	subtrees, err := merkle.Hashes(head.GetSubtrees())
	if err != nil {
		return root, false, err
	}
	edge, err := merkle.EdgeOf(size, subtrees)
	if err != nil {
		return root, false, err
	}
	root, err = edge.Root()
	return root, true, err
}

// leftOver says why what a station has left after a loss is not what the copy holds
// up to there, nil when it is. A copy that does not reach so far is held to it as it
// goes on.
func (c *recordCopy) leftOver(kept uint64, newer merkle.Checkpoint, path [][]byte) (why, err error) {
	if kept == 0 || kept > c.size() {
		return nil, nil
	}
	root, known, err := c.rootAt(kept)
	if err != nil {
		return nil, err
	}
	if !known {
		return fmt.Errorf("no command known here ends at event %d", kept), nil
	}
	hashes, why := merkle.Hashes(path)
	if why == nil {
		why = merkle.Grown(merkle.Checkpoint{Size: kept, Root: root}, newer, hashes)
	}
	return why, nil
}

// tellsOfLoss tells whether the copy holds, from an event on, that a person has
// accepted the loss of what was there before.
func (c *recordCopy) tellsOfLoss(first uint64) (told bool, err error) {
	begin := func(*pb.RecordHead) error { return nil }
	err = c.from(first, begin, func(cmd *pb.RecordCommand) error {
		for _, record := range cmd.GetEvents() {
			var ev pb.JournalEvent
			if err := proto.Unmarshal(record.GetRecord(), &ev); err != nil {
				return fmt.Errorf("read the copy: %w", err)
			}
			told = told || ev.GetRecordLossAccepted() != nil && uint64(ev.GetRecordLossAccepted().GetKeptEvents())+1 == first
		}
		return nil
	})
	return told, err
}

// vouched makes sure that a checkpoint is of exactly what the copy holds.
func (c *recordCopy) vouched(checkpoint string) error {
	if c.writer != nil {
		return c.writer.Vouched(checkpoint)
	}
	w, err := recordfile.NewWriter(io.Discard, c.next)
	if err != nil {
		return err
	}
	return w.Vouched(checkpoint)
}
