package verdict

import (
	"slices"
	"time"

	pb "bayround/proto/bayround/v1"
)

// Takeover is the check that a vehicle needs since it took a call sign: every step of
// it must have an answer of somebody who looked since.
type Takeover struct {
	steps []*pb.CheckStep
	asked map[string]bool
	from  time.Time
}

// NewTakeover is a check of these steps, in walking order, that counts looks from an
// instant on.
func NewTakeover(steps []*pb.CheckStep, from time.Time) *Takeover {
	t := &Takeover{steps: steps, asked: make(map[string]bool, len(steps)), from: from}
	for _, s := range steps {
		t.asked[s.GetStepId()] = true
	}
	return t
}

// Whole tells that every step has such an answer; latest is as in Input.
func (t *Takeover) Whole(latest map[string]*Answer) bool {
	if t == nil {
		return true
	}
	for _, s := range t.steps {
		if !t.answeredBy(latest[s.GetStepId()]) {
			return false
		}
	}
	return true
}

func (t *Takeover) answeredBy(a *Answer) bool {
	return a != nil && a.Real != nil && a.RealFits && !t.voids(Looked(a.Real))
}

// voids tells that a look came too early for the check.
func (t *Takeover) voids(looked time.Time) bool { return looked.Before(t.from) }

// asks tells that a step is one of the check.
func (t *Takeover) asks(stepID string) bool { return t != nil && t.asked[stepID] }

// title is the words for a step of the check; empty for any other.
func (t *Takeover) title(stepID string) string {
	if !t.asks(stepID) {
		return ""
	}
	i := slices.IndexFunc(t.steps, func(s *pb.CheckStep) bool { return s.GetStepId() == stepID })
	return t.steps[i].GetTitle()
}

// unproven is a step of the check that proves nothing; nil when it does.
func (t *Takeover) unproven(s *pb.CheckStep, a *Answer) *pb.UnprovenStep {
	if t.answeredBy(a) {
		return nil
	}
	u := &pb.UnprovenStep{StepId: s.GetStepId(), Title: s.GetTitle(), MustNotMiss: s.GetMustNotMiss(), Cause: pb.UnprovenCause_UNPROVEN_CAUSE_NEVER_ANSWERED}
	switch {
	case a == nil || a.Real == nil && a.Newest == nil:
	case a.Real == nil:
		u.Cause, u.Since = pb.UnprovenCause_UNPROVEN_CAUSE_NOT_CHECKED, a.Newest.GetStationTime()
	case t.voids(Looked(a.Real)):
		u.Cause, u.Since = pb.UnprovenCause_UNPROVEN_CAUSE_TAKEN_OVER_SINCE, timestamp(t.from)
	default:
		u.Cause = pb.UnprovenCause_UNPROVEN_CAUSE_ANSWER_DOES_NOT_FIT
	}
	return u
}

// takeoverBesides returns the steps of the check that are not required otherwise and
// prove nothing, in walking order.
func takeoverBesides(in *Input, w walk) (steps []*pb.UnprovenStep) {
	if in.Takeover == nil {
		return nil
	}
	for _, s := range in.Takeover.steps {
		if _, required := w.at[s.GetStepId()]; required {
			continue
		}
		if u := in.Takeover.unproven(s, in.Latest[s.GetStepId()]); u != nil {
			steps = append(steps, u)
		}
	}
	return steps
}

// Spoken is a vehicle's call sign as people say it: the one it answers to, with its
// own after it where that is another; in brackets when another vehicle answers to it.
func Spoken(r *pb.Readiness) string {
	switch {
	case r.GetAnswersTo() == r.GetCallSign() || r.GetHolding() == nil:
		return r.GetCallSign()
	case r.GetAnswersTo() == "":
		return "(" + r.GetCallSign() + ")"
	}
	return r.GetAnswersTo() + " (" + r.GetCallSign() + ")"
}

// PlaceWords say in whose place a vehicle stands, or that another stands in its own;
// empty for one under its own call sign.
func PlaceWords(r *pb.Readiness) string {
	switch {
	case r.GetAnswersTo() == r.GetCallSign() || r.GetHolding() == nil:
		return ""
	case r.GetAnswersTo() == "":
		return "another vehicle answers to " + r.GetCallSign()
	}
	return "answers to " + r.GetAnswersTo()
}

// AnswersTo is the call sign that a vehicle answers to; empty when another vehicle
// answers to its own. holding is nil when it has always been its own.
func AnswersTo(v *pb.VehicleConfiguration, holding *pb.CallSignHolding) string {
	if holding == nil || holding.GetOwn() {
		return v.GetCallSign()
	}
	return holding.GetAnswersTo()
}
