package round

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// beginCure starts the new reading after something was put right. What was found
// stays in the record.
func (d *Desk) beginCure(_ context.Context, a Act) error {
	s := d.session
	found, err := d.foundBy(a)
	if err != nil {
		return err
	}
	done := strings.TrimSpace(a.Values["done"])
	if done == "" || len([]rune(done)) > 200 {
		return fault.New(fault.Invalid, "CURE_WRONG", "say in a few words what was done, for instance: topped up")
	}
	amount, err := amountOf(a.Values["amount"])
	if err != nil {
		return err
	}
	step := d.scene.stepOf(found.StepID)
	response, err := found.response()
	if step == nil || err != nil {
		return errors.Join(err, fault.New(fault.NotFound, "STEP_UNKNOWN", "this step is not in the round"))
	}
	s.Step = ""
	s.light(step.GetStepId(), d.wall())
	s.Cure = &cure{Found: *found, Result: response.GetResultId(), Done: done, Amount: amount, Unit: a.Values["unit"]}
	return nil
}

// foundBy is what an act puts right: what was found last, or at the step that it names.
func (d *Desk) foundBy(a Act) (*given, error) {
	found := d.session.Given
	if id := a.Values["step"]; id != "" {
		step := d.scene.stepOf(id)
		if step == nil {
			return nil, fault.New(fault.NotFound, "STEP_UNKNOWN", "this step is not in the round")
		}
		var err error
		if found, err = d.foundAt(step); err != nil {
			return nil, err
		}
	}
	switch {
	case found == nil:
		return nil, fault.New(fault.Precondition, "CURE_OF_NOTHING", "record first what was found, then what was put right")
	case !found.CanCure:
		return nil, fault.New(fault.Precondition, "NOTHING_TO_CURE", "nothing that can be put right on the spot was found at %q; what was found there stays open until it is repaired", found.Title)
	}
	return found, nil
}

// foundAt is the newest answer of a step in this round, as if it had just been given;
// nil when nobody has looked there in it.
func (d *Desk) foundAt(step *pb.CheckStep) (*given, error) {
	last := step.GetLast()
	if last == nil || last.GetRound() != d.session.Round || last.GetNotChecked() != nil {
		return nil, nil
	}
	response, err := proto.Marshal(&pb.RecordResultResponse{ResultId: last.GetResultId()})
	if err != nil {
		return nil, fmt.Errorf("keep what was found at %s: %w", step.GetStepId(), err)
	}
	return &given{
		StepID: step.GetStepId(), Title: step.GetTitle(), Answer: answerWords(step, last), Response: response,
		CanCure: d.canCure(step, last, d.findingsAt(step.GetStepId())), At: d.now().Round(0),
	}, nil
}

// findingsAt are those of the defects that are open at a step.
func (d *Desk) findingsAt(stepID string) (all []*pb.Finding) {
	for _, defect := range d.scene.readiness[d.session.Vehicle].GetOpenDefects() {
		if defect.GetStepId() == stepID && verdict.IsOpen(defect) {
			all = append(all, defect.GetFindings()...)
		}
	}
	return all
}

// canCureNow tells that what was found at a step earlier in the round can be put right
// and read again.
func (d *Desk) canCureNow(step *pb.CheckStep) bool {
	if !d.session.Correct || d.session.Cure != nil {
		return false
	}
	found, err := d.foundAt(step)
	return err == nil && found != nil && found.CanCure
}

// amountOf reads how much was used; nothing is 0.
func amountOf(text string) (float64, error) {
	text = strings.TrimSpace(text)
	if text == "" {
		return 0, nil
	}
	x, whole := number(text)
	if !whole || x < 0 {
		return 0, fault.New(fault.Invalid, "AMOUNT_WRONG", "an amount is a number from 0; leave it empty when nothing was used")
	}
	return x, nil
}

// endCure leaves what was found as it is.
func (d *Desk) endCure(ctx context.Context, _ Act) error {
	s := d.session
	if s.Cure == nil {
		return fault.New(fault.Precondition, "NO_CURE", "nothing is being put right")
	}
	at := s.Step
	s.Cure, s.Step = nil, ""
	return d.goOn(ctx, at, undisturbed)
}

// message is the cure as it is recorded; nil when there is none for the step.
func (c *cure) message(step *pb.CheckStep) *pb.Cure {
	if c == nil || c.Found.StepID != step.GetStepId() {
		return nil
	}
	m := &pb.Cure{FoundResultId: c.Result, Done: c.Done, Amount: c.Amount}
	if c.Amount > 0 {
		m.Unit = c.Unit
	}
	return m
}
