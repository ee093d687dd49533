package plan

import (
	"slices"

	pb "bayround/proto/bayround/v1"
)

// route is one walk in the making: steps with what is known of them, the halts at
// which they are done, and where one begins.
type route struct {
	*terrain
	tasks       []task
	groups      []group
	blocks      []block
	halts       []halt // in the order of their numbers, which break ties
	start       post
	alone       bool
	startStop   string    // where one has one's bearings when the walk begins
	from        condition // of the vehicle when the walk begins
	first, last int       // blocks with the assistant
	known       solutions // nil where nothing is solved twice
}

// outset is how a walk begins.
type outset struct {
	alone bool
	from  phase // the vehicle is in; 0 at the beginning
}

// terrain is what all walks round one vehicle have in common.
type terrain struct {
	yard     yard
	gait     gait
	wiring   wiring
	calendar calendar
}

func newTerrain(l *layout, c *pb.Catalogue, w *pb.WalkWeights) *terrain {
	g := newGait(c.GetWalkTimes(), w)
	return &terrain{yard: newYard(l, g), gait: g, wiring: newWiring(c.GetCircuits()), calendar: newCalendar(c)}
}

// newRoute finds the halts of some steps.
func newRoute(l *layout, c *pb.Catalogue, w *pb.WalkWeights, steps []*pb.CheckStep, o outset) *route {
	return newTerrain(l, c, w).route(steps, o)
}

// route finds the halts of some steps.
func (t *terrain) route(steps []*pb.CheckStep, o outset) *route {
	r := &route{terrain: t, start: t.yard.start, alone: o.alone}
	k := t.calendar
	for _, step := range steps {
		r.tasks = append(r.tasks, r.newTask(step, o.alone))
	}
	slices.SortFunc(r.tasks, func(a, b task) int { return compareIDs(a.step, b.step) })
	k.assignPhases(r.tasks, o.from)
	setLayers(r.tasks, k)
	setSettings(r.tasks, r.wiring)
	r.groups, r.blocks = gather(r.tasks, k)
	r.splitGroups()
	r.first, r.last = r.assistedBlocks()
	for b, block := range r.blocks {
		for _, g := range block.groups {
			r.groups[g].lit = r.litIn(g)
			r.placeHalts(g, b)
		}
	}
	r.number()
	return r
}

func compareIDs(a, b *pb.CheckStep) int {
	switch {
	case a.GetStepId() < b.GetStepId():
		return -1
	case a.GetStepId() > b.GetStepId():
		return 1
	}
	return 0
}

func (r *route) newTask(step *pb.CheckStep, alone bool) task {
	t := task{step: step, assisted: step.GetState().GetAssistant() && !alone}
	t.at, t.how = r.yard.postFor(step)
	stand := r.yard.standFor(step)
	lamp := len(step.GetState().GetLampsLit()) > 0 || step.GetLampFunction() != pb.LampFunction_LAMP_FUNCTION_UNSPECIFIED
	switch inCab := step.GetPosition() == pb.Position_POSITION_INSIDE_CAB; {
	case t.assisted && inCab && r.yard.powered:
		t.walks, t.at, t.helper = true, r.yard.seat, stand
		if r.yard.isInside(step.GetPlace().GetAt()) && !lamp {
			t.helper = r.yard.seat.along // at the driver's door
		}
	case alone && step.GetState().GetAssistant() && inCab && lamp:
		t.at = post{along: stand} // nobody else looks at it
	}
	return t
}

// litIn is what burns for a group: all circuits of its setting.
func (r *route) litIn(g int) (lit []string) {
	for _, i := range r.groups[g].tasks {
		lit = append(lit, r.tasks[i].lit...)
	}
	slices.Sort(lit)
	return slices.Compact(lit)
}

// splitGroups splits groups that would each have to come before the other.
func (r *route) splitGroups() {
	var all []group
	for b := range r.blocks {
		var units [][]int
		of := map[int]group{}
		for _, g := range r.blocks[b].groups {
			units = append(units, r.groups[g].tasks)
			for _, i := range r.groups[g].tasks {
				of[i] = r.groups[g]
			}
		}
		r.blocks[b].groups = nil
		for _, unit := range untangle(r.tasks, units) {
			g := of[unit[0]]
			g.tasks = unit
			r.blocks[b].groups = append(r.blocks[b].groups, len(all))
			all = append(all, g)
		}
	}
	r.groups = all
}

// number puts the halts of a group in the order in which they lie round the vehicle from the driver's
// door by the front and the nearside, and tells groups and tasks their halts.
func (r *route) number() {
	slices.SortStableFunc(r.halts, func(a, b halt) int {
		if a.group != b.group {
			return a.group - b.group
		}
		switch x, y := r.fromStart(a), r.fromStart(b); {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return compareIDs(r.tasks[a.tasks[0]].step, r.tasks[b.tasks[0]].step)
	})
	for h := range r.halts {
		g := r.halts[h].group
		r.groups[g].halts = append(r.groups[g].halts, h)
		for _, i := range r.halts[h].tasks {
			r.tasks[i].halt = h
		}
	}
}

// fromStart is how far round from the start of a walk a halt lies; the line itself runs the other way round.
func (r *route) fromStart(h halt) float64 {
	d := r.yard.start.along - h.helper
	if h.at.room != outside && !h.walks {
		d = r.yard.start.along - h.at.along
	}
	if d < 0 {
		d += r.yard.line.Length()
	}
	return d
}
