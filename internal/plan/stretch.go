package plan

import (
	"bayround/internal/plan/sop"
)

// stretch is phases with nothing to be changed in the driver's seat between them. All
// but the first begin there and all but the last end there; so the way of each is a
// problem of its own.
type stretch struct {
	condition condition
	blocks    []int
	halts     []int
}

// stretches cuts the blocks where engine or ignition are touched.
func (r *route) stretches() []stretch {
	var all []stretch
	for b, block := range r.blocks {
		c := block.phase.condition()
		if len(all) == 0 || all[len(all)-1].condition != c {
			all = append(all, stretch{condition: c})
		}
		s := &all[len(all)-1]
		s.blocks = append(s.blocks, b)
		for _, g := range block.groups {
			s.halts = append(s.halts, r.groups[g].halts...)
		}
	}
	return all
}

// assistedBlocks returns the first and the last block with the assistant; none when nobody is needed.
func (r *route) assistedBlocks() (first, last int) {
	first, last = len(r.blocks), -1
	for b, block := range r.blocks {
		if block.layer%2 == 1 {
			first, last = min(first, b), b
		}
	}
	return first, last
}

// withAssistant tells that the assistant is kept from one block to another: what comes first is behind the first halt with
// the assistant or is one, and something with the assistant comes behind, or is what comes last.
func (r *route) withAssistant(from, to int) bool { return from >= r.first && to <= r.last }

// passage is one way from halt to halt, or to or from a place where a stretch begins or ends.
type passage struct {
	time     tenths
	metres   float64
	cabTrips int
}

// pass is what it takes to come from one halt to another within a stretch.
func (r *route) pass(a, b *halt) passage {
	m := r.yard.move(r.gait, a.at, b.at)
	p := passage{m.time, m.metres, m.cabTrips}
	on, needed := switched(a.lit, b.lit)
	if needed {
		in, out := r.yard.move(r.gait, a.at, r.yard.seat), r.yard.move(r.gait, r.yard.seat, b.at)
		p = passage{in.time + out.time + tenths(on)*r.gait.circuit, in.metres + out.metres, in.cabTrips + out.cabTrips}
	}
	if a.assisted && b.walks {
		p.time = max(p.time, r.gait.walk(r.yard.line.Distance(a.helper, b.helper)))
	}
	if a.stop != b.stop {
		p.time += r.gait.newStop
	}
	p.time += r.gait.arriving(b.how)
	return p
}

// hop is the time from one task to another, wherever they lie; a is -1 for the start.
func (r *route) hop(a, b int) tenths {
	from, is := &halt{at: r.start, stop: r.startStop}, r.from
	if a >= 0 {
		from, is = &r.halts[r.tasks[a].halt], r.tasks[a].phase.condition()
	}
	to, wanted := &r.halts[r.tasks[b].halt], r.tasks[b].phase.condition()
	switch {
	case a >= 0 && r.tasks[a].halt == r.tasks[b].halt:
		return 0
	case is == wanted:
		return r.pass(from, to).time
	}
	return r.yard.move(r.gait, from.at, r.yard.seat).time + r.gait.changing(is, wanted) + r.pass(&halt{at: r.yard.seat}, to).time
}

// mostGroups is how many groups a stretch may have to be solved exactly; all that a
// catalogue has stops for, in one state of a vehicle with everything, are hardly more.
const mostGroups = 20

// budgetFor is how much may be spent on a stretch, in operations. Exact solutions take up
// to 32 million with 20 groups, a hundred times less on a usual vehicle. Where there are more
// groups, a search that proves little must do.
func budgetFor(groups int) sop.Budget {
	if groups > mostGroups {
		return sop.Budget{Search: 3_000_000, Proof: 6_000_000, States: 100_000}
	}
	return sop.Budget{Search: 5_000_000, Proof: 60_000_000, States: 6_000_000}
}

// solved is an order of all halts, what it costs, and what none can cost less than.
type solved struct {
	order       []int
	cost, bound price
}

// solve finds the order of the halts. also are pairs of halts of which the first is to come first
// beside what must; where they contradict that, a stretch does without them.
func (r *route) solve(also [][2]int) (s solved) {
	all := r.stretches()
	begin := halt{at: r.start, stop: r.startStop, block: -1}
	for i, part := range all {
		if i > 0 || r.from != part.condition {
			before, from := r.from, r.start
			if i > 0 {
				before, from = all[i-1].condition, r.yard.seat
			}
			m := r.yard.move(r.gait, from, r.yard.seat)
			begin = halt{at: r.yard.seat, block: part.blocks[0] - 1}
			change := r.gait.of(m.time+r.gait.changing(before, part.condition), m.cabTrips, r.withAssistant(part.blocks[0]-1, part.blocks[0]))
			s.cost, s.bound = s.cost+change, s.bound+change
		}
		found, ok := r.solveStretch(part, begin, i == len(all)-1, also)
		if !ok {
			found, _ = r.solveStretch(part, begin, i == len(all)-1, nil)
		}
		s.order = append(s.order, found.order...)
		s.cost, s.bound = s.cost+found.cost, s.bound+found.bound
	}
	return s
}

func (r *route) solveStretch(part stretch, begin halt, free bool, also [][2]int) (solved, bool) {
	n := len(part.halts) + 2
	node := make(map[int]int, n) // of each halt
	for i, h := range part.halts {
		node[h] = i + 1
	}
	cost := make([][]int64, n)
	for i := range cost {
		cost[i] = make([]int64, n)
	}
	for i, h := range part.halts {
		a := &r.halts[h]
		cost[0][i+1] = int64(r.priceOf(&begin, a))
		for j, h := range part.halts {
			if i != j {
				cost[i+1][j+1] = int64(r.priceOf(a, &r.halts[h]))
			}
		}
		if !free {
			m := r.yard.move(r.gait, a.at, r.yard.seat)
			next := part.blocks[len(part.blocks)-1] + 1
			cost[i+1][n-1] = int64(r.gait.of(m.time, m.cabTrips, r.withAssistant(a.block, next)))
		}
	}
	pairs := r.precedences(part, node)
	for _, pair := range also {
		if a, b := node[pair[0]], node[pair[1]]; a > 0 && b > 0 {
			pairs = append(pairs, [2]int{a, b})
		}
	}
	var groups [][]int
	for _, b := range part.blocks {
		for _, g := range r.blocks[b].groups {
			var nodes []int
			for _, h := range r.groups[g].halts {
				nodes = append(nodes, node[h])
			}
			groups = append(groups, nodes)
		}
	}
	found, err := r.known.solve(cost, pairs, groups)
	if err != nil {
		if also != nil {
			return solved{}, false
		}
		return r.asNumbered(part, cost), true
	}
	if found.Order == nil {
		return r.asNumbered(part, cost), also == nil
	}
	s := solved{cost: price(found.Cost), bound: price(found.Bound)}
	for _, i := range found.Order[1 : n-1] {
		s.order = append(s.order, part.halts[i-1])
	}
	return s, true
}

// asNumbered takes the halts as they are numbered: for more of them than the solver
// takes. Nothing is proven then.
func (r *route) asNumbered(part stretch, cost [][]int64) (s solved) {
	at := 0
	done := make([]bool, len(part.halts))
	for range part.halts {
		for i, h := range part.halts { // the first whose precautions are done
			if !done[i] && !r.waits(h, part.halts, done) {
				s.cost += price(cost[at][i+1])
				at, done[i] = i+1, true
				s.order = append(s.order, h)
				break
			}
		}
	}
	s.cost += price(cost[at][len(cost)-1])
	return s
}

// waits tells that something of the same group must be done before a halt.
func (r *route) waits(h int, halts []int, done []bool) bool {
	for i, other := range halts {
		if !done[i] && other != h && r.precedes(other, h) {
			return true
		}
	}
	return false
}

// precedes tells that a task of one halt must be done before one of another.
func (r *route) precedes(a, b int) bool {
	for _, i := range r.halts[b].tasks {
		for _, j := range r.tasks[i].before {
			if r.tasks[j].halt == a {
				return true
			}
		}
	}
	return false
}

// priceOf is the price of coming from one halt to another.
func (r *route) priceOf(a, b *halt) price {
	p := r.pass(a, b)
	return r.gait.of(p.time, p.cabTrips, r.withAssistant(a.block, b.block))
}

// precedences are the pairs of nodes of which the first must come first: block after block, in each the
// first stop first and the closing stop last, and what must be done before other things.
func (r *route) precedences(part stretch, node map[int]int) (pairs [][2]int) {
	entry := func(g int) int { return node[r.groups[g].halts[0]] }
	for i, b := range part.blocks {
		if i > 0 {
			for _, g := range r.blocks[part.blocks[i-1]].groups {
				for _, h := range r.blocks[b].groups {
					pairs = append(pairs, [2]int{entry(g), entry(h)})
				}
			}
		}
		for _, pair := range r.groupOrder(r.blocks[b].groups) {
			pairs = append(pairs, [2]int{entry(pair[0]), entry(pair[1])})
		}
	}
	for _, h := range part.halts {
		for _, other := range part.halts {
			if h != other && r.precedes(other, h) {
				pairs = append(pairs, [2]int{node[other], node[h]})
			}
		}
	}
	return pairs
}

// groupOrder are pairs of groups of one block of which the first must come first: those of
// the first stop before all others and those of the closing stop after them, where no precaution is against it.
func (r *route) groupOrder(groups []int) (pairs [][2]int) {
	units := make([][]int, len(groups))
	for i, g := range groups {
		units[i] = r.groups[g].tasks
	}
	reach := reachOf(r.tasks, units)
	for i, g := range groups {
		for j, h := range groups {
			a, b := r.groups[g].stopID, r.groups[h].stopID
			wanted := a != b && (r.calendar.first != "" && a == r.calendar.first || r.calendar.closing != "" && b == r.calendar.closing)
			if i == j || !wanted || reach[j][i] {
				continue
			}
			pairs = append(pairs, [2]int{g, h})
			reach[i][j] = true
			closeReach(reach)
		}
	}
	return pairs
}
