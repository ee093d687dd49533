package station

import (
	"bayround/internal/journal"
	pb "bayround/proto/bayround/v1"
)

// recordCommand is what a command left in the journal, as a record file has it.
func recordCommand(s journal.Stored) *pb.RecordCommand {
	cmd := &pb.RecordCommand{CommandId: s.Command.ID, RequestDigest: s.Command.Digest[:], Receipt: s.Receipt}
	for _, ev := range s.Events {
		kept := &pb.RecordEvent{Content: &pb.RecordEvent_Record{Record: ev.Record}}
		if ev.Record == nil {
			kept.Content = &pb.RecordEvent_LeafHash{LeafHash: ev.Leaf[:]}
		}
		cmd.Events = append(cmd.Events, kept)
	}
	for _, text := range s.Apart {
		cmd.Apart = append(cmd.Apart, &pb.ApartText{Salt: text.Salt[:], Content: text.Content})
	}
	return cmd
}
