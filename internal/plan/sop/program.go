package sop

import "math/bits"

// program is the dynamic program over what remains: blocks of nodes, one after the other,
// each passed through from one of its nodes to another.
type program struct {
	*rests
	nodes  []int      // block by block
	first  []int      // of each block: where its nodes begin
	arcs   []int64    // between nodes, by their places in nodes
	inside [][]int64  // of each block: the least cost from entry to exit through all of it
	inner  []*program // of each block: of its nodes; nil for a block of one
	cost   []int64    // of each entry: from there through all that remains, to the end
	after  []int64    // of each node: from there to the end when nothing remains
	from   []int      // entries of one set
	out    []int64    // exits of one block
}

// newProgram lays out a program. ok is false when it would take more than most entries.
func (p *Problem) newProgram(blocks [][]int, most int) (g *program, ok bool) {
	g = &program{inside: make([][]int64, len(blocks)), inner: make([]*program, len(blocks))}
	before, after, size := make([]uint32, len(blocks)), make([]uint32, len(blocks)), make([]int, len(blocks))
	for b, nodes := range blocks {
		g.first = append(g.first, len(g.nodes))
		g.nodes = append(g.nodes, nodes...)
		size[b] = len(nodes)
		for a := range min(len(blocks), maxBlocks) {
			if p.before[nodes[0]].has(blocks[a][0]) {
				before[b] |= 1 << a
			}
			if p.after[nodes[0]].has(blocks[a][0]) {
				after[b] |= 1 << a
			}
		}
	}
	if g.rests, ok = newRests(before, after, size, most); !ok {
		return nil, false
	}
	for _, i := range g.nodes {
		for _, j := range g.nodes {
			g.arcs = append(g.arcs, p.arc(i, j))
		}
	}
	g.cost = make([]int64, g.at[len(g.sets)])
	g.from, g.out = make([]int, 0, len(g.nodes)), make([]int64, len(g.nodes))
	return g, true
}

// run works out the cost of every entry; after is what it costs to end at each node.
func (g *program) run(after []int64) {
	g.after = after
	for place, set := range g.sets {
		g.enter(set)
		cost := g.cost[g.at[place]:g.at[place+1]]
		for h := g.mayPrecede(set); h != 0; h &= h - 1 {
			block := bits.TrailingZeros32(h)
			k := g.size[block]
			out := g.out[:k]
			for x := range out {
				out[x] = g.onward(set, g.first[block]+x, cost)
			}
			more := set | 1<<block
			at := g.at[g.place[more]] + g.entries(g.ready(more), block)
			for e := range k {
				g.cost[at+e] = through(g.inside[block][e*k:e*k+k], out)
			}
		}
	}
}

// through is the least cost of passing a block, whose exits lead on at such costs.
func through(inside, out []int64) int64 {
	least := int64(Never)
	for x, c := range inside {
		least = min(least, c+out[x])
	}
	return least
}

// enter lists the nodes of the entries of a set.
func (g *program) enter(set uint32) {
	g.from = g.from[:0]
	for h := g.ready(set); h != 0; h &= h - 1 {
		block := bits.TrailingZeros32(h)
		for e := range g.size[block] {
			g.from = append(g.from, g.first[block]+e)
		}
	}
}

// onward is the least cost from a node through a set whose entries are listed, to the end.
func (g *program) onward(set uint32, node int, cost []int64) int64 {
	if set == 0 {
		return g.after[node]
	}
	least := int64(Never)
	row := g.arcs[node*len(g.nodes) : (node+1)*len(g.nodes)]
	for i, e := range g.from {
		least = min(least, row[e]+cost[i])
	}
	return least
}

// least is the least cost of an order, where it costs so much to come to each node first.
func (g *program) least(come []int64) int64 {
	all := len(g.sets) - 1
	g.enter(g.sets[all])
	least := int64(Never)
	for i, e := range g.from {
		least = min(least, come[e]+g.cost[g.at[all]+i])
	}
	return least
}

// follow is the order that is lexicographically first by the nodes' numbers among the cheapest; there must be one.
func (g *program) follow(come []int64) (order []int) {
	for set := g.sets[len(g.sets)-1]; set != 0; {
		entry := g.choose(set, come)
		block := 0
		for block+1 < len(g.first) && g.first[block+1] <= entry {
			block++
		}
		set &^= 1 << block
		exit := entry
		if k := g.size[block]; k == 1 {
			order = append(order, g.nodes[entry])
		} else {
			order = append(order, g.passing(block, entry-g.first[block], set)...)
			for exit = g.first[block]; g.nodes[exit] != order[len(order)-1]; exit++ {
			}
		}
		come = g.arcs[exit*len(g.nodes) : (exit+1)*len(g.nodes)]
	}
	return order
}

// choose is the entry with which a cheapest order goes on, of several the one with the smallest number.
func (g *program) choose(set uint32, come []int64) int {
	g.enter(set)
	chosen, least := -1, int64(Never)
	for i, e := range g.from {
		c := come[e] + g.cost[g.at[g.place[set]]+i]
		if c < least || c == least && chosen >= 0 && g.nodes[e] < g.nodes[chosen] {
			chosen, least = e, c
		}
	}
	return chosen
}

// passing is the way through a block from an entry, when a set remains behind it.
func (g *program) passing(block, entry int, set uint32) []int {
	k := g.size[block]
	out, come := make([]int64, k), make([]int64, k)
	g.enter(set)
	for x := range k {
		out[x] = g.onward(set, g.first[block]+x, g.cost[g.at[g.place[set]]:])
		come[x] = Never
	}
	come[entry] = 0
	g.inner[block].run(out)
	return g.inner[block].follow(come)
}
