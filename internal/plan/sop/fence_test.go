package sop

import (
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// slowly solves a problem with groups by the whole dynamic program: every way through every group is worked out.
func slowly(p *Problem, b Budget) Solution {
	g, _, _ := p.plan(b)
	for block, inner := range g.inner {
		g.inside[block] = inner.passages(nil)
	}
	come, after := make([]int64, len(g.nodes)), make([]int64, len(g.nodes))
	for place, i := range g.nodes {
		come[place], after[place] = p.arc(0, i), p.arc(i, p.n-1)
	}
	g.run(after)
	s := Solution{Cost: g.least(come)}
	if s.Cost >= Never {
		return Solution{}
	}
	s.Order = []int{0}
	for now := g.all(); now.blocks != 0; {
		entry := g.choose(now, come)
		block := g.blockOf(entry)
		now = &g.sets[g.place[now.blocks&^(1<<block)]]
		exit := entry
		if inner := g.inner[block]; inner == nil {
			s.Order = append(s.Order, g.nodes[entry])
		} else {
			g.enter(now)
			inner.run(slices.Clone(g.onward(now, block)))
			into := slices.Repeat([]int64{Never}, g.size[block])
			into[entry-g.first[block]] = 0
			s.Order = append(s.Order, inner.follow(into)...)
			exit = slices.Index(g.nodes, s.Order[len(s.Order)-1])
		}
		come = g.coming(exit)
	}
	s.Order = append(s.Order, p.n-1)
	return s
}

// drawLarge draws stands along a ring, one or two large groups of them; with ways that are rounded, so that many orders cost the
// same, with something to be paid for arriving at some, and sometimes with ways that are no ways on a ring at all.
func drawLarge(t *rapid.T) *Problem {
	dice := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
	sizes := []int{large + dice.IntN(3), 1 + dice.IntN(3), 1, []int{1, large}[dice.IntN(2)]}
	n := 2
	var groups [][]int
	for _, size := range sizes {
		var nodes []int
		for range size {
			nodes, n = append(nodes, n-1), n+1
		}
		groups = append(groups, nodes)
	}
	at, arrive := make([]int, n), make([]int64, n)
	for i := range at {
		at[i], arrive[i] = dice.IntN(240), []int64{0, 0, 4, 15}[dice.IntN(4)]
	}
	if dice.IntN(2) == 0 {
		slices.Sort(at) // numbered as they lie
	}
	noise := []int64{0, 0, 1, 60}[dice.IntN(4)]
	cost := make([][]int64, n)
	for i := range cost {
		cost[i] = make([]int64, n)
		for j := range cost[i] {
			way := max(at[i]-at[j], at[j]-at[i])
			cost[i][j] = int64(min(way, 240-way)+2)/4 + arrive[j] + dice.Int64N(noise+1)
		}
	}
	var precedences [][2]int
	for range dice.IntN(6) {
		if a, b := 1+dice.IntN(n-2), 1+dice.IntN(n-2); a < b {
			precedences = append(precedences, [2]int{a, b})
		}
	}
	p, err := NewGrouped(cost, precedences, groups)
	if err != nil {
		t.Fatal(err) // all precedences go from smaller numbers to greater
	}
	return p
}

// What is limited beforehand gives the very order that the whole program gives: the first of the cheapest.
func TestExact_LimitsLeaveOutNothingThatCounts(t *testing.T) {
	b := Budget{Proof: 1 << 40, States: 1 << 40}
	ties := 0
	rapid.Check(t, func(t *rapid.T) {
		p := drawLarge(t)
		want := slowly(p, b)
		got, ok := p.exact(b)
		if !ok || got.Cost != want.Cost || !slices.Equal(got.Order, want.Order) {
			t.Fatalf("limited %v (%d), whole %v (%d)", got.Order, got.Cost, want.Order, want.Cost)
		}
		if s := slices.Clone(got.Order); p.tied(s, got.Cost) {
			ties++
		}
	})
	if ties == 0 {
		t.Error("there was never an order as good")
	}
}

// tied tells that changing places of two neighbours gives another order that costs as much.
func (p *Problem) tied(order []int, cost int64) bool {
	for i := 1; i < len(order)-2; i++ {
		order[i], order[i+1] = order[i+1], order[i]
		if c, err := p.Cost(order); err == nil && c == cost {
			return true
		}
		order[i], order[i+1] = order[i+1], order[i]
	}
	return false
}
