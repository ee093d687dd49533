package round

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"google.golang.org/protobuf/proto"

	"bayround/internal/durable"
	"bayround/internal/recordfile"
	pb "bayround/proto/bayround/v1"
)

// erase removes from the copy who persons are that were erased at the station. The
// events stay as they were signed: what they keep apart stands beside them.
func (c *recordCopy) erase() error {
	if len(c.erased) == 0 {
		return nil
	}
	if err := c.close(); err != nil {
		return err
	}
	changed := false
	for _, s := range c.segments {
		tells, err := c.tells(s)
		if err == nil && tells {
			changed, err = true, c.rewrite(s)
		}
		if err != nil {
			return fmt.Errorf("erase a person in the copy: %w", err)
		}
	}
	erased := c.erased
	anew, err := readCopy(filepath.Dir(c.dir), c.log)
	if err != nil {
		return err
	}
	*c = *anew
	c.erased = nil
	if changed {
		c.log.Info("who persons are that were erased at the station was erased in this tablet's copy, too", "persons", len(erased))
	}
	return nil
}

// tells tells whether a segment says who an erased person is.
func (c *recordCopy) tells(s segment) (tells bool, err error) {
	err = s.read(func(*recordfile.Reader) error { return nil }, func(cmd *pb.RecordCommand) error {
		tells = tells || len(c.without(cmd).GetApart()) < len(cmd.GetApart())
		return nil
	})
	return tells, err
}

// without is a command without the texts that tell who an erased person is.
func (c *recordCopy) without(cmd *pb.RecordCommand) *pb.RecordCommand {
	if len(cmd.GetApart()) == 0 {
		return cmd
	}
	var digests [][]byte
	for _, record := range cmd.GetEvents() {
		var ev pb.JournalEvent
		if err := proto.Unmarshal(record.GetRecord(), &ev); err != nil {
			continue // the reader has read it; it cannot be
		}
		if who := ev.GetPersonApplied(); ev.GetSequence() < c.erased[who.GetName()] {
			digests = append(digests, who.GetApart())
		}
	}
	left := proto.CloneOf(cmd)
	left.Apart = slices.DeleteFunc(left.Apart, func(text *pb.ApartText) bool {
		digest := sha256.Sum256(slices.Concat(text.GetSalt(), text.GetContent()))
		return slices.ContainsFunc(digests, func(d []byte) bool { return bytes.Equal(d, digest[:]) })
	})
	return left
}

// rewrite puts a segment without those texts in the place of the one that is there.
func (c *recordCopy) rewrite(s segment) error {
	from, err := os.Open(s.name)
	if err != nil {
		return err
	}
	defer from.Close()
	r, err := recordfile.NewReader(bufio.NewReader(from))
	if err != nil {
		return err
	}
	draft, err := durable.Begin(s.name)
	if err != nil {
		return err
	}
	defer draft.Discard()
	to := bufio.NewWriter(draft)
	if err := errors.Join(c.passOn(r, to), to.Flush()); err != nil {
		return err
	}
	return draft.Place()
}

// passOn writes what is read, without those texts; sealed when it was sealed.
func (c *recordCopy) passOn(r *recordfile.Reader, to io.Writer) error {
	w, err := recordfile.NewWriter(to, r.Head())
	for err == nil {
		var cmd *pb.RecordCommand
		if cmd, err = r.Next(); err == nil {
			err = w.Command(c.without(cmd))
		}
	}
	switch {
	case errors.Is(err, io.EOF):
		return w.Seal(r.Seal().GetCheckpoint())
	case recordfile.IsCut(err):
		return nil
	}
	return err
}
