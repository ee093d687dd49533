package station

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"google.golang.org/protobuf/proto"

	pb "bayround/proto/bayround/v1"
)

// recordCommandPrefix begins the command ids under which what was done to the record itself
// is journaled: record/{SHA-256 of the note that the repair left}.
const recordCommandPrefix = "record/"

// journalRepairs journals what repairs have left word of. Under the same id again it
// is told once, however often it is interrupted.
func (s *Station) journalRepairs(ctx context.Context) error {
	notes, err := s.journal.Notes()
	if err != nil || len(notes) == 0 {
		return err
	}
	for _, note := range notes {
		ev := &pb.JournalEvent{}
		if err := proto.Unmarshal(note, ev); err != nil {
			return unreadable("the note of a repair", err)
		}
		sum := sha256.Sum256(note)
		_, receipt, err := run(ctx, s, recordCommandPrefix+hex.EncodeToString(sum[:]), ev, func(c *command) (*pb.JournalEvent, error) {
			return &pb.JournalEvent{}, c.happen(proto.CloneOf(ev), nil)
		})
		if err != nil {
			return fmt.Errorf("journal the repair of the record: %w", err)
		}
		s.log.Warn("the repair of the record is journaled", "sequence", receipt.First, "loss_accepted", ev.GetRecordLossAccepted() != nil)
	}
	return s.journal.NotesTaken()
}

// ofRecord tells that an event is of the record itself: it changes nothing else.
func ofRecord(ev *pb.JournalEvent) bool {
	return ev.GetRecordRefilled() != nil || ev.GetRecordLossAccepted() != nil || ofTrust(ev) || ofLocks(ev)
}
