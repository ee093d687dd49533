package sop

import "math/bits"

// program is the dynamic program over what remains: blocks of nodes, one after the other,
// each passed through from one of its nodes to another.
type program struct {
	*rests
	nodes  []int      // block by block
	first  []int      // of each block: where its nodes begin
	arcs   [][]lanes  // from every four nodes of a block, to each node by its place in nodes
	begin  []int      // of each block: where its fours begin in arcs
	inside [][]int64  // of each block: the least cost from entry to exit through all of it
	inner  []*program // of each block: of its nodes; nil for a block of one
	cost   []int64    // of each entry: from there through all that remains, to the end
	after  []int64    // of each node: from there to the end when nothing remains
	from   []int      // entries of one set, as places in nodes
	out    []int64    // exits of one block, in fours
	fence  *fence     // of a program of single nodes, when it is asked for passages
}

// lanes are four costs that are worked out together; it is what makes the program quick.
type lanes [4]int64

// never are four costs that no path may pay.
var never = lanes{Never, Never, Never, Never}

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
	for _, nodes := range blocks {
		g.begin = append(g.begin, len(g.arcs))
		for four := 0; four < len(nodes); four += len(never) {
			g.arcs = append(g.arcs, p.leaving(nodes[four:min(four+len(never), len(nodes))], g.nodes))
		}
	}
	g.cost, g.from, g.out = make([]int64, g.total()), make([]int, 0, len(g.nodes)), make([]int64, len(g.nodes)+len(never))
	return g, true
}

// leaving are the arcs from up to four nodes to others.
func (p *Problem) leaving(from, to []int) []lanes {
	arcs := make([]lanes, len(to))
	for place, j := range to {
		arcs[place] = never
		for lane, i := range from {
			arcs[place][lane] = p.arc(i, j)
		}
	}
	return arcs
}

// run works out the cost of every entry; after is what it costs to end at each node.
func (g *program) run(after []int64) {
	g.after = after
	for place := range g.sets {
		behind := &g.sets[place]
		g.enter(behind)
		for h := behind.ahead; h != 0; h &= h - 1 {
			block := bits.TrailingZeros32(h)
			k, at := g.size[block], g.entry(behind, block)
			out := g.onward(behind, block)
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
func (g *program) enter(s *rest) {
	g.from = g.from[:0]
	for h := s.ready; h != 0; h &= h - 1 {
		block := bits.TrailingZeros32(h)
		for e := range g.size[block] {
			g.from = append(g.from, g.first[block]+e)
		}
	}
}

// onward is the least cost from each node of a block through what remains behind it, whose
// entries are listed, to the end. It holds until the next call.
func (g *program) onward(behind *rest, block int) []int64 {
	k := g.size[block]
	if behind.blocks == 0 {
		return g.after[g.first[block] : g.first[block]+k]
	}
	cost := g.cost[behind.at : behind.at+len(g.from)]
	for four := 0; four < k; four += len(never) {
		arcs, least := g.arcs[g.begin[block]+four/len(never)], never
		for i, e := range g.from {
			c, a := cost[i], &arcs[e]
			least[0] = min(least[0], c+a[0])
			least[1] = min(least[1], c+a[1])
			least[2] = min(least[2], c+a[2])
			least[3] = min(least[3], c+a[3])
		}
		copy(g.out[four:], least[:])
	}
	return g.out[:k]
}

// least is the least cost of an order, where it costs so much to come to each node first.
func (g *program) least(come []int64) int64 {
	g.enter(g.all())
	least := int64(Never)
	for i, e := range g.from {
		least = min(least, come[e]+g.cost[g.all().at+i])
	}
	return least
}
