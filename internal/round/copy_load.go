package round

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/durable"
	"bayround/internal/recordfile"
	pb "bayround/proto/bayround/v1"
)

// openCopy reads the copy in a tablet's directory, every byte of it. What a power cut
// left half written is cut back; what does not join on is left alone and counts
// no more.
func openCopy(dir string, log *slog.Logger) (*recordCopy, error) {
	c, err := readCopy(dir, log)
	if err != nil {
		return nil, err
	}
	if err := c.erase(); err != nil {
		return nil, err
	}
	return c, nil
}

// readCopy is openCopy without erasing.
func readCopy(dir string, log *slog.Logger) (*recordCopy, error) {
	c := &recordCopy{dir: filepath.Join(dir, copyFolder), log: log}
	if err := os.MkdirAll(c.dir, 0o700); err != nil {
		return nil, fmt.Errorf("make the folder of the copy: %w", err)
	}
	names, err := filepath.Glob(filepath.Join(c.dir, "[0-9]*.record"))
	if err != nil {
		return nil, err
	}
	slices.Sort(names)
	for _, name := range names {
		if err := errors.Join(c.close(), c.load(name)); err != nil {
			return nil, err
		}
	}
	return c, nil
}

// load takes a file for the next segment.
func (c *recordCopy) load(name string) error {
	f, err := os.OpenFile(name, os.O_RDWR, 0)
	if err != nil {
		return fmt.Errorf("read the copy: %w", err)
	}
	r, err := recordfile.NewReader(bufio.NewReaderSize(f, 64<<10))
	if err != nil {
		c.log.Error("a file of the copy of the station's record cannot be used and is put aside", "file", name, "cause", err)
		return errors.Join(f.Close(), os.Rename(name, name+".damaged"))
	}
	if c.next != nil && !proto.Equal(c.next, r.Head()) {
		c.log.Error("the copy of the station's record has a gap; what lies before it counts no more", "file", name)
		c.segments = nil
	}
	first := uint64(r.Head().GetFirstSequence())
	c.segments, c.next = append(c.segments, segment{name: name, first: first, last: first - 1}), r.Head()
	for {
		cmd, err := r.Next()
		if errors.Is(err, io.EOF) {
			return f.Close()
		}
		if err != nil {
			return c.resume(f, r, err)
		}
		c.note(cmd, r.Last(), r.Following())
	}
}

// resume cuts a file back to what is whole and writes on there.
func (c *recordCopy) resume(f *os.File, r *recordfile.Reader, why error) error {
	end, err := f.Seek(0, io.SeekEnd)
	if err != nil {
		return errors.Join(err, f.Close())
	}
	if end > r.Whole() {
		c.log.Warn("the copy of the station's record was cut back to what is whole", "to", r.Last(), "bytes", end-r.Whole(), "cause", why)
	}
	_, err = f.Seek(r.Whole(), io.SeekStart)
	if err := errors.Join(err, f.Truncate(r.Whole()), f.Sync()); err != nil {
		return errors.Join(err, f.Close())
	}
	c.file, c.buffer = f, bufio.NewWriterSize(f, 64<<10)
	c.writer, err = r.Resume(c.buffer)
	return err
}

// setAside puts the whole copy aside and begins anew.
func (c *recordCopy) setAside(now time.Time) error {
	aside := filepath.Join(filepath.Dir(c.dir), copyFolder+"-aside-"+stamp(now))
	if err := errors.Join(c.close(), os.Rename(c.dir, aside), os.MkdirAll(c.dir, 0o700)); err != nil {
		return fmt.Errorf("put the copy aside: %w", err)
	}
	c.segments, c.next = nil, nil
	c.log.Error("the copy of the station's record does not fit it and was put aside; it is fetched anew", "aside", aside)
	return durable.SyncDir(filepath.Dir(c.dir))
}

func stamp(now time.Time) string { return now.UTC().Format("20060102T150405.000Z") }

// lose puts what the copy holds behind an event aside, into a file of its own whose
// name it returns; empty when it held no more.
func (c *recordCopy) lose(kept uint64, now time.Time) (aside string, err error) {
	if c.size() <= kept {
		return "", nil
	}
	aside = filepath.Join(c.dir, "lost-"+stamp(now)+".record")
	if err := c.writeFrom(kept+1, aside); err != nil {
		return "", err
	}
	if err := c.cutBack(kept); err != nil {
		return "", err
	}
	return aside, nil
}

// writeFrom writes everything from an event on into a file; it has no seal, for
// nothing vouches for it any more.
func (c *recordCopy) writeFrom(first uint64, name string) error {
	f, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return fmt.Errorf("put aside what was lost: %w", err)
	}
	to := bufio.NewWriter(f)
	var w *recordfile.Writer
	err = c.from(first, func(head *pb.RecordHead) (err error) {
		w, err = recordfile.NewWriter(to, head)
		return err
	}, func(cmd *pb.RecordCommand) error { return w.Command(cmd) })
	return errors.Join(err, to.Flush(), f.Sync(), f.Close(), durable.SyncDir(c.dir))
}

// cutBack drops what the copy holds behind an event, and reads it anew.
func (c *recordCopy) cutBack(kept uint64) error {
	if err := c.close(); err != nil {
		return err
	}
	for _, s := range slices.Backward(c.segments) {
		var err error
		switch {
		case s.first > kept:
			err = os.Remove(s.name)
		case s.last > kept:
			err = s.truncate(kept)
		}
		if err != nil {
			return fmt.Errorf("cut the copy back to event %d: %w", kept, err)
		}
	}
	if err := durable.SyncDir(c.dir); err != nil {
		return err
	}
	anew, err := openCopy(filepath.Dir(c.dir), c.log)
	if err == nil {
		*c = *anew
	}
	return err
}

// truncate cuts a segment behind an event.
func (s segment) truncate(kept uint64) error {
	whole := int64(0)
	err := s.read(func(r *recordfile.Reader) error {
		if r.Last() <= kept {
			whole = r.Whole()
		}
		return nil
	}, func(*pb.RecordCommand) error { return nil })
	if err != nil {
		return err
	}
	f, err := os.OpenFile(s.name, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Truncate(whole), f.Sync(), f.Close())
}
