package plan

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"bayround/internal/feature"
	pb "bayround/proto/bayround/v1"
)

// phase is a stretch of the check in which neither engine nor ignition is
// touched. The numbers rise with time.
type phase int

const (
	phaseOff       phase = 1 // engine off, cold or not, ignition off
	phaseIgnition  phase = 2 // ignition on, engine not yet started
	phaseColdStart phase = 3 // the first start
	phaseRunning   phase = 4 // engine running
	phaseWarm      phase = 5 // engine running and warm
	phaseStopped   phase = 6 // engine off again, ignition on: what the running engine charged is let off
	phaseClosing   phase = 7 // all put back
)

// walk is what the order of steps depends on beside the steps.
type walk struct {
	stops   map[string]int32 // position of each stop
	starts  map[string]bool  // stops at which the engine is started
	closing string           // the last stop, at which the check is closed
	ends    map[end]*pb.Point
	centre  *pb.Point
	half    *pb.Point // half the length and half the width
	start   float64   // turn at which the driver's door lies
}

// end is one end of an axle.
type end struct {
	axle int32
	side pb.Side
}

func newWalk(l *layout, c *pb.Catalogue) walk {
	o := l.outline()
	w := walk{
		stops:  make(map[string]int32, len(c.GetStops())),
		starts: startStops(c.GetItems()),
		ends:   make(map[end]*pb.Point, len(l.ends)),
		centre: &pb.Point{XM: o.along(0.5)},
		half:   &pb.Point{XM: (o.front - o.rear) / 2, YM: o.half},
	}
	last := int32(math.MinInt32)
	for _, stop := range c.GetStops() {
		w.stops[stop.GetId()] = stop.GetOrder()
		if stop.GetOrder() > last {
			last, w.closing = stop.GetOrder(), stop.GetId()
		}
	}
	for _, s := range l.ends {
		w.ends[end{s.axle, s.side}] = s.place.GetAt()
	}
	w.start = turn(l.door(o), w.centre, w.half)
	return w
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

// door returns the driver's door: the foremost cab door on that side, or where
// one would be; for a trailer the foremost corner on the offside.
func (l *layout) door(o outline) *pb.Point {
	var door *pb.Place
	for _, opening := range l.v.GetOpenings() {
		place, onSide := opening.GetPlace(), opening.GetSide() == l.v.GetDriverSide()
		if opening.GetKind() != pb.OpeningKind_OPENING_KIND_CAB_DOOR || !onSide {
			continue
		}
		if door == nil || cmp.Or(cmp.Compare(door.GetAt().GetXM(), place.GetAt().GetXM()), cmp.Compare(place.GetId(), door.GetId())) < 0 {
			door = place
		}
	}
	switch {
	case door != nil:
		return door.GetAt()
	case !feature.IsPowered(l.v):
		return &pb.Point{XM: o.front, YM: -o.half}
	}
	return &pb.Point{XM: o.along(0.15), YM: o.driver * o.half}
}

// turn returns how far round the vehicle a point lies from its front, by the
// nearside, 0 up to 4 for once round. It is a turn on a square and not an angle:
// it needs no function that two machines may round differently.
func turn(at, centre, half *pb.Point) float64 {
	x, y := (at.GetXM()-centre.GetXM())/half.GetXM(), (at.GetYM()-centre.GetYM())/half.GetYM()
	length := math.Abs(x) + math.Abs(y)
	switch {
	case length == 0 || math.IsNaN(length) || math.IsInf(length, 0):
		return 0
	case y >= 0:
		return 1 - x/length
	}
	return 3 + x/length
}

// fromDoor returns how far round from the driver's door a step lies. Both wheels
// of a twin pair lie where their axle ends.
func (w walk) fromDoor(step *pb.CheckStep) float64 {
	at := step.GetPlace().GetAt()
	if p, ok := w.ends[end{step.GetAxle(), step.GetSide()}]; ok {
		at = p
	}
	t := turn(at, w.centre, w.half) - w.start
	if t < 0 {
		t += 4
	}
	return t
}

// phaseOf returns when in the check a step can be done. What wants the ignition
// on before the start is looked at before the stop of the start; an engine that is
// off there with the ignition on has run: an air test needs the system charged.
func (w walk) phaseOf(step *pb.CheckStep) phase {
	switch state := step.GetState(); state.GetEngine() {
	case pb.EngineState_ENGINE_STATE_COLD_START:
		return phaseColdStart
	case pb.EngineState_ENGINE_STATE_RUNNING:
		return phaseRunning
	case pb.EngineState_ENGINE_STATE_RUNNING_WARM:
		return phaseWarm
	case pb.EngineState_ENGINE_STATE_COLD:
		if state.GetIgnitionOn() {
			return phaseIgnition
		}
		return phaseOff
	default:
		if step.GetStop() == w.closing && len(w.stops) > 1 {
			return phaseClosing
		}
		if !state.GetIgnitionOn() {
			return phaseOff
		}
		if w.starts[step.GetStop()] {
			return phaseStopped
		}
		return phaseIgnition
	}
}

// stopOf returns the position of a step's stop; behind all others when it is not known.
func (w walk) stopOf(step *pb.CheckStep) int32 {
	if position, ok := w.stops[step.GetStop()]; ok {
		return position
	}
	return math.MaxInt32
}

// standing is where one step stands among the others, dearest change first.
type standing struct {
	step     *pb.CheckStep
	phase    phase
	assisted int // steps with the assistant lie together
	stop     int32
	stopID   string // two stops may share a position
	routine  int    // must-not-miss first
	circuit  string // lamps of one circuit together
	fromDoor float64
}

func compareStandings(a, b standing) int {
	return cmp.Or(
		cmp.Compare(a.phase, b.phase),
		cmp.Compare(a.assisted, b.assisted),
		cmp.Compare(a.stop, b.stop),
		cmp.Compare(a.stopID, b.stopID),
		cmp.Compare(a.routine, b.routine),
		cmp.Compare(a.circuit, b.circuit),
		cmp.Compare(a.fromDoor, b.fromDoor),
		cmp.Compare(a.step.GetTwin(), b.step.GetTwin()), // outer before inner
		cmp.Compare(a.step.GetStepId(), b.step.GetStepId()),
	)
}

// order puts steps in the order in which they are done: by the state the vehicle
// must be in, so that engine and ignition are touched least; those that need the
// assistant in as few stretches as that allows; then stop after stop; within a
// stop what must not be missed first, one lamp circuit after the other, and round
// the vehicle from the driver's door. It is total: no two orders are as good.
func order(steps []*pb.CheckStep, w walk) {
	circuits := firstItems(steps)
	first := firstAssisted(steps, w)
	standings := make([]standing, len(steps))
	for i, step := range steps {
		s := standing{
			step: step, phase: w.phaseOf(step), stop: w.stopOf(step), stopID: step.GetStop(),
			circuit: circuits[circuitOf(step)], fromDoor: w.fromDoor(step),
		}
		if step.GetState().GetAssistant() {
			s.assisted = 1 // last in the first phase that needs the assistant,
			if s.phase != first {
				s.assisted = -1 // and first in those that follow
			}
		}
		if !step.GetMustNotMiss() {
			s.routine = 1
		}
		standings[i] = s
	}
	slices.SortFunc(standings, compareStandings)
	for i, s := range standings {
		steps[i] = s.step
	}
}

// firstAssisted returns the first phase in which an assistant is needed.
func firstAssisted(steps []*pb.CheckStep, w walk) phase {
	first := phaseClosing
	for _, step := range steps {
		if step.GetState().GetAssistant() {
			first = min(first, w.phaseOf(step))
		}
	}
	return first
}

// circuitOf names the lamp circuits that must be lit for a step; empty for none.
func circuitOf(step *pb.CheckStep) string {
	return strings.Join(step.GetState().GetLampsLit(), " ")
}

// firstItems returns the first item, by id, of each lamp circuit: circuits follow
// each other as the catalogue numbers them. Steps without lamps come before.
func firstItems(steps []*pb.CheckStep) map[string]string {
	first := map[string]string{}
	for _, step := range steps {
		c := circuitOf(step)
		if c == "" {
			continue
		}
		if item, known := first[c]; !known || step.GetItem() < item {
			first[c] = step.GetItem()
		}
	}
	return first
}
