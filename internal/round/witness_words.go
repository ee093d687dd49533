package round

import (
	"fmt"

	pb "bayround/proto/bayround/v1"
)

// reasonBehind is the reason of a station that takes nothing until it is repaired.
const reasonBehind = "RECORD_BEHIND"

// reasonDiffers is the reason of a station to which the copy is of another history.
const reasonDiffers = "RECORD_DIFFERS"

// What an alarm says. Both stay until a person has decided.
const (
	alarmOtherStation = "The station that answers is not the one this tablet knows: its record or its key is another. " +
		"What it says of the vehicles may be wrong. Tell an officer."
	alarmFork = "The station’s record is not the one this tablet saw before: something in it was changed or left out. " +
		"What it says of the vehicles may be wrong. Tell an officer."
)

// lossWords say what an accepted loss means.
func lossWords(loss *pb.RecordLossAccepted, known uint64) string {
	return fmt.Sprintf("The station’s record lost its newest %d entries, and an officer has accepted that: %s. "+
		"What was recorded on this tablet is kept here.", known-uint64(loss.GetKeptEvents()), loss.GetReason())
}

// LossID is the id to dismiss the notice of a loss by.
const LossID = "record-loss"

// shown is what is shown of it; empty of nothing.
func (s *announced) shown() string {
	if s == nil {
		return ""
	}
	return s.Message
}
