package sop

import "math/bits"

// passages is the least cost from each node of a block through all others to each, four exits at a time; what
// costs more than their limit may be left out, as if there were no way; nil for no limits. Its blocks are single nodes.
func (g *program) passages(limits []int64) []int64 {
	if g == nil { // a block of one
		return []int64{0}
	}
	k := len(g.nodes)
	costs, entries := make([]int64, k*k), make([]lanes, g.total())
	if g.fence == nil {
		g.fence = newFence(g)
	}
	for exit := 0; exit < k; exit += len(never) {
		limit := int64(Never)
		if limits != nil {
			limit = limits[exit/len(never)]
		}
		g.toward(exit, entries, limit)
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

// toward works out, for each entry, what it costs to end at each of four nodes, within a limit.
func (g *program) toward(exit int, entries []lanes, limit int64) {
	f := g.fence
	for i := range entries {
		entries[i] = never
	}
	clear(f.alive)
	f.alive[0] = true
	for place := range g.sets {
		if !f.alive[place] {
			continue
		}
		behind := &g.sets[place]
		g.enter(behind)
		from := entries[behind.at : behind.at+len(g.from)]
		if limit < Never && behind.blocks != 0 && !f.keep(place, from, limit) {
			continue
		}
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
			if least != never {
				entries[g.entry(behind, block)] = least
				f.alive[g.place[behind.blocks|1<<block]] = true
			}
		}
	}
}

// keep takes out of the entries of a set what cannot be had within a limit. false: that is all of them.
func (f *fence) keep(place int, from []lanes, limit int64) (some bool) {
	for i, e := range f.g.from {
		if from[i] == never {
			continue
		}
		room := f.room(place, e, limit)
		for lane, c := range from[i] {
			if c > room {
				from[i][lane] = Never
			} else {
				some = true
			}
		}
	}
	return some
}

// finish works out, as run does, what it costs from each entry to the end, within a limit; after is what it costs to end at
// each node. Its blocks are single nodes.
func (g *program) finish(after []int64, limit int64) {
	g.after = after
	for i := range g.cost {
		g.cost[i] = Never
	}
	clear(g.fence.alive)
	g.fence.alive[0] = true
	for place := range g.sets {
		if !g.fence.alive[place] {
			continue
		}
		behind := &g.sets[place]
		g.enter(behind)
		some := behind.blocks == 0
		for i, e := range g.from {
			if c := &g.cost[behind.at+i]; *c > g.fence.room(place, e, limit) {
				*c = Never
			} else {
				some = true
			}
		}
		if !some {
			continue
		}
		for h := behind.ahead; h != 0; h &= h - 1 {
			block := bits.TrailingZeros32(h)
			if out := g.onward(behind, block)[0]; out < Never {
				g.cost[g.entry(behind, block)] = out
				g.fence.alive[g.place[behind.blocks|1<<block]] = true
			}
		}
	}
}
