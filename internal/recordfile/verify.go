package recordfile

import (
	"errors"
	"fmt"
	"io"

	pb "bayround/proto/bayround/v1"
)

// Report is what a whole file holds.
type Report struct {
	Head       *pb.RecordHead
	Last       uint64 // sequence number of the newest event; the one before the first when there is none
	Events     uint64
	Dropped    uint64 // events of which only the hash is left
	Commands   uint64
	Root       string // base64; of all events up to the last, empty when that cannot be said
	Checkpoint string // empty when the file has no seal, or the record no event
}

// String says it in one line.
func (r Report) String() string {
	return fmt.Sprintf("journal %s, events %d to %d, %d commands, root %s", r.Head.GetJournalId(), r.Head.GetFirstSequence(), r.Last, r.Commands, r.Root)
}

// Verify reads a whole file and holds it to everything. With an error the report
// says what was read before.
func Verify(from io.Reader) (report Report, err error) {
	r, err := NewReader(from)
	if err != nil {
		return Report{}, err
	}
	report.Head = r.Head()
	for err == nil {
		var cmd *pb.RecordCommand
		if cmd, err = r.Next(); err == nil {
			report.count(cmd)
		}
	}
	if report.Last = r.Last(); !errors.Is(err, io.EOF) {
		return report, err
	}
	root, err := r.Root()
	report.Root, report.Checkpoint = root.String(), r.Seal().GetCheckpoint()
	return report, err
}

func (r *Report) count(cmd *pb.RecordCommand) {
	r.Commands++
	r.Events += uint64(len(cmd.GetEvents()))
	for _, ev := range cmd.GetEvents() {
		if ev.GetLeafHash() != nil {
			r.Dropped++
		}
	}
}
