package roundproof

import pb "bayround/proto/bayround/v1"

// RoundOf is the round that an event belongs to, rounds/{round}; empty when it
// belongs to none.
func RoundOf(ev *pb.JournalEvent) string {
	switch e := ev.GetEvent().(type) {
	case *pb.JournalEvent_RoundOpened:
		return e.RoundOpened.GetRound().GetName()
	case *pb.JournalEvent_RoundStateChanged:
		return e.RoundStateChanged.GetRound()
	case *pb.JournalEvent_StepBegun:
		return e.StepBegun.GetRound()
	case *pb.JournalEvent_MadeSafe:
		return e.MadeSafe.GetRound()
	case *pb.JournalEvent_ResultRecorded:
		return e.ResultRecorded.GetResult().GetRound()
	case *pb.JournalEvent_AssistantChanged:
		return e.AssistantChanged.GetRound()
	case *pb.JournalEvent_RoundSigned:
		return e.RoundSigned.GetRound()
	}
	return ""
}
