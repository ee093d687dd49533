package station

import (
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// turnedOut returns the frame with a turnout noted, when a change of the state
// begins or ends one; results is how many the round has. What the run may have
// changed follows from it, on whatever tablet the round is gone on with.
func (f *frame) turnedOut(e *pb.RoundStateChanged, ev *pb.JournalEvent, results int32) *frame {
	runs := f.round.GetTurnouts()
	open := len(runs) > 0 && runs[len(runs)-1].GetResumed() == nil
	switch {
	case e.GetState() == pb.RoundState_ROUND_STATE_PAUSED && e.GetTurnout() && !open:
		g := *f
		g.round = proto.CloneOf(f.round)
		g.round.Turnouts = append(g.round.Turnouts, &pb.TurnoutRun{Called: ev.GetStationTime(), ResultsBefore: results})
		return &g
	case e.GetState() == pb.RoundState_ROUND_STATE_OPEN && open:
		g := *f
		g.round = proto.CloneOf(f.round)
		run := g.round.Turnouts[len(runs)-1]
		run.Resumed = ev.GetStationTime()
		run.WentOut = f.ranSince(e.GetConditions())
		return &g
	}
	return f
}

// ranSince tells that the engine has run since the round was interrupted, as far as
// the conditions say. Both times are of the device's clock, where it told them.
func (f *frame) ranSince(now *pb.RoundConditions) bool {
	if now.GetEngineStopped() == nil {
		return true // nobody knows when it stopped
	}
	return now.GetEngineStopped().AsTime().After(f.interrupted())
}

// interrupted is when the round was interrupted, by the device's clock where it said.
func (f *frame) interrupted() time.Time {
	return timestampOr(f.changedDevice, f.changed)
}

func timestampOr(t *timestamppb.Timestamp, otherwise time.Time) time.Time {
	if t == nil {
		return otherwise
	}
	return t.AsTime()
}
