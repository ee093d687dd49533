package plan

import (
	"slices"
	"strings"

	"bayround/internal/plan/ground"
	pb "bayround/proto/bayround/v1"
)

// leg is what happens from the end of one halt to the end of the next.
type leg struct {
	halt     int
	tasks    []int
	time     tenths // before the looking
	changing tenths // of it, in which states of the vehicle are changed
	metres   float64
	cabTrips int
	path     []ground.Point
	pathM    float64
	changes  []string
}

// walker goes through a sequence of tasks as a driver would, one after the other, and
// notes what each took. It knows nothing of how the sequence was found, and takes any.
type walker struct {
	r       *route
	at      post
	stop    string
	is      condition
	burning []string
	opened  string   // what is to be shut when one leaves
	helper  *float64 // where the assistant stands; nil when nobody knows
	legs    []leg
	halt    int // -1 when one is at none
}

// simulate goes through tasks in an order.
func (r *route) simulate(order []int) []leg {
	w := &walker{r: r, at: r.start, stop: r.startStop, is: r.from, halt: -1}
	for _, i := range order {
		if t := &r.tasks[i]; t.halt != w.halt {
			w.goTo(t)
		}
		here := &w.legs[len(w.legs)-1]
		here.tasks = append(here.tasks, i)
	}
	return w.legs
}

// goTo leaves where one is and arrives at the halt of a task.
func (w *walker) goTo(t *task) {
	h := &w.r.halts[t.halt]
	w.legs = append(w.legs, leg{halt: t.halt})
	l := &w.legs[len(w.legs)-1]
	if w.opened != "" {
		l.changes = append(l.changes, w.opened)
		w.opened = ""
	}
	path := []float64{}
	if to := t.phase.condition(); to != w.is {
		w.walkTo(l, w.r.yard.seat, &path)
		w.change(l, to)
		w.stop, w.burning, w.helper = "", nil, nil
	}
	walking := l.time - l.changing
	w.light(l, h, &path)
	w.walkTo(l, h.at, &path)
	w.bringHelper(l, h, walking, path)
	if w.stop != h.stop {
		l.time += w.r.gait.newStop
	}
	w.stop, w.halt = h.stop, t.halt
	w.arrive(l, h)
}

// walkTo goes to a post.
func (w *walker) walkTo(l *leg, to post, path *[]float64) {
	m := w.r.yard.move(w.r.gait, w.at, to)
	l.time += m.time
	l.metres += m.metres
	l.cabTrips += m.cabTrips
	*path = append(*path, m.path...)
	w.at = to
}

// change brings the vehicle into a condition, from the seat.
func (w *walker) change(l *leg, to condition) {
	g := w.r.gait
	if w.is.running && !to.running {
		l.spend(g.stop, "engine stopped")
	}
	if w.is.ignition != to.ignition {
		l.spend(g.ignition, map[bool]string{true: "ignition on", false: "ignition off"}[to.ignition])
	}
	if !w.is.running && to.running {
		l.spend(g.start, "engine started")
	}
	w.is = to
}

func (l *leg) spend(t tenths, change string) {
	l.time += t
	l.changing += t
	l.changes = append(l.changes, change)
}

// light switches the lamps from the seat, if a halt wants others than burn.
func (w *walker) light(l *leg, h *halt, path *[]float64) {
	if len(h.lit) > 0 && !slices.Equal(h.lit, w.burning) {
		w.walkTo(l, w.r.yard.seat, path)
		var on []string
		for _, c := range h.lit {
			if !slices.Contains(w.burning, c) {
				on = append(on, c)
			}
		}
		l.spend(w.r.gait.circuit*tenths(len(on)), "lit: "+strings.Join(w.titles(h.lit), ", "))
	}
	w.burning = h.lit
}

// titles are the words for circuits. Alone, whoever leaves the seat must have something else hold on what somebody
// must hold: the step's way alone says what.
func (w *walker) titles(circuits []string) (titles []string) {
	for _, c := range circuits {
		title := w.r.wiring.title(c)
		if w.r.alone && w.r.wiring.held[c] {
			title += " (held on, as the step says)"
		}
		titles = append(titles, title)
	}
	return titles
}

// bringHelper lets the assistant walk meanwhile, and waits for whoever needs longer.
func (w *walker) bringHelper(l *leg, h *halt, before tenths, path []float64) {
	line := w.r.yard.line
	l.draw(line, path)
	if !h.assisted {
		w.helper = nil
		return
	}
	if w.helper != nil && h.walks {
		l.path, l.pathM = nil, 0
		if *w.helper != h.helper {
			l.path, l.pathM = line.Way(*w.helper, h.helper), line.Distance(*w.helper, h.helper)
		}
		l.time = max(l.time, w.r.gait.walk(line.Distance(*w.helper, h.helper)))
	} else if h.walks {
		l.path, l.pathM = nil, 0
	}
	helper := h.helper
	w.helper = &helper
}

// draw lays the way corner by corner along the line.
func (l *leg) draw(line ground.Outline, path []float64) {
	for i := 0; i+1 < len(path); i += 2 {
		if path[i] != path[i+1] {
			l.path = append(l.path, line.Way(path[i], path[i+1])...)
		}
	}
	l.path = slices.Compact(l.path)
	l.pathM = l.metres
}

// arrive opens what must be opened and gets down where one must kneel.
func (w *walker) arrive(l *leg, h *halt) {
	g := w.r.gait
	if h.how.kneel {
		l.time += g.kneel
	}
	if h.how.roof {
		l.time += g.roof
	}
	if h.how.flap {
		l.spend(g.flapOpen+g.flapClose, "engine flap open")
		w.opened = "engine flap closed"
	}
}

// Totals of a walk.
type totals struct {
	time, changing tenths
	metres         float64
	cabTrips       int
	looking        int64 // seconds
	assistant      tenths
	price          price
}

// sum adds up what legs took. The assistant is kept from the first halt with the assistant to the last.
func (r *route) sum(legs []leg) (s totals) {
	first, last := -1, -1
	for i, l := range legs {
		if r.halts[l.halt].assisted {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	for i, l := range legs {
		kept := first >= 0 && first < i && i <= last
		s.time += l.time
		s.changing += l.changing
		s.metres += l.metres
		s.cabTrips += l.cabTrips
		s.price += r.gait.of(l.time, l.cabTrips, kept)
		look := int64(0)
		for _, i := range l.tasks {
			look += int64(r.tasks[i].step.GetLeastLookS())
		}
		s.looking += look
		if kept {
			s.assistant += l.time
		}
		if first >= 0 && first <= i && i <= last {
			s.assistant += tenths(10 * look)
		}
	}
	return s
}

// message is a walk as the contract has it.
func (r *route) message(legs []leg) *pb.Walk {
	s := r.sum(legs)
	w := &pb.Walk{
		WalkedM: millimetres(s.metres), WalkingS: (s.time - s.changing).seconds(), ChangingS: s.changing.seconds(), LookingS: float64(s.looking),
		CabTrips: int32(s.cabTrips), AssistantS: s.assistant.seconds(), CostS: s.price.seconds(),
	}
	for _, l := range legs {
		h := &r.halts[l.halt]
		first := r.tasks[l.tasks[0]].step
		halt := &pb.Halt{
			Stop: h.stop, StopTitle: first.GetStopTitle(), Inside: h.at.room != outside && !h.walks, Way: points(l.path), WayM: millimetres(l.pathM),
			WayS: l.time.seconds(), Changes: l.changes, Assistant: h.assisted, AssistantWalks: h.walks, Stand: r.standing(h, first),
		}
		for _, i := range l.tasks {
			halt.StepIds = append(halt.StepIds, r.tasks[i].step.GetStepId())
		}
		w.Halts = append(w.Halts, halt)
	}
	w.RoundLine = points(r.yard.line.Corners())
	return w
}

// standing is where one stands, or the place where one sits.
func (r *route) standing(h *halt, first *pb.CheckStep) *pb.Point {
	if h.at.room != outside && !h.walks {
		return first.GetPlace().GetAt()
	}
	p := r.yard.line.At(h.helper)
	return &pb.Point{XM: p.X, YM: p.Y}
}

func points(list []ground.Point) (all []*pb.Point) {
	for _, p := range list {
		all = append(all, &pb.Point{XM: p.X, YM: p.Y})
	}
	return all
}
