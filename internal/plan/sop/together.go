package sop

import "slices"

// exact solves a problem with groups by dynamic programming. ok is false when that
// takes more than the budget of proof; it is known before anything is spent.
func (p *Problem) exact(b Budget) (s Solution, ok bool) {
	g, work, ok := p.plan(b)
	if !ok || work > b.Proof {
		return Solution{}, false
	}
	come, after := make([]int64, len(g.nodes)), make([]int64, len(g.nodes))
	for place, i := range g.nodes {
		come[place], after[place] = p.arc(0, i), p.arc(i, p.n-1)
	}
	s = Solution{Proven: true, Operations: work}
	if len(g.nodes) == 0 { // from the first to the last, past nothing
		if c := p.arc(0, 1); c < Never {
			s.Order, s.Cost, s.Bound = []int{0, 1}, c, c
		}
		return s, true
	}
	g.pass(come, after)
	g.run(after)
	if least := g.least(come); least < Never {
		s.Cost, s.Bound = least, least
		s.Order = append(append([]int{0}, g.follow(come)...), p.n-1)
	}
	return s, true
}

// pass works out what passing each block costs, from each entry to each exit. Of large blocks it leaves out what no
// cheapest order can have: there is an order that costs so much, and all but the block costs at least so much.
func (g *program) pass(come, after []int64) {
	var blocks []int // large ones
	for block, inner := range g.inner {
		if g.size[block] < large {
			g.inside[block] = inner.passages(nil)
			continue
		}
		blocks = append(blocks, block)
		g.inside[block] = inner.sweep()
	}
	if len(blocks) == 0 {
		return
	}
	g.run(after)
	most := g.least(come)
	for _, block := range blocks {
		g.inside[block] = slices.Repeat([]int64{0}, len(g.inside[block]))
	}
	for _, block := range blocks {
		g.inside[block] = g.inner[block].passages(g.limits(block, most, come, after))
	}
}

// limits are what passing a block may cost at most, for every four exits: what is left of the cost of an order when the
// cheapest one is taken off that passes the block for nothing and leaves it at one of them.
func (g *program) limits(block int, most int64, come, after []int64) (limits []int64) {
	k := g.size[block]
	for exit := 0; exit < k; exit += len(never) {
		if most >= Never {
			limits = append(limits, Never)
			continue
		}
		for i := range g.inside[block] {
			g.inside[block][i] = Never
			if x := i % k; x >= exit && x < exit+len(never) {
				g.inside[block][i] = 0
			}
		}
		g.run(after)
		limits = append(limits, most-g.least(come))
	}
	return limits
}

// plan lays out the program of the groups and those of each group's nodes, and says how many arcs
// they will look at. ok is false when they would take more states than the budget has.
func (p *Problem) plan(b Budget) (g *program, work int64, ok bool) {
	var blocks [][]int
	for _, nodes := range p.members {
		if nodes[0] != 0 && nodes[0] != p.n-1 {
			blocks = append(blocks, nodes)
		}
	}
	if g, ok = p.newProgram(blocks, b.States); !ok {
		return nil, 0, false
	}
	room := b.States - len(g.cost)
	work = g.work
	for block, nodes := range blocks {
		if len(nodes) == 1 {
			continue
		}
		alone := make([][]int, len(nodes))
		for k, i := range nodes {
			alone[k] = []int{i}
		}
		if g.inner[block], ok = p.newProgram(alone, room/len(never)); !ok {
			return nil, 0, false
		}
		for k := range alone {
			g.inner[block].inside[k] = []int64{0}
		}
		room -= len(never) * len(g.inner[block].cost)
		work += g.inner[block].work * int64((len(nodes)+len(never)-1)/len(never)+1) // the exits by fours, and once for the way that is followed
	}
	return g, work, true
}
