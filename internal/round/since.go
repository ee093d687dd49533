package round

import (
	"context"
	"slices"
	"time"

	"bayround/internal/fault"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// handOverWaits is how long a hand-over that nobody has taken over yet can be gone back to.
// Source: common practice; a rota brings everybody back within eight days.
const handOverWaits = 8 * 24 * time.Hour

// openThing is one thing that a hand-over said was open: a check, a defect or a step.
type openThing struct {
	Routine string    `json:"routine,omitempty"` // routines/{routine}
	Due     time.Time `json:"due,omitzero"`      // when the check fell or falls due; zero when nobody knew
	Defect  string    `json:"defect,omitempty"`
	Step    string    `json:"step,omitempty"` // not checked, or left open
	Words   string    `json:"words"`
}

// open is what the hand-over says is open.
func (h handover) open() (all []openThing) {
	for _, d := range h.duesInWatch() {
		one := openThing{Routine: d.GetRoutine(), Words: d.GetText()}
		if d.GetDue() != nil {
			one.Due = d.GetDue().AsTime()
		}
		all = append(all, one)
	}
	for _, d := range h.readiness.GetOpenDefects() {
		all = append(all, openThing{Defect: d.GetName(), Words: h.title(d.GetStepId()) + ": " + sayDefect(d)})
	}
	for _, s := range h.steps {
		answered := slices.Contains(h.round.GetAnsweredSteps(), s.GetStepId())
		if !answered || s.GetLast().GetNotChecked() != nil {
			all = append(all, openThing{Step: s.GetStepId(), Words: s.GetTitle()})
		}
	}
	return all
}

// since tells what has become of the open things of a hand-over, and what is new.
func (c closed) since(ready *pb.Readiness, steps []*pb.CheckStep) (lines []string) {
	var known []string
	for _, one := range c.Open {
		if one.Defect != "" {
			known = append(known, one.Defect)
		}
		switch {
		case one.Routine != "" && one.done(ready):
			lines = append(lines, "done: "+one.Words)
		case one.Defect != "" && !openNow(ready, one.Defect):
			lines = append(lines, "put right: "+one.Words)
		case one.Step != "" && lookedSince(steps, one.Step, c.At):
			lines = append(lines, "checked: "+one.Words)
		}
	}
	for _, d := range ready.GetOpenDefects() {
		if !slices.Contains(known, d.GetName()) {
			lines = append(lines, "found: "+sayDefect(d))
		}
	}
	return lines
}

// done tells that a check is due no more, or for a later time only.
func (o openThing) done(ready *pb.Readiness) bool {
	at := slices.IndexFunc(ready.GetRoutineDues(), func(d *pb.RoutineDue) bool { return d.GetRoutine() == o.Routine })
	if at < 0 {
		return false // nobody knows
	}
	d := ready.GetRoutineDues()[at]
	return d.GetState() < pb.DueState_DUE_STATE_DUE && (d.GetDue() == nil || d.GetDue().AsTime().After(o.Due))
}

func openNow(ready *pb.Readiness, defect string) bool {
	return slices.ContainsFunc(ready.GetOpenDefects(), func(d *pb.Defect) bool { return d.GetName() == defect })
}

func lookedSince(steps []*pb.CheckStep, id string, at time.Time) bool {
	return slices.ContainsFunc(steps, func(s *pb.CheckStep) bool {
		last := s.GetLast()
		return s.GetStepId() == id && last != nil && last.GetNotChecked() == nil && verdict.Looked(last).After(at)
	})
}

// handedOn are the newest hand-overs of the vehicles, the one in hand among them.
func (s *session) handedOn(now time.Time) []closed {
	all := slices.DeleteFunc(slices.Clone(s.HandOvers), func(c closed) bool {
		return s.Closed != nil && c.Vehicle == s.Closed.Vehicle || now.Sub(c.At) > handOverWaits
	})
	if s.Closed != nil {
		all = append(all, *s.Closed)
	}
	return all
}

// handOverOf is the hand-over of a vehicle that waits for who takes over; nil when none does.
func (d *Desk) handOverOf(vehicle string) *closed {
	for _, c := range d.session.HandOvers {
		newer := d.scene.readiness[vehicle].GetHandOver().GetOnComingConfirmed()
		if c.Vehicle != vehicle || c.TakenBy != "" || d.now().Sub(c.At) > handOverWaits || newer != nil && newer.AsTime().After(c.At) {
			continue
		}
		return &c
	}
	return nil
}

// openHandOver goes back to a hand-over that nobody has taken over yet.
func (d *Desk) openHandOver(ctx context.Context, a Act) error {
	c := d.handOverOf(a.Values["vehicle"])
	if c == nil {
		return fault.New(fault.NotFound, "NO_HAND_OVER", "no hand-over of this vehicle waits here; it was taken over, or a newer round has ended")
	}
	if _, err := d.twin.GetRound(ctx, &pb.GetRoundRequest{Name: c.Round}); err != nil {
		return err
	}
	s := d.session
	s.leaveRound()
	s.Phase, s.Vehicle, s.Routine, s.Round, s.Closed, d.stale = PhaseHandover, c.Vehicle, c.Routine, c.Round, c, true
	return nil
}
