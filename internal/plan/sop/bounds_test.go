package sop

import (
	"testing"

	"pgregory.net/rapid"
)

// drawProblem is a problem of a few nodes, with or without groups.
func drawProblem(t *rapid.T, most int) *Problem {
	n := rapid.IntRange(2, most).Draw(t, "nodes")
	cost := make([][]int64, n)
	for i := range cost {
		cost[i] = rapid.SliceOfN(rapid.OneOf(rapid.Int64Range(0, 90), rapid.Int64Range(0, 90), rapid.Just(int64(Never))), n, n).Draw(t, "row")
	}
	var precedences [][2]int
	for range rapid.IntRange(0, n/3).Draw(t, "precedences") {
		i := rapid.IntRange(0, n-2).Draw(t, "before")
		precedences = append(precedences, [2]int{i, rapid.IntRange(i+1, n-1).Draw(t, "behind")})
	}
	groups := make([][]int, 3)
	for i := 1; i < n-1; i++ {
		g := rapid.IntRange(0, 6).Draw(t, "group")
		if g < 3 {
			groups[g] = append(groups[g], i)
		}
	}
	if p, err := NewGrouped(cost, precedences, groups); err == nil && rapid.Bool().Draw(t, "grouped") {
		return p
	}
	p, err := New(cost, precedences)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// every calls look with each order of the problem, which begins with a prefix, and its cost.
func (p *Problem) every(prefix []int, look func(order []int, cost int64)) {
	if len(prefix) == p.n {
		if cost, err := p.Cost(prefix); err == nil {
			look(prefix, cost)
		}
		return
	}
	for i := range p.n {
		free := true
		for _, j := range prefix {
			free = free && i != j
		}
		if free {
			p.every(append(append([]int{}, prefix...), i), look)
		}
	}
}

// cheapest is the cost of the cheapest arborescence that holds an arc, or any when that is from 0 to 0: every choice of
// an arc into every node is looked at.
func cheapest(cost []int64, n, from, to int) int64 {
	least, into := none, make([]int, n)
	var choose func(j int, sum int64)
	choose = func(j int, sum int64) {
		if j == n {
			for i := range n {
				at := i
				for steps := 0; at != 0 && steps < n; steps++ {
					at = into[at]
				}
				if at != 0 {
					return
				}
			}
			least = min(least, sum)
			return
		}
		for i := range n {
			if i != j && cost[i*n+j] < absent && (j != to || to == 0 || i == from) {
				into[j] = i
				choose(j+1, sum+cost[i*n+j])
			}
		}
	}
	choose(1, 0)
	return least
}

func TestArborescence_AgreesWithLookingAtEveryOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 6).Draw(t, "nodes")
		cost := rapid.SliceOfN(rapid.OneOf(rapid.Int64Range(-20, 20), rapid.Int64Range(-20, 20), rapid.Just(none)), n*n, n*n).Draw(t, "costs")
		var b arborescence
		b.level(0, 7) // room that was used before
		copy(b.level(0, n).cost, cost)
		want := cheapest(cost, n, 0, 0)
		if ok := b.solve(); ok != (want < absent) || ok && b.total != want {
			t.Fatalf("costs %d (%v), the cheapest %d", b.total, ok, want)
		}
		if want >= absent {
			return
		}
		var sum int64
		for j := 1; j < n; j++ {
			sum += cost[b.levels[0].into[j]*n+j]
		}
		if sum != want {
			t.Fatalf("the arcs %v cost %d, the cheapest ones %d", b.levels[0].into, sum, want)
		}
		for i := range n {
			for j := 1; j < n; j++ {
				if i == j || cost[i*n+j] >= absent {
					continue
				}
				if with := cheapest(cost, n, i, j); want+b.excess(i, j) > with {
					t.Fatalf("with the arc from %d to %d it costs %d, less than %d and %d", i, j, with, want, b.excess(i, j))
				}
			}
		}
	})
}

// Whatever the prices, from every prefix of every order: no way to the end costs less than the bound, and no
// order that betters a cost has an arc that was taken out for it.
func TestMultipliers_BoundWhateverTheyAre(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, 7)
		m := newMultipliers(p, rapid.Bool().Draw(t, "backward"))
		for _, prices := range [][]int64{m.node, m.group} {
			for i := range prices {
				prices[i] = rapid.Int64Range(-30*fine, 30*fine).Draw(t, "price")
			}
		}
		var start set
		start.add(0)
		tree := newTree(p, Budget{})
		tree.seen = start
		tree.makeReady()
		if rapid.Bool().Draw(t, "climb") {
			m.climb(rapid.Int64Range(0, 500).Draw(t, "target"), 5000, 100, tree.grow.ready)
		}
		least := int64(Never)
		p.every([]int{0}, func(order []int, cost int64) {
			least = min(least, cost)
			rest := cost
			tree.seen = set{}
			for place, last := range order[:p.n-1] {
				if place > 0 {
					rest -= p.arc(order[place-1], last)
				}
				tree.seen.add(last)
				tree.makeReady()
				if bound, ok := m.bound(last, &tree.seen, &tree.grow.ready); !ok || bound > rest*fine {
					t.Fatalf("order %v costs %d from place %d on, the bound is %d parts (%v)", order, rest, place, bound, ok)
				}
			}
		})
		tree.seen = start
		tree.makeReady()
		if _, ok := m.bound(0, &tree.seen, &tree.grow.ready); !ok || least >= Never {
			return
		}
		m.spare(least + 1)
		spared := m.forward(p)
		p.every([]int{0}, func(order []int, cost int64) {
			if _, err := spared.Cost(order); cost == least && err != nil {
				t.Fatalf("%v costs %d, which betters %d: %v", order, cost, least+1, err)
			}
		})
	})
}

// Prices come near what they can reach: here the only way into a far corner and out again, which
// neither assignment nor arborescence counts by itself.
func TestMultipliers_SeeTheWayOutOfACorner(t *testing.T) {
	const n = 8
	cost := make([][]int64, n)
	for i := range cost {
		cost[i] = make([]int64, n)
		for j := range cost[i] {
			cost[i][j] = 1
			if (i < 4 || i == n-1) != (j < 4 || j == n-1) {
				cost[i][j] = 500 // into the corner {4 5 6}, or out
			}
		}
	}
	p, err := New(cost, nil)
	if err != nil {
		t.Fatal(err)
	}
	tree := newTree(p, Budget{Proof: 1_000_000})
	assigned, _ := tree.root()
	if assigned > n {
		t.Fatalf("the assignment alone sees %d", assigned)
	}
	tree.best, tree.cost = []int{0, 1, 2, 3, 4, 5, 6, 7}, 2*500+5
	if bound := tree.priced(assigned); bound != 2*500+5 { // two ways of 500, five of 1
		t.Errorf("bound %d, the cheapest order costs %d", bound, 2*500+5)
	}
}
