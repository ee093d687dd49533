package round

import (
	"context"
	"slices"
	"strings"
	"time"

	"bayround/internal/fault"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// KnownDefect is a defect that was open before this round, with what has become of it.
type KnownDefect struct {
	*pb.Defect
	By       string    // who found it, by the name that is spoken; empty when that is not known here
	Answered string    // who of the workshop has answered, likewise; empty while nobody has
	Planned  time.Time // by when it is expected to be put right; zero while nobody has answered
	InRound  bool      // its step is part of this round
	NotFound bool      // its step was found sound in this round, and it stays open
}

// compared is what the driver says of what was open, before the step is answered.
// Written out: the session file keeps it.
type compared string

const (
	comparedSame  compared = "same"
	comparedWorse compared = "worse"
	comparedGone  compared = "gone"
)

// knownAt are the defects open at a step that were found before this round. What
// stopped the vehicle is not among them: another person releases it.
func (d *Desk) knownAt(stepID string) (all []*pb.Defect) {
	for _, defect := range d.scene.readiness[d.session.Vehicle].GetOpenDefects() {
		before := defect.GetRound() != d.session.Round && defect.GetStop() == nil
		if before && verdict.IsOpen(defect) && defect.GetStepId() == stepID {
			all = append(all, defect)
		}
	}
	return all
}

// asksKnown tells that the driver is asked first whether what was open is the same,
// worse or gone. Where a number is read, that number says so.
func (d *Desk) asksKnown(step *pb.CheckStep) bool {
	s := d.session
	return step.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_CONDITION && s.Draft.Compared == "" && len(s.Draft.Seen) == 0 &&
		s.Cure == nil && len(d.knownAt(step.GetStepId())) > 0
}

// compare takes what the driver says of what was open at the step. Same touches the
// conditions that it was found by, and no other; they are still to be recorded. Worse
// and gone ask the step as if nothing were known.
func (d *Desk) compare(_ context.Context, a Act) error {
	step, err := d.lit()
	if err != nil {
		return err
	}
	next := draft{Note: d.session.Draft.Note, Photos: d.session.Draft.Photos, Alone: d.session.Draft.Alone, Proof: d.session.Draft.Proof}
	switch how := compared(a.Values["how"]); how {
	case comparedWorse, comparedGone:
		next.Compared = how
	case comparedSame:
		next.Compared = how
		for _, id := range d.conditionsOf(step) {
			if next, err = next.withSeen(step, id); err != nil {
				return err
			}
		}
		if len(next.Seen) == 0 {
			return fault.New(fault.Precondition, "SAME_NOT_SAYABLE", "what was found here before is no answer to this step any more; say what is seen now")
		}
	default:
		return fault.New(fault.Invalid, "COMPARED_UNKNOWN", "say whether it is the same, worse or gone")
	}
	d.amend(next)
	return nil
}

// conditionsOf are the conditions of a step by which what is open there was found, each once.
func (d *Desk) conditionsOf(step *pb.CheckStep) (ids []string) {
	for _, defect := range d.knownAt(step.GetStepId()) {
		for _, f := range defect.GetFindings() {
			for _, c := range step.GetConditions() {
				if f.GetFault() != "" && c.GetFault() == f.GetFault() && !slices.Contains(ids, c.GetId()) {
					ids = append(ids, c.GetId())
				}
			}
		}
	}
	return ids
}

// comparedNote is the note of an answer, led by what the driver said of what was open.
func (d draft) comparedNote(note string) string {
	if d.Compared != comparedWorse {
		return note
	}
	return strings.TrimSuffix("worse than before: "+note, ": ")
}

// known says of defects what has become of them.
func (d *Desk) known(defects []*pb.Defect, marks []Mark) (all []KnownDefect) {
	for _, defect := range defects {
		one := KnownDefect{Defect: defect, By: d.scene.person(defect.GetFoundBy()).GetTitle()}
		if answer := defect.GetAcknowledgement(); answer != nil {
			one.Answered, one.Planned = d.scene.person(answer.GetPerson()).GetTitle(), answer.GetPlanned().AsTime()
		}
		if at := placeOf(marks, defect.GetStepId()); at >= 0 {
			one.InRound = true
			one.NotFound = verdict.IsOpen(defect) && marks[at].Answer != "" && d.soundHere(defect.GetStepId())
		}
		all = append(all, one)
	}
	return all
}

// soundHere tells that the newest answer of this round to a step found nothing there.
func (d *Desk) soundHere(stepID string) bool {
	last := d.scene.stepOf(stepID).GetLast()
	if last.GetRound() != d.session.Round || last.GetNotChecked() != nil {
		return false
	}
	return !slices.ContainsFunc(d.scene.readiness[d.session.Vehicle].GetOpenDefects(), func(o *pb.Defect) bool {
		return o.GetStepId() == stepID && o.GetRound() == d.session.Round
	})
}

// knownBefore are the open defects of a vehicle that were not found in this round.
func (d *Desk) knownBefore(ready *pb.Readiness) (all []*pb.Defect) {
	for _, defect := range ready.GetOpenDefects() {
		if defect.GetStop() == nil && defect.GetRound() != d.session.Round {
			all = append(all, defect)
		}
	}
	return all
}
