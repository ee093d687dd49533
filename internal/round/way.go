package round

import (
	"context"
	"fmt"
	"slices"

	pb "bayround/proto/bayround/v1"
)

// way is the order in which the steps of a round are asked from some moment on, where
// that is not the plan's. It is made when something has disturbed the walk, never for an
// answer alone, and is kept in the session: a tablet that starts again goes on in it.
// Steps that it does not name come behind, in the plan's order, so that none is lost.
type way struct {
	Steps   []string `json:"steps,omitempty"`   // none: the planner could not say, and the plan's order holds
	Alone   bool     `json:"alone,omitempty"`   // for whom it was made
	Waiting []string `json:"waiting,omitempty"` // for a cold engine when it was made
	Short   bool     `json:"short,omitempty"`   // of a short round

	At   string   `json:"at,omitempty"`   // step at which the driver stood
	Done []string `json:"done,omitempty"` // steps that it does not lead to

	Why  whyNewWay `json:"why,omitempty"`  // said to the driver; nothing where the order is what it was
	Told string    `json:"told,omitempty"` // step at which it is said
}

// whyNewWay is what has disturbed a walk. Written out: the session file keeps it.
type whyNewWay string

const (
	undisturbed whyNewWay = ""
	whyRun      whyNewWay = "run"      // the vehicle was out
	whyAlone    whyNewWay = "alone"    // nobody assists any more
	whyAssisted whyNewWay = "assisted" // somebody does
	whyWarm     whyNewWay = "warm"     // steps wait for a cold engine
	whyCold     whyNewWay = "cold"     // they do so no longer
	whyTakenUp  whyNewWay = "taken-up" // the round was left and is gone on with, not in the usual order
	whyShort    whyNewWay = "short"    // there is no time for some steps
	whyWhole    whyNewWay = "whole"    // there is
	whyAstray   whyNewWay = "astray"   // another step was answered than the one asked
)

// said is what the driver reads of it.
func (w whyNewWay) said() string {
	switch w {
	case whyRun:
		return "the vehicle was out"
	case whyTakenUp:
		return "the round was left in between"
	case whyAlone:
		return "nobody assists"
	case whyAssisted:
		return "somebody assists"
	case whyWarm:
		return "the engine is warm"
	case whyCold:
		return "the engine is cold"
	case whyShort:
		return "the time is short"
	case whyWhole:
		return "what was left out follows"
	case whyAstray:
		return "a step was passed by"
	}
	return ""
}

// order puts steps of a plan in the order of the way.
func (w *way) order(steps []*pb.CheckStep) []*pb.CheckStep {
	if w == nil || len(w.Steps) == 0 {
		return steps
	}
	turn := make(map[string]int, len(w.Steps))
	for i, id := range w.Steps {
		turn[id] = i - len(w.Steps)
	}
	ordered := slices.Clone(steps)
	slices.SortStableFunc(ordered, func(a, b *pb.CheckStep) int { return turn[a.GetStepId()] - turn[b.GetStepId()] })
	return ordered
}

// disturbed tells what has changed about a walk since its way was made.
func (w *way) disturbed(alone, short bool, marks []Mark) whyNewWay {
	if w == nil {
		w = &way{}
	}
	switch {
	case alone && !w.Alone:
		return whyAlone
	case !alone && w.Alone:
		return whyAssisted
	case short && !w.Short:
		return whyShort
	case !short && w.Short:
		return whyWhole
	}
	for _, m := range marks {
		switch waited := slices.Contains(w.Waiting, m.StepID); {
		case m.State == MarkCold && !waited:
			return whyWarm
		case m.State.toDo() && waited:
			return whyCold
		}
	}
	return undisturbed
}

// plot makes the way anew where the walk was disturbed, from the step at which the driver
// stands. A step that is lit stays so and comes first. Where the planner refuses, the
// round goes on in the plan's order: the walk is longer, and nothing of it is lost.
func (d *Desk) plot(ctx context.Context, at, lit string, why whyNewWay) {
	s := d.session
	marks := d.scene.walk(s, d.now()).marks()
	if why == undisturbed {
		why = s.Way.disturbed(s.Assistant == "", len(s.LeftOut) > 0, marks)
	}
	if why == undisturbed {
		return
	}
	before, anew := ahead(marks, at, lit), why == whyRun || why == whyTakenUp
	made := &way{Alone: s.Assistant == "", Short: len(s.LeftOut) > 0, At: at}
	open := map[string]bool{}
	for _, m := range marks {
		switch {
		case m.State == MarkCold:
			made.Waiting = append(made.Waiting, m.StepID)
			made.Done = append(made.Done, m.StepID)
		case m.NoTime && m.State.toDo():
			made.Done = append(made.Done, m.StepID)
		case m.State.toDo() && m.StepID != lit:
			open[m.StepID] = true
		case at != "" || m.StepID == lit || anew: // from the beginning the usual order holds, whatever is done of it
			made.Done = append(made.Done, m.StepID)
		}
	}
	s.Way = made
	sc := *d.scene
	d.lookAtWalk(ctx, &sc)
	d.scene = &sc
	if d.scene.way != nil {
		made.Steps = d.turns(marks, at, lit, open)
	}
	after := ahead(d.scene.walk(s, d.now()).marks(), at, lit)
	if (at != "" || anew) && !slices.Equal(before, after) { // nobody knows another order before
		made.Why, made.Told = why, lit
	}
}

// astray tells that an answer is not to the step that was asked, or that was lit when the
// way was made and still waits, but to another.
func (d *Desk) astray(step string) bool {
	s := d.session
	if s.Correct || s.Cure != nil {
		return false
	}
	return s.Asked != step || s.Way != nil && s.Way.At != step && d.waits(s.Way.At)
}

// waits tells that a step has no answer yet, can be given one now and is part of this walk.
func (d *Desk) waits(step string) bool {
	marks := d.scene.walk(d.session, d.now()).marks()
	i := placeOf(marks, step)
	return i >= 0 && marks[i].State.toDo() && !marks[i].NoTime
}

// gapped tells that something waits before what was answered.
func gapped(marks []Mark) bool {
	waits := false
	for _, m := range marks {
		if waits && m.Answer != "" && !m.State.toDo() && m.State != MarkCold {
			return true
		}
		waits = waits || m.State.toDo()
	}
	return false
}

// ahead are the steps that are asked after another.
func ahead(marks []Mark, at, lit string) (ids []string) {
	from := placeOf(marks, at) + 1
	for _, m := range slices.Concat(marks[from:], marks[:from]) {
		if m.State.toDo() && !m.NoTime && m.StepID != lit {
			ids = append(ids, m.StepID)
		}
	}
	return ids
}

// turns are all steps of a round in the order of the walk that the planner found: what is
// done, what is lit, the walk, and what the walk does not come to. That stands before the
// stop at which the check is closed, where the vehicle is still open; what there is no time
// for stands behind.
func (d *Desk) turns(marks []Mark, at, lit string, open map[string]bool) []string {
	var done, last, walked, others, noTime []string
	for _, h := range d.scene.way.GetHalts() {
		for _, id := range h.GetStepIds() {
			if open[id] {
				walked = append(walked, id)
				delete(open, id)
			}
		}
	}
	for _, m := range marks {
		switch id := m.StepID; {
		case m.State == MarkCold || open[id]:
			others = append(others, id)
		case m.NoTime && m.State.toDo():
			noTime = append(noTime, id)
		case slices.Contains(walked, id):
		case id == at || id == lit:
			last = append(last, id)
		default:
			done = append(done, id)
		}
	}
	walked = d.scene.putOff(walked, d.session.Passed)
	closing := len(walked)
	for closing > 0 && d.scene.stepOf(walked[closing-1]).GetStop() == d.scene.closing {
		closing--
	}
	return slices.Concat(done, last, walked[:closing], others, walked[closing:], noTime)
}

// putOff moves steps that were passed by as far back as may be: before what must come
// after them, and before the state of the vehicle is changed.
func (sc *scene) putOff(walked, passed []string) []string {
	var turns, held []string
	for _, id := range walked {
		if slices.Contains(passed, id) {
			held = append(held, id)
			continue
		}
		for i := len(held) - 1; i >= 0; i-- {
			if then := sc.stepOf(id); sc.comesAfter(then, sc.stepOf(held[i])) || !sameState(then, sc.stepOf(held[i])) {
				turns, held = append(turns, held[:i+1]...), held[i+1:]
				break
			}
		}
		turns = append(turns, id)
	}
	return append(turns, held...)
}

// comesAfter tells that a step is done after another where both are due.
func (sc *scene) comesAfter(then, first *pb.CheckStep) bool {
	return then.GetItem() != first.GetItem() && slices.Contains(sc.after[then.GetItem()], first.GetItem())
}

// sameState tells that nothing is started, switched or asked of an assistant between two steps.
func sameState(a, b *pb.CheckStep) bool {
	return running(a) == running(b) && a.GetState().GetIgnitionOn() == b.GetState().GetIgnitionOn() && a.GetState().GetAssistant() == b.GetState().GetAssistant()
}

func running(step *pb.CheckStep) pb.EngineState {
	switch e := step.GetState().GetEngine(); e {
	case pb.EngineState_ENGINE_STATE_COLD_START, pb.EngineState_ENGINE_STATE_RUNNING, pb.EngineState_ENGINE_STATE_RUNNING_WARM:
		return e
	}
	return pb.EngineState_ENGINE_STATE_UNSPECIFIED
}

// following is the step to be lit after another, by its place; -1 when nothing can be done
// now. What must come after a step that waits is held back for it, unless nothing else is
// left; a step that cannot be done alone holds nothing back from whoever is alone.
func (d *Desk) following(marks []Mark, after string) int {
	s := d.session
	resumed := s.BrokeOff
	if s.Way != nil && len(s.Way.Steps) > 0 {
		resumed = 0 // the way knows
	}
	marks = slices.Clone(marks)
	waiting := map[string]bool{} // items
	for i, m := range marks {
		if m.NoTime {
			marks[i].State = MarkNotChecked // not in this walk
			continue
		}
		step := d.scene.stepOf(m.StepID)
		if m.State.toDo() && (s.Assistant != "" || !notAlone(step) || slices.Contains(s.Passed, m.StepID)) {
			waiting[step.GetItem()] = true
		}
	}
	ready := slices.Clone(marks)
	for i, m := range marks {
		item := d.scene.stepOf(m.StepID).GetItem()
		if slices.ContainsFunc(d.scene.after[item], func(first string) bool { return first != item && waiting[first] }) {
			ready[i].State = MarkNotChecked
		}
	}
	at := placeOf(marks, after)
	if i := next(ready, at, resumed); i >= 0 {
		return i
	}
	return next(marks, at, resumed)
}

// lookAtWalk asks for the way through what is left of the plan, or through all of it, when
// it may be another than before.
func (d *Desk) lookAtWalk(ctx context.Context, sc *scene) {
	s := d.session
	req := &pb.GetWalkRequest{Vehicle: s.Vehicle, Routine: s.Routine, Alone: s.Assistant == "", WithItems: sc.with}
	if s.Way != nil {
		req.Alone, req.AtStep, req.Done = s.Way.Alone, s.Way.At, s.Way.Done
	}
	of := fmt.Sprint(req.GetVehicle(), sc.plan.GetDigest(), req.GetAlone(), req.GetAtStep(), req.GetDone())
	if sc.wayOf == of {
		return
	}
	sc.way, sc.wayOf = nil, of
	resp, err := d.twin.GetWalk(context.WithoutCancel(ctx), req)
	if err != nil {
		d.log.Warn("the way through what is left is not known; the round goes on in the order of its plan", "vehicle", s.Vehicle, "cause", err)
		return
	}
	sc.way = resp.GetWalk()
}
