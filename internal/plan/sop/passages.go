package sop

import "math/bits"

// passages is the least cost from each node of a block through all others to each, four exits at a time.
// Its blocks are single nodes.
func (g *program) passages() []int64 {
	if g == nil { // a block of one
		return []int64{0}
	}
	k := len(g.nodes)
	costs, entries := make([]int64, k*k), make([]lanes, g.total())
	for exit := 0; exit < k; exit += len(never) {
		g.toward(exit, entries)
		for e := range k {
			for x := exit; x < min(exit+len(never), k); x++ {
				costs[e*k+x] = Never
			}
		}
		g.enter(g.all())
		for i, e := range g.from {
			copy(costs[e*k+exit:e*k+k], entries[g.all().at+i][:])
		}
	}
	return costs
}

// toward works out, for each entry, what it costs to end at each of four nodes.
func (g *program) toward(exit int, entries []lanes) {
	for place := range g.sets {
		behind := &g.sets[place]
		g.enter(behind)
		from := entries[behind.at : behind.at+len(g.from)]
		for h := behind.ahead; h != 0; h &= h - 1 {
			block := bits.TrailingZeros32(h)
			arcs, least := g.arcs[g.begin[block]], never
			if behind.blocks == 0 && block >= exit && block < exit+len(least) {
				least[block-exit] = 0
			}
			for i, e := range g.from {
				c, on := arcs[e][0], &from[i]
				least[0] = min(least[0], c+on[0])
				least[1] = min(least[1], c+on[1])
				least[2] = min(least[2], c+on[2])
				least[3] = min(least[3], c+on[3])
			}
			entries[g.entry(behind, block)] = least
		}
	}
}
