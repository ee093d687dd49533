package plan

import (
	"cmp"
	"slices"

	pb "bayround/proto/bayround/v1"
)

const (
	fewSteps   = 16          // so many steps, of which
	fewChoices = 8           // so many may be left out, are gone through in every combination
	mostLooks  = 200_000_000 // at ways to spend the time, otherwise
	mostTries  = 12          // to put in one step more at the end
)

// chooser looks for the steps of a short walk.
type chooser struct {
	route  func([]*pb.CheckStep) *route
	within tenths
	worth  func(*pb.CheckStep) float64
	steps  []*pb.CheckStep            // all that could be done
	needs  map[string][]*pb.CheckStep // what must be done before a step, and what puts back what stays undone there, by its id; also by way of others
	must   map[string]bool            // what must not be missed, and what that needs
}

func newChooser(in Input, steps []*pb.CheckStep, within tenths, build func([]*pb.CheckStep) *route) *chooser {
	c := &chooser{route: build, within: within, steps: slices.Clone(steps), must: map[string]bool{}}
	slices.SortFunc(c.steps, compareIDs)
	c.worth = func(s *pb.CheckStep) float64 {
		if worth, said := in.Worth[s.GetStepId()]; said {
			return worth
		}
		return 1
	}
	c.needs = needsOf(in.Catalogue, c.steps)
	for _, s := range c.steps {
		if s.GetMustNotMiss() {
			c.mustDo(s)
		}
	}
	return c
}

// mustDo says that a step must be done, and all that it needs.
func (c *chooser) mustDo(s *pb.CheckStep) {
	c.must[s.GetStepId()] = true
	for _, other := range c.needs[s.GetStepId()] {
		c.must[other.GetStepId()] = true
	}
}

// putBack says that what stays undone from before the walk must be put back.
func (c *chooser) putBack(open []undone) {
	for _, s := range c.steps {
		if slices.ContainsFunc(open, func(u undone) bool { return slices.Contains(u.back, s.GetStepId()) }) {
			c.mustDo(s)
		}
	}
}

// needsOf are, by the id of each step, those of the others that must be done before it, or must put back what stays
// undone there; what is not among them asks for nothing.
func needsOf(catalogue *pb.Catalogue, steps []*pb.CheckStep) map[string][]*pb.CheckStep {
	asks := map[string][]string{}
	for _, item := range catalogue.GetItems() {
		asks[item.GetId()] = append(slices.Clone(item.GetAfter()), item.GetStaysUntil())
	}
	due := map[string]bool{}
	for _, s := range steps {
		due[s.GetItem()] = true
	}
	needs := map[string][]*pb.CheckStep{}
	for _, s := range steps {
		met := map[string]bool{s.GetItem(): true}
		var follow func(item string)
		follow = func(item string) {
			for _, id := range asks[item] {
				if due[id] && !met[id] {
					met[id] = true
					follow(id)
				}
			}
		}
		follow(s.GetItem())
		for _, other := range steps {
			if other.GetItem() != s.GetItem() && met[other.GetItem()] {
				needs[s.GetStepId()] = append(needs[s.GetStepId()], other)
			}
		}
	}
	return needs
}

// choose returns the steps of the short walk: what must not be missed, and what of the rest
// is worth most in the time. All when there is time for all; what must not be missed even when there is not.
func (c *chooser) choose() []*pb.CheckStep {
	if c.takes(c.steps) <= c.within {
		return c.steps
	}
	must := c.those(func(s *pb.CheckStep) bool { return c.must[s.GetStepId()] })
	if c.takes(must) > c.within {
		return must
	}
	if len(c.steps) <= fewSteps && len(c.steps)-len(must) <= fewChoices {
		return c.best(must)
	}
	return c.fill(c.fit(c.knapsack()))
}

func (c *chooser) those(wanted func(*pb.CheckStep) bool) (some []*pb.CheckStep) {
	for _, s := range c.steps {
		if wanted(s) {
			some = append(some, s)
		}
	}
	return some
}

// takes is how long the best walk through some steps takes, looking included.
func (c *chooser) takes(steps []*pb.CheckStep) tenths {
	r := c.route(steps)
	s := r.solve(nil)
	sum := r.sum(r.simulate(r.inOrder(s.order)))
	return sum.time + tenths(10*sum.looking)
}

// complete tells that nothing is among some steps without what it needs.
func (c *chooser) complete(steps []*pb.CheckStep) bool {
	return !slices.ContainsFunc(steps, func(s *pb.CheckStep) bool { return !c.ready(s, steps) })
}

func (c *chooser) ready(s *pb.CheckStep, among []*pb.CheckStep) bool {
	return !slices.ContainsFunc(c.needs[s.GetStepId()], func(other *pb.CheckStep) bool { return !slices.Contains(among, other) })
}

func (c *chooser) sumOf(steps []*pb.CheckStep) (worth float64) {
	for _, s := range steps {
		worth += c.worth(s)
	}
	return worth
}

// best goes through every choice. Of several worth as much the quickest is taken, then the first.
func (c *chooser) best(must []*pb.CheckStep) []*pb.CheckStep {
	free := c.those(func(s *pb.CheckStep) bool { return !c.must[s.GetStepId()] })
	best, worth, time := must, c.sumOf(must), c.takes(must)
	for choice := 1; choice < 1<<len(free); choice++ {
		try := slices.Clone(must)
		for i, s := range free {
			if choice>>i&1 == 1 {
				try = append(try, s)
			}
		}
		w := c.sumOf(try)
		if w < worth || !c.complete(try) {
			continue
		}
		if t := c.takes(try); t <= c.within && (w > worth || t < time) {
			best, worth, time = try, w, t
		}
	}
	return best
}

// knapsack goes through the steps in the order of the walk through all of them, and finds
// what is worth most in the time when some are passed by.
func (c *chooser) knapsack() []*pb.CheckStep {
	r := c.route(c.steps)
	s := r.solve(nil)
	order := r.inOrder(s.order)
	n := len(order)
	unit := max(1, tenths(n*n)*c.within/mostLooks)
	p := packing{
		chooser: c, walked: r, order: order, unit: unit, most: int(c.within / unit),
		had: make([][]float64, n), from: make([][]int16, n), since: make([]int, n),
	}
	last := -1
	for i := range order {
		p.had[i], p.from[i] = p.column(i, max(0, last))
		p.since[i] = p.most + 1
		if t := slices.IndexFunc(p.had[i], func(w float64) bool { return w >= 0 }); t >= 0 {
			p.since[i] = t
		}
		if c.must[r.tasks[order[i]].step.GetStepId()] {
			last = i
		}
	}
	return p.traced(max(0, last))
}

// packing is the table of a knapsack.
type packing struct {
	*chooser
	walked *route
	order  []int
	most   int // units there are
	unit   tenths
	had    [][]float64 // [i][t]: the most that can be had with the i-th step as the last so far, in t units at most
	from   [][]int16   // the step before it then; -1 for none
	since  []int       // [i]: in fewer units nothing can be had; above most where nothing can be had at all
}

// nothing says that something cannot be had.
const nothing = -1.0

// column works out what can be had up to the i-th step, when none from first on must be passed by but the first itself.
func (p *packing) column(i, first int) (worth []float64, from []int16) {
	worth, from = make([]float64, p.most+1), make([]int16, p.most+1)
	for t := range worth {
		worth[t], from[t] = nothing, -1
	}
	gain := p.worth(p.walked.tasks[p.order[i]].step)
	if first == 0 && !p.mustBefore(i) {
		for t := p.units(-1, i); t <= p.most; t++ {
			worth[t] = gain
		}
	}
	for j := first; j < i; j++ {
		units := p.units(j, i)
		begin := units + p.since[j]
		if begin > p.most {
			continue
		}
		for t, w := range p.had[j][p.since[j] : p.most+1-units] {
			if w+gain > worth[begin+t] {
				worth[begin+t], from[begin+t] = w+gain, int16(j)
			}
		}
	}
	return worth, from
}

// mustBefore tells that something that must be done comes before the i-th step.
func (p *packing) mustBefore(i int) bool {
	return slices.ContainsFunc(p.order[:i], func(j int) bool { return p.must[p.walked.tasks[j].step.GetStepId()] })
}

// units is how much time it takes to come from the j-th step to the i-th, from the start where j is -1, and to look, rounded up.
func (p *packing) units(j, i int) int {
	a := -1
	if j >= 0 {
		a = p.order[j]
	}
	look := 10 * tenths(p.walked.tasks[p.order[i]].step.GetLeastLookS())
	return int((p.walked.hop(a, p.order[i]) + look + p.unit - 1) / p.unit)
}

// traced goes back from the best end, which does not come before last.
func (p *packing) traced(last int) (chosen []*pb.CheckStep) {
	at := -1
	for i := last; i < len(p.order); i++ {
		if best := p.had[i][p.most]; best >= 0 && (at < 0 || best > p.had[at][p.most]) {
			at = i
		}
	}
	if at < 0 {
		return p.those(func(s *pb.CheckStep) bool { return p.must[s.GetStepId()] })
	}
	for t := p.most; at >= 0; {
		chosen = append(chosen, p.walked.tasks[p.order[at]].step)
		before := int(p.from[at][t])
		t -= p.units(before, at)
		at = before
	}
	return chosen
}

// fit drops what lacks something that it needs, and then what is worth least until there is time for the rest.
func (c *chooser) fit(chosen []*pb.CheckStep) []*pb.CheckStep {
	chosen = c.withMust(chosen)
	for {
		chosen = slices.DeleteFunc(chosen, func(s *pb.CheckStep) bool { return !c.must[s.GetStepId()] && !c.ready(s, chosen) })
		if !c.complete(chosen) {
			continue
		}
		free := slices.DeleteFunc(slices.Clone(chosen), func(s *pb.CheckStep) bool { return c.must[s.GetStepId()] })
		if len(free) == 0 || c.takes(chosen) <= c.within {
			return chosen
		}
		worst := slices.MinFunc(free, c.compareWorth)
		chosen = slices.DeleteFunc(chosen, func(s *pb.CheckStep) bool { return s == worst })
	}
}

func (c *chooser) withMust(chosen []*pb.CheckStep) []*pb.CheckStep {
	return c.those(func(s *pb.CheckStep) bool { return c.must[s.GetStepId()] || slices.Contains(chosen, s) })
}

// compareWorth puts first what is worth least for a second of looking.
func (c *chooser) compareWorth(a, b *pb.CheckStep) int {
	return cmp.Or(cmp.Compare(c.worth(a)*float64(1+b.GetLeastLookS()), c.worth(b)*float64(1+a.GetLeastLookS())), -compareIDs(a, b))
}

// fill puts in what there is still time for, the best first.
func (c *chooser) fill(chosen []*pb.CheckStep) []*pb.CheckStep {
	left := c.those(func(s *pb.CheckStep) bool { return !slices.Contains(chosen, s) })
	slices.SortFunc(left, func(a, b *pb.CheckStep) int { return -c.compareWorth(a, b) })
	slack := c.within - c.takes(chosen)
	tries := mostTries
	for _, s := range left {
		if tries == 0 || tenths(10*s.GetLeastLookS()) > slack || !c.ready(s, chosen) {
			continue
		}
		tries--
		more := append(slices.Clone(chosen), s)
		if t := c.takes(more); t <= c.within {
			chosen, slack = more, c.within-t
		}
	}
	return chosen
}
