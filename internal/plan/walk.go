package plan

import (
	"cmp"
	"slices"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// Ask says which walk is wanted.
type Ask struct {
	// Alone: no assistant is at hand.
	Alone bool
	// Done are steps that need not be done any more, by id.
	Done []string
	// AtStep is the step at whose place the driver stands; empty for the beginning.
	AtStep string
	// WithinS is how many seconds there are, looking included; 0 for as many as it takes.
	WithinS int
	// EngineWarm: the engine has run, so that what needs it cold cannot be looked at.
	EngineWarm bool
}

// isWhole tells that the walk of the plan itself is asked for.
func (a Ask) isWhole() bool {
	return !a.Alone && len(a.Done) == 0 && a.AtStep == "" && a.WithinS == 0 && !a.EngineWarm
}

// Walk returns the best way through the steps of a plan: the first of the cheapest, or the
// cheapest that was found; for the whole plan the former order where the configuration keeps it. It is the same for the same input, on every machine. A step that
// is not of the plan is a fault.
func Walk(in Input, p *pb.Plan, ask Ask) (*pb.Walk, error) {
	h, err := newHike(in, p, ask)
	if err != nil {
		return nil, err
	}
	var kept *pb.KeptOrder
	if ask.isWhole() {
		kept = keptIn(in)
	}
	s, saved := h.route.best(kept)
	w := h.message(h.route.inOrder(s.order))
	w.BoundS = s.bound.seconds()
	if saved > 0 {
		costs := saved.seconds()
		w.KeptCostsS = &costs
	}
	return w, nil
}

// Naive returns the same steps in the order of the catalogue, item after item and place
// after place, as far as the state of the vehicle allows: nobody starts the engine
// before what needs it cold.
func Naive(in Input, p *pb.Plan, ask Ask) (*pb.Walk, error) {
	h, err := newHike(in, p, ask)
	if err != nil {
		return nil, err
	}
	listed := map[string]int{}
	for i, item := range in.Catalogue.GetItems() {
		listed[item.GetId()] = i
	}
	order := make([]int, len(h.route.tasks))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(i, j int) int {
		a, b := &h.route.tasks[i], &h.route.tasks[j]
		return cmp.Or(cmp.Compare(a.phase, b.phase), cmp.Compare(listed[a.step.GetItem()], listed[b.step.GetItem()]), compareIDs(a.step, b.step))
	})
	return h.message(order), nil
}

// hike is one walk that was asked for.
type hike struct {
	route             *route
	alone             bool
	notAlone, leftOut []string
	ledger            *ledger
	open              []undone // before the walk
}

// newHike takes the steps of a plan that are to be done, and says why the others are not.
func newHike(in Input, p *pb.Plan, ask Ask) (*hike, error) {
	l := newLedger(in, p, ask)
	for _, id := range append(slices.Clone(ask.Done), ask.AtStep) {
		if id != "" && l.steps[id] == nil {
			return nil, fault.New(fault.Invalid, "STEP_UNKNOWN", "step %q is not in the plan of %s for %s; fetch the plan again", id, p.GetRoutine(), p.GetVehicle())
		}
	}
	h := &hike{alone: ask.Alone, ledger: l, open: l.standing(p)}
	var wanted []*pb.CheckStep
	for _, step := range p.GetSteps() {
		switch {
		case l.done[step.GetStepId()]:
		case ask.Alone && step.GetState().GetAssistant() && step.GetAlonePrompt() == "":
			h.notAlone = append(h.notAlone, step.GetStepId())
		case ask.EngineWarm && needsCold(step):
			h.leftOut = append(h.leftOut, step.GetStepId())
		default:
			wanted = append(wanted, step)
		}
	}
	h.route = h.plan(in, ask, wanted)
	return h, nil
}

// plan finds the halts of some steps, or of those of them that there is time for.
func (h *hike) plan(in Input, ask Ask, wanted []*pb.CheckStep) *route {
	l := newLayout(in.Vehicle)
	here, from := h.standing(in, l, h.ledger.steps[ask.AtStep], ask)
	ground, known := newTerrain(l, in.Catalogue, in.Routine.GetWalkWeights()), solutions{}
	build := func(steps []*pb.CheckStep) *route {
		r := ground.route(steps, outset{ask.Alone, from})
		if here != nil {
			r.start, r.startStop, r.from = here.at, here.stop, from.condition()
		}
		r.known = known
		return r
	}
	if ask.WithinS == 0 {
		return build(wanted)
	}
	c := newChooser(in, wanted, tenths(10*ask.WithinS), build)
	c.putBack(h.open)
	chosen := c.choose()
	for _, step := range wanted {
		if !slices.Contains(chosen, step) {
			h.leftOut = append(h.leftOut, step.GetStepId())
		}
	}
	return build(chosen)
}

// standing is where the driver stands at a step, and in which phase; nil at the beginning.
func (h *hike) standing(in Input, l *layout, at *pb.CheckStep, ask Ask) (*halt, phase) {
	if at == nil {
		return nil, 0
	}
	r := newRoute(l, in.Catalogue, nil, []*pb.CheckStep{at}, outset{alone: ask.Alone})
	return &r.halts[0], r.tasks[0].phase
}

// needsCold tells that a step cannot be looked at when the engine has run.
func needsCold(step *pb.CheckStep) bool {
	engine := step.GetState().GetEngine()
	return engine == pb.EngineState_ENGINE_STATE_COLD || engine == pb.EngineState_ENGINE_STATE_COLD_START || step.GetColdAfter() != nil
}

func (h *hike) message(order []int) *pb.Walk {
	w := h.route.message(h.route.simulate(order))
	w.Alone, w.NotAlone, w.LeftOut = h.alone, h.notAlone, h.leftOut
	h.ledger.tell(w, h.open)
	return w
}

// inOrder are the tasks of halts, halt after halt.
func (r *route) inOrder(halts []int) (order []int) {
	for _, h := range halts {
		order = append(order, r.halts[h].tasks...)
	}
	return order
}

// order puts steps in the order of the best walk with an assistant.
func order(in Input, l *layout, steps []*pb.CheckStep) []*pb.CheckStep {
	r := newRoute(l, in.Catalogue, in.Routine.GetWalkWeights(), steps, outset{})
	s, _ := r.best(keptIn(in))
	return r.stepsAt(s.order)
}

// listed are the steps as their halts are numbered.
func (r *route) listed() []*pb.CheckStep {
	halts := make([]int, len(r.halts))
	for h := range halts {
		halts[h] = h
	}
	return r.stepsAt(halts)
}

// stepsAt are the steps at halts, halt after halt.
func (r *route) stepsAt(halts []int) []*pb.CheckStep {
	steps := make([]*pb.CheckStep, 0, len(r.tasks))
	for _, i := range r.inOrder(halts) {
		steps = append(steps, r.tasks[i].step)
	}
	return steps
}
