package verdict

import (
	"time"

	pb "bayround/proto/bayround/v1"
)

// proven is the cause of a step that does prove something.
const proven = pb.UnprovenCause_UNPROVEN_CAUSE_UNSPECIFIED

// prover tells of one step after the other what it proves at one instant.
type prover struct {
	in        *Input
	at        time.Time
	rectified bool // some defect waits to be checked again: only then need they be searched
}

func newProver(in *Input, at time.Time) prover {
	p := prover{in: in, at: at}
	for _, d := range in.Defects {
		p.rectified = p.rectified || awaitsCheck(d)
	}
	return p
}

// prove returns proven and the instant from which the step will prove nothing
// more; or why it proves nothing, and since when, zero where nobody can say.
func (p prover) prove(step *pb.CheckStep) (pb.UnprovenCause, time.Time) {
	if p.rectified {
		if since, found := repairedAt(p.in.Defects, step.GetStepId()); found {
			return pb.UnprovenCause_UNPROVEN_CAUSE_REPAIRED_SINCE, since
		}
	}
	a := p.in.Latest[step.GetStepId()]
	switch {
	case a == nil || a.Newest == nil && a.Real == nil:
		return pb.UnprovenCause_UNPROVEN_CAUSE_NEVER_ANSWERED, time.Time{}
	case a.Real == nil:
		return pb.UnprovenCause_UNPROVEN_CAUSE_NOT_CHECKED, a.Newest.GetStationTime().AsTime()
	}
	return p.proveReal(step, a)
}

// proveReal is prove for a step that has a real answer.
func (p prover) proveReal(step *pb.CheckStep, a *Answer) (pb.UnprovenCause, time.Time) {
	given := Looked(a.Real)
	if given.Before(a.VoidBefore) {
		return pb.UnprovenCause_UNPROVEN_CAUSE_REPAIRED_SINCE, a.VoidBefore
	}
	if t := p.in.Takeover; t.asks(step.GetStepId()) && t.voids(given) {
		return pb.UnprovenCause_UNPROVEN_CAUSE_TAKEN_OVER_SINCE, t.from
	}
	expires := given.Add(step.GetGoodFor().AsDuration())
	if a.RealFits && p.at.Before(expires) {
		return proven, expires
	}
	if a.Newest.GetNotChecked() != nil {
		since := a.Newest.GetStationTime().AsTime()
		if a.RealFits && expires.After(since) {
			since = expires // until then the earlier answer still held
		}
		return pb.UnprovenCause_UNPROVEN_CAUSE_NOT_CHECKED, since
	}
	if !a.RealFits {
		return pb.UnprovenCause_UNPROVEN_CAUSE_ANSWER_DOES_NOT_FIT, time.Time{}
	}
	return pb.UnprovenCause_UNPROVEN_CAUSE_STALE, expires
}

// Looked returns when somebody looked, in the station's time; that is when the
// result was recorded where the station has not said that it came late.
func Looked(r *pb.Result) time.Time {
	if r.GetLookedAt() != nil {
		return r.GetLookedAt().AsTime()
	}
	return r.GetStationTime().AsTime()
}

// repairedAt returns when the newest repair at a step was recorded that still
// waits to be checked.
func repairedAt(defects []*pb.Defect, stepID string) (newest time.Time, found bool) {
	for _, d := range defects {
		if !awaitsCheck(d) || d.GetStepId() != stepID {
			continue
		}
		found = true
		if d.GetRepair().GetStationTime() == nil {
			continue
		}
		if t := d.GetRepair().GetStationTime().AsTime(); t.After(newest) {
			newest = t
		}
	}
	return newest, found
}
