package plan

import (
	"cmp"
	"slices"

	pb "bayround/proto/bayround/v1"
)

// phase is a stretch of the check in which neither engine nor ignition is
// touched. The numbers rise with time; each phase is entered once.
type phase int

const (
	phaseOff       phase = 1 // engine off, cold or not, ignition off
	phaseIgnition  phase = 2 // ignition on, engine not yet started
	phaseColdStart phase = 3 // the first start
	phaseRunning   phase = 4 // engine running
	phaseWarm      phase = 5 // engine running and warm
	phaseStopped   phase = 6 // engine off again, ignition on: what the running engine charged is let off
	phaseOffAgain  phase = 7 // ignition off again
	phaseClosing   phase = 8 // all put back
)

// condition is what a phase needs of the vehicle, and what is changed in the driver's seat.
type condition struct{ ignition, running bool }

func (p phase) condition() condition {
	switch p {
	case phaseIgnition, phaseStopped:
		return condition{ignition: true}
	case phaseColdStart, phaseRunning, phaseWarm:
		return condition{ignition: true, running: true}
	default:
		return condition{}
	}
}

// calendar knows in which phases the steps of a catalogue can be done.
type calendar struct {
	stops          map[string]int32 // position of each stop
	starts         map[string]bool  // stops at which the engine is started
	first, closing string           // the first stop, and the last, at which the check is closed
	items          map[string]*pb.Item
}

func newCalendar(c *pb.Catalogue) calendar {
	k := calendar{stops: make(map[string]int32, len(c.GetStops())), starts: startStops(c.GetItems()), items: make(map[string]*pb.Item, len(c.GetItems()))}
	for _, item := range c.GetItems() {
		k.items[item.GetId()] = item
	}
	stops := slices.SortedFunc(slices.Values(c.GetStops()), func(a, b *pb.Stop) int {
		return cmp.Or(cmp.Compare(a.GetOrder(), b.GetOrder()), cmp.Compare(a.GetId(), b.GetId()))
	})
	for _, stop := range stops {
		k.stops[stop.GetId()] = stop.GetOrder()
	}
	if len(stops) > 1 {
		k.first, k.closing = stops[0].GetId(), stops[len(stops)-1].GetId()
	}
	return k
}

// startStops returns the stops of the cold starts. All items count, not only
// those of this vehicle: what it has must not move the rest of its plan.
func startStops(items []*pb.Item) map[string]bool {
	starts := map[string]bool{}
	for _, item := range items {
		if item.GetState().GetEngine() == pb.EngineState_ENGINE_STATE_COLD_START {
			starts[item.GetStop()] = true
		}
	}
	return starts
}

// allowed returns the phases in which a step can be done, the earliest first.
// What wants the ignition on before the start is looked at before the stop of the
// start; an engine that is off there with the ignition on has run: an air test
// needs the system charged.
func (k calendar) allowed(step *pb.CheckStep) []phase {
	state := step.GetState()
	switch state.GetEngine() {
	case pb.EngineState_ENGINE_STATE_COLD_START:
		return []phase{phaseColdStart}
	case pb.EngineState_ENGINE_STATE_RUNNING:
		return []phase{phaseRunning, phaseWarm}
	case pb.EngineState_ENGINE_STATE_RUNNING_WARM:
		return []phase{phaseWarm}
	case pb.EngineState_ENGINE_STATE_COLD:
		if state.GetIgnitionOn() {
			return []phase{phaseIgnition}
		}
		return []phase{phaseOff}
	}
	closing := k.isClosing(step)
	switch {
	case closing && !state.GetIgnitionOn():
		return []phase{phaseClosing}
	case !state.GetIgnitionOn():
		return []phase{phaseOff, phaseOffAgain}
	case closing || k.starts[step.GetStop()]:
		return []phase{phaseStopped}
	}
	return []phase{phaseIgnition, phaseStopped}
}

func (k calendar) isFirst(step *pb.CheckStep) bool {
	return k.first != "" && step.GetStop() == k.first
}

func (k calendar) isClosing(step *pb.CheckStep) bool {
	return k.closing != "" && step.GetStop() == k.closing
}

// stopOf returns the position of a step's stop; behind all others when it is not known.
func (k calendar) stopOf(step *pb.CheckStep) int32 {
	if position, ok := k.stops[step.GetStop()]; ok {
		return position
	}
	return int32(^uint32(0) >> 1)
}

// assignPhases gives each task the earliest phase that its state allows and that
// what must be done before it leaves, none earlier than from where a later one is allowed;
// and notes which tasks of its own phase must come before it. What no
// phase allows is given up: a task whose precautions can only come later is done in
// the last phase it can be.
func (k calendar) assignPhases(tasks []task, from phase) {
	byItem := map[string][]int{}
	for i := range tasks {
		byItem[tasks[i].step.GetItem()] = append(byItem[tasks[i].step.GetItem()], i)
	}
	before := map[string][]string{}
	for id := range byItem {
		for _, other := range k.items[id].GetAfter() {
			if byItem[other] != nil && other != id {
				before[id] = append(before[id], other)
			}
		}
	}
	done := map[string]bool{}
	for _, id := range inTurn(byItem, before) {
		earliest := from
		for _, other := range before[id] {
			for _, i := range byItem[other] {
				if done[other] {
					earliest = max(earliest, tasks[i].phase)
				}
			}
		}
		for _, i := range byItem[id] {
			allowed := k.allowed(tasks[i].step)
			at := slices.IndexFunc(allowed, func(p phase) bool { return p >= earliest })
			if at < 0 {
				at = len(allowed) - 1
			}
			tasks[i].phase = allowed[at]
		}
		done[id] = true
		for _, other := range before[id] {
			k.precede(tasks, byItem[other], byItem[id], done[other])
		}
	}
}

// precede notes that some tasks come before others of the same phase.
func (k calendar) precede(tasks []task, first, then []int, possible bool) {
	for _, j := range then {
		for _, i := range first {
			if possible && tasks[i].phase == tasks[j].phase {
				tasks[j].before = append(tasks[j].before, i)
			}
		}
		slices.Sort(tasks[j].before)
	}
}

// inTurn returns items so that each comes behind those that must precede it, else by their
// ids. Where they go round in a circle, the first by id goes first.
func inTurn(items map[string][]int, before map[string][]string) []string {
	ids := make([]string, 0, len(items))
	for id := range items {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	place := make(map[string]int, len(ids))
	for i, id := range ids {
		place[id] = i
	}
	waits, behind := make([]int, len(ids)), make([][]int, len(ids)) // for how many others; and who waits for it
	for i, id := range ids {
		for _, other := range before[id] {
			waits[i]++
			behind[place[other]] = append(behind[place[other]], i)
		}
	}
	turn := make([]string, 0, len(ids))
	done := make([]bool, len(ids))
	for len(turn) < len(ids) {
		next := -1
		for i := range ids {
			if !done[i] && (next < 0 || waits[i] == 0) {
				next = i
			}
			if next == i && waits[i] == 0 {
				break
			}
		}
		done[next] = true
		turn = append(turn, ids[next])
		for _, i := range behind[next] {
			waits[i]--
		}
	}
	return turn
}
