package sop

// exact solves a problem with groups by dynamic programming. ok is false when that
// takes more than the budget of proof; it is known before anything is spent.
func (p *Problem) exact(b Budget) (s Solution, ok bool) {
	g, work, ok := p.plan(b)
	if !ok || work > b.Proof {
		return Solution{}, false
	}
	for block, inner := range g.inner {
		g.inside[block] = inner.passages()
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
	g.run(after)
	if least := g.least(come); least < Never {
		s.Cost, s.Bound = least, least
		s.Order = append(append([]int{0}, g.follow(come)...), p.n-1)
	}
	return s, true
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
