package sop

// follow is the order that is lexicographically first by the nodes' numbers among the cheapest; there must be one.
// come is what it costs to come to each node first.
func (g *program) follow(come []int64) (order []int) {
	for now := g.all(); now.blocks != 0; {
		entry := g.choose(now, come)
		block := g.blockOf(entry)
		now = &g.sets[g.place[now.blocks&^(1<<block)]]
		exit := entry
		if g.inner[block] == nil {
			order = append(order, g.nodes[entry])
		} else {
			order = append(order, g.passing(block, entry, now)...)
			for exit = g.first[block]; g.nodes[exit] != order[len(order)-1]; exit++ {
			}
		}
		come = g.coming(exit)
	}
	return order
}

// blockOf is the block of a node, by its place in nodes.
func (g *program) blockOf(place int) (block int) {
	for block+1 < len(g.first) && g.first[block+1] <= place {
		block++
	}
	return block
}

// coming is what it costs to come to each node from one.
func (g *program) coming(from int) (come []int64) {
	block := g.blockOf(from)
	inBlock := from - g.first[block]
	for _, arcs := range g.arcs[g.begin[block]+inBlock/len(never)] {
		come = append(come, arcs[inBlock%len(never)])
	}
	return come
}

// choose is the entry with which a cheapest order goes on, of several the one with the smallest number.
func (g *program) choose(now *rest, come []int64) int {
	g.enter(now)
	chosen, least := -1, int64(Never)
	for i, e := range g.from {
		c := come[e] + g.cost[now.at+i]
		if c < least || c == least && chosen >= 0 && g.nodes[e] < g.nodes[chosen] {
			chosen, least = e, c
		}
	}
	return chosen
}

// passing is the way through a block from an entry, with what remains behind it.
func (g *program) passing(block, entry int, behind *rest) []int {
	g.enter(behind)
	come := make([]int64, g.size[block])
	for e := range come {
		come[e] = Never
	}
	come[entry-g.first[block]] = 0
	out, limit := g.onward(behind, block), int64(Never)
	for x, c := range g.inside[block][(entry-g.first[block])*g.size[block]:][:g.size[block]] {
		limit = min(limit, c+out[x])
	}
	g.inner[block].finish(out, limit)
	return g.inner[block].follow(come)
}
