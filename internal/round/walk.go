package round

import (
	"slices"
	"time"

	pb "bayround/proto/bayround/v1"
)

// walk is what the marks of a round follow from.
type walk struct {
	steps    []*pb.CheckStep // in walking order, each with its newest result
	answered map[string]bool // in this round
	again    map[string]bool // to be asked again after a run
	found    map[string]bool // something is open there
	noTime   []string        // left out of a short round
	engine   engine
	now      time.Time
}

// marks are the steps of the walk.
func (w walk) marks() []Mark {
	stops := stopsOf(w.steps)
	marks := make([]Mark, len(w.steps))
	for i, step := range w.steps {
		id := step.GetStepId()
		marks[i] = Mark{StepID: id, Title: step.GetTitle(), Place: step.GetPlace(), State: w.state(step), Stop: stops[i], NoTime: slices.Contains(w.noTime, id)}
		if w.answered[id] {
			marks[i].Answer = answerWords(step, step.GetLast())
			marks[i].Photos, marks[i].At = step.GetLast().GetPhotos(), step.GetLast().GetDeviceTime().AsTime()
		}
	}
	return marks
}

func (w walk) state(step *pb.CheckStep) MarkState {
	id := step.GetStepId()
	if w.answered[id] && !w.again[id] {
		switch {
		case step.GetLast().GetNotChecked() != nil:
			return MarkNotChecked
		case w.found[id] || faultSeen(step, step.GetLast()):
			return MarkFault
		}
		return MarkAnswered
	}
	if w.engine.coldAt(step, w.now).After(w.now) {
		return MarkCold
	}
	if w.again[id] {
		return MarkAgain
	}
	return MarkOpen
}

// faultSeen tells that a result names a fault.
func faultSeen(step *pb.CheckStep, r *pb.Result) bool {
	if len(r.GetAlsoSeen()) > 0 {
		return true
	}
	return slices.ContainsFunc(r.GetSeen().GetConditions(), func(c *pb.ConditionSeen) bool {
		known := conditionOf(step, c.GetCondition())
		return known != nil && !known.GetSound()
	})
}

// stopsOf gives each step the number of its halt: a new one wherever the stop
// changes, for a walk may come to a stop twice.
func stopsOf(steps []*pb.CheckStep) []int {
	numbers := make([]int, len(steps))
	for i := 1; i < len(steps); i++ {
		numbers[i] = numbers[i-1]
		if steps[i].GetStop() != steps[i-1].GetStop() {
			numbers[i]++
		}
	}
	return numbers
}

// stops are the halts of the walk.
func stops(steps []*pb.CheckStep, marks []Mark) []Stop {
	var all []Stop
	for i, m := range marks {
		if m.Stop == len(all) {
			all = append(all, Stop{Title: steps[i].GetStopTitle()})
		}
		all[m.Stop].Steps++
		if m.State.toDo() || m.State == MarkCold {
			all[m.Stop].Left++
		}
	}
	return all
}

// toDo tells that a step waits for nothing but the driver.
func (m MarkState) toDo() bool { return m == MarkOpen || m == MarkAgain }

// next is the step to be lit after another, by its place; -1 when nothing can be
// done now. The walk goes on from there and round to the beginning. After an
// interruption the first halt comes first, where it is asked anew, and then the
// halt at which the walk broke off.
func next(marks []Mark, after, resumed int) int {
	if len(marks) == 0 {
		return -1
	}
	first := marks[max(after, 0)].Stop == 0 && resumed > 0
	if first {
		if i := firstToDo(marks, after+1, func(m Mark) bool { return m.Stop == 0 }); i >= 0 {
			return i
		}
		if i := firstToDo(marks, 0, func(m Mark) bool { return m.Stop >= resumed }); i >= 0 {
			return i
		}
	}
	if i := firstToDo(marks, after+1, func(Mark) bool { return true }); i >= 0 {
		return i
	}
	return firstToDo(marks, 0, func(Mark) bool { return true })
}

func firstToDo(marks []Mark, from int, wanted func(Mark) bool) int {
	for i := from; i < len(marks); i++ {
		if marks[i].State.toDo() && wanted(marks[i]) {
			return i
		}
	}
	return -1
}

// placeOf is where a step stands in the walk; -1 when it does not.
func placeOf(marks []Mark, stepID string) int {
	return slices.IndexFunc(marks, func(m Mark) bool { return m.StepID == stepID })
}
