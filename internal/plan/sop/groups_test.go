package sop_test

import (
	"math/bits"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"bayround/internal/plan/sop"
)

// grouped is a problem with groups as it was drawn.
type grouped struct {
	drawn
	groups [][]int
}

func drawGrouped(t *rapid.T, most int) grouped {
	d := draw(t, most)
	n := len(d.cost)
	g := grouped{drawn: d}
	in := rapid.SliceOfN(rapid.IntRange(0, 4), n, n).Draw(t, "group of each") // 0 = alone
	byGroup := make([][]int, 5)
	for i := 1; i < n-1; i++ {
		byGroup[in[i]] = append(byGroup[in[i]], i)
	}
	g.groups = byGroup[1:]
	return g
}

// problem is the problem, or nil where groups and precedences contradict each other.
func (g grouped) problem(t *rapid.T) *sop.Problem {
	p, err := sop.NewGrouped(g.cost, g.precedences, g.groups)
	if err != nil {
		free := grouped{drawn{make([][]int64, len(g.cost)), g.precedences}, g.groups}
		for i := range free.cost {
			free.cost[i] = make([]int64, len(g.cost))
		}
		if free.least() < sop.Never || !strings.Contains(err.Error(), "cannot each stay together") {
			t.Fatalf("a problem that has an order was refused: %v", err)
		}
		return nil
	}
	return p
}

// of is the group of a node; below 0 for one that stands alone.
func (g grouped) of(i int) int {
	return slices.IndexFunc(g.groups, func(nodes []int) bool { return slices.Contains(nodes, i) })
}

// legal tells by the definitions alone whether an order keeps precedences and groups, and what it costs.
func (g grouped) legal(order []int) (cost int64, ok bool) {
	if len(order) != len(g.cost) || order[0] != 0 || order[len(order)-1] != len(order)-1 {
		return 0, false
	}
	for _, p := range g.precedences {
		if slices.Index(order, p[0]) > slices.Index(order, p[1]) {
			return 0, false
		}
	}
	changes := map[int]int{}
	for i := 1; i < len(order); i++ {
		if a, b := g.of(order[i-1]), g.of(order[i]); a != b && b >= 0 {
			if changes[b]++; changes[b] > 1 {
				return 0, false
			}
		}
		cost += g.cost[order[i-1]][order[i]]
	}
	return cost, len(slices.Compact(slices.Sorted(slices.Values(order)))) == len(order) && cost < sop.Never
}

// least is the cost of the shortest order by dynamic programming over visited nodes, node by node: held to
// nothing but the problem's definition (Held and Karp 1962, with precedences and groups). Never when there is none.
func (g grouped) least() int64 {
	n := len(g.cost)
	before, group := make([]uint32, n), make([]uint32, n)
	for i := range n {
		if i > 0 {
			before[i] |= 1
		}
		if i < n-1 {
			before[n-1] |= 1 << i
		}
		if h := g.of(i); h >= 0 {
			for _, k := range g.groups[h] {
				group[i] |= 1 << k
			}
		}
	}
	for _, p := range g.precedences {
		before[p[1]] |= 1 << p[0]
	}
	best := map[[2]uint32]int64{{1, 0}: 0}
	for size := 1; size < n; size++ {
		next := map[[2]uint32]int64{}
		for at, cost := range best {
			open := group[at[1]] &^ at[0]
			for j := range n {
				c := g.cost[at[1]][j]
				if at[0]>>j&1 == 1 || before[j]&^at[0] != 0 || c >= sop.Never || open != 0 && open>>j&1 == 0 {
					continue
				}
				to := [2]uint32{at[0] | 1<<j, uint32(j)}
				if known, ok := next[to]; !ok || cost+c < known {
					next[to] = cost + c
				}
			}
		}
		best = next
	}
	least := int64(sop.Never)
	for at, cost := range best {
		if bits.OnesCount32(at[0]) == n {
			least = min(least, cost)
		}
	}
	return least
}

// brute is the order that is first by the nodes' numbers among the cheapest, by looking at every one; nil when there is none.
func (g grouped) brute() (first []int, least int64) {
	least = sop.Never
	n := len(g.cost)
	var try func(order, rest []int)
	try = func(order, rest []int) {
		if len(rest) == 0 {
			whole := append(slices.Clone(order), n-1)
			if cost, ok := g.legal(whole); ok && cost < least { // the orders come by their numbers
				first, least = whole, cost
			}
			return
		}
		for i, node := range rest {
			try(append(slices.Clone(order), node), slices.Delete(slices.Clone(rest), i, i+1))
		}
	}
	try([]int{0}, numbers(n)[1:n-1])
	return first, least
}

// nearest is the cost of always going to the nearest node that is ready, within the group until that is done.
func (g grouped) nearest() (cost int64, ok bool) {
	n := len(g.cost)
	order, seen := []int{0}, make([]bool, n)
	seen[0] = true
	for len(order) < n {
		last, next := order[len(order)-1], -1
		for j := range n {
			if seen[j] || g.cost[last][j] >= sop.Never || !g.mayCome(last, j, seen) {
				continue
			}
			if next < 0 || g.cost[last][j] < g.cost[last][next] {
				next = j
			}
		}
		if next < 0 {
			return 0, false
		}
		seen[next] = true
		order = append(order, next)
	}
	return g.legal(order)
}

// mayCome tells that j is ready, its group too, and that it interrupts none.
func (g grouped) mayCome(last, j int, seen []bool) bool {
	done := func(i int) bool { return seen[i] }
	if h := g.of(last); h >= 0 && h != g.of(j) && slices.ContainsFunc(g.groups[h], func(i int) bool { return !done(i) }) {
		return false
	}
	if j == len(seen)-1 {
		return !slices.Contains(seen[:j], false)
	}
	for _, p := range g.precedences {
		same := g.of(j) >= 0 && g.of(p[1]) == g.of(j) && g.of(p[0]) != g.of(j)
		if (p[1] == j || same) && !done(p[0]) {
			return false
		}
	}
	return true
}

// ring is a problem like a round: stands along a closed line of 24 m, walked either way at so many tenths of a second a
// metre, groups of about the same size round random middles, and a precedence for every few nodes.
func ring(nodes, groups, precedences int, seed uint64) grouped {
	r := rand.New(rand.NewPCG(seed, 1))
	const around = 24_000 // mm
	at := make([]int, nodes)
	g := grouped{groups: make([][]int, groups)}
	for i := 1; i < nodes-1; i++ {
		h := (i - 1) % groups
		g.groups[h] = append(g.groups[h], i)
		at[i] = (h*around/groups*5 + r.IntN(around/2)) % around
	}
	for i := range nodes {
		g.cost = append(g.cost, make([]int64, nodes))
		extra := int64(r.IntN(30)) // what the halt takes besides walking
		for j := range nodes {
			way := max(at[i]-at[j], at[j]-at[i])
			g.cost[i][j] = int64(min(way, around-way)/120) + extra
		}
	}
	hidden := r.Perm(groups)
	for range precedences {
		i, j := 1+r.IntN(nodes-2), 1+r.IntN(nodes-2)
		a, b := (i-1)%groups, (j-1)%groups
		if hidden[a] > hidden[b] || a == b && i > j {
			i, j = j, i
		}
		if i != j {
			g.precedences = append(g.precedences, [2]int{i, j})
		}
	}
	return g
}

func TestSolveGrouped_AgreesWithLookingAtEveryOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := drawGrouped(t, 8)
		p := g.problem(t)
		if p == nil {
			return
		}
		first, least := g.brute()
		s := p.Solve(ample, nil)
		agree(t, p, s, least)
		if !slices.Equal(s.Order, first) {
			t.Fatalf("order %v, the first of the cheapest is %v", s.Order, first)
		}
	})
}

func TestSolveGrouped_AgreesWithDynamicProgramming(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := drawGrouped(t, 13)
		p := g.problem(t)
		if p == nil {
			return
		}
		s, least := p.Solve(ample, nil), g.least()
		agree(t, p, s, least)
		if s.Order != nil {
			if cost, ok := g.legal(s.Order); !ok || cost != s.Cost {
				t.Fatalf("%v costs %d, legal %v; the solution says %d", s.Order, cost, ok, s.Cost)
			}
		}
	})
}

func TestSolveGrouped_AgreesWithDynamicProgrammingAtFifteen(t *testing.T) {
	for seed := range uint64(8) {
		g := ring(15, 1+int(seed), int(seed), seed)
		p, err := sop.NewGrouped(g.cost, g.precedences, g.groups)
		if err != nil {
			t.Fatal(err)
		}
		if s, want := p.Solve(ample, nil), g.least(); !s.Proven || s.Cost != want {
			t.Errorf("seed %d: got %+v, the least is %d", seed, s, want)
		}
	}
}

// However little may be spent: groups and precedences are kept, and the bound is one.
func TestSolveGrouped_HoldsOnASmallBudget(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := drawGrouped(t, 12)
		p := g.problem(t)
		if p == nil {
			return
		}
		least := g.least()
		s := p.Solve(sop.Budget{
			Search: rapid.Int64Range(0, 3000).Draw(t, "search"),
			Proof:  rapid.OneOf(rapid.Int64Range(0, 3000), rapid.Int64Range(3000, 60_000)).Draw(t, "proof"),
			States: rapid.IntRange(0, 100).Draw(t, "states"),
		}, nil)
		near, reached := g.nearest()
		if s.Order == nil {
			if s.Proven && least < sop.Never || reached {
				t.Fatalf("no order (%+v), the least is %d, the nearest neighbours' %d %v", s, least, near, reached)
			}
			return
		}
		if cost, ok := g.legal(s.Order); !ok || cost != s.Cost {
			t.Fatalf("%v costs %d, legal %v; the solution says %d", s.Order, cost, ok, s.Cost)
		}
		if s.Bound > least || s.Cost < least || s.Proven != (s.Cost == s.Bound) {
			t.Fatalf("%+v, the least is %d", s, least)
		}
		if reached && s.Cost > near {
			t.Fatalf("costs %d, the nearest neighbours' order %d", s.Cost, near)
		}
	})
}

// The order of rows, pairs and groups says nothing: only the nodes' numbers decide between equals.
func TestSolveGrouped_TheSameForAnyOrderOfInput(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := drawGrouped(t, 10)
		p := g.problem(t)
		if p == nil {
			return
		}
		other := grouped{drawn: drawn{cost: g.cost}}
		if len(g.precedences) > 0 {
			other.precedences = rapid.Permutation(g.precedences).Draw(t, "precedences again")
		}
		for _, nodes := range rapid.Permutation(g.groups).Draw(t, "groups again") {
			if len(nodes) > 0 {
				nodes = rapid.Permutation(nodes).Draw(t, "group again")
			}
			other.groups = append(other.groups, nodes)
		}
		budget := ample
		if rapid.Bool().Draw(t, "too many states") {
			budget.States = 0
		}
		a, b := p.Solve(budget, nil), other.problem(t).Solve(budget, nil)
		if !slices.Equal(a.Order, b.Order) || a.Cost != b.Cost || a.Bound != b.Bound {
			t.Fatalf("%+v\n%+v", a, b)
		}
		n := len(g.cost)
		names := append(append([]int{0}, rapid.Permutation(numbers(n)[1:n-1]).Draw(t, "names")...), n-1)
		c := g.renamed(names).problem(t).Solve(ample, nil)
		if whole := p.Solve(ample, nil); c.Cost != whole.Cost || (c.Order == nil) != (whole.Order == nil) {
			t.Fatalf("%+v\n%+v", whole, c)
		}
	})
}

// renamed is the same problem with other numbers: names holds the old number of each node.
func (g grouped) renamed(names []int) (other grouped) {
	for _, i := range names {
		var row []int64
		for _, j := range names {
			row = append(row, g.cost[i][j])
		}
		other.cost = append(other.cost, row)
	}
	for _, p := range g.precedences {
		other.precedences = append(other.precedences, [2]int{slices.Index(names, p[0]), slices.Index(names, p[1])})
	}
	for _, nodes := range g.groups {
		var renamed []int
		for _, i := range nodes {
			renamed = append(renamed, slices.Index(names, i))
		}
		other.groups = append(other.groups, renamed)
	}
	return other
}

func TestCost_SaysThatAGroupIsInterrupted(t *testing.T) {
	g := ring(8, 2, 0, 1) // {1 3 5} and {2 4 6}
	p, err := sop.NewGrouped(g.cost, nil, g.groups)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.Cost([]int{0, 1, 3, 2, 5, 4, 6, 7}); err == nil || !strings.Contains(err.Error(), "interrupts the group [1 3 5]") {
		t.Errorf("%v", err)
	}
}

func TestNewGrouped_SaysWhatIsWrong(t *testing.T) {
	cost := ring(8, 1, 0, 1).cost
	for _, tc := range []struct {
		precedences [][2]int
		groups      [][]int
		want        string
	}{
		{nil, [][]int{{0, 1}}, "holds 0"},
		{nil, [][]int{{6, 7}}, "holds 7"},
		{nil, [][]int{{-1}}, "holds -1"},
		{nil, [][]int{{1, 2}, {2, 3}}, "node 2 stands twice"},
		{nil, [][]int{{1, 1}}, "node 1 stands twice"},
		{[][2]int{{1, 3}, {4, 2}}, [][]int{{1, 2}, {3, 4}}, "[1 2], [3 4] cannot each stay together: node 1 before node 3, node 4 before node 2"},
		{[][2]int{{1, 5}, {5, 2}}, [][]int{{1, 2}}, "[1 2], [5] cannot each stay together: node 1 before node 5, node 5 before node 2"},
		{[][2]int{{1, 3}, {4, 5}, {5, 2}, {6, 1}}, [][]int{{1, 2}, {3, 4}}, "[1 2], [3 4], [5] cannot each stay together: node 1 before node 3, node 4 before node 5, node 5 before node 2"},
		{[][2]int{{1, 3}, {2, 4}, {1, 2}, {4, 3}}, [][]int{{1, 2}, {3, 4}, {}}, ""},
	} {
		_, err := sop.NewGrouped(cost, tc.precedences, tc.groups)
		if tc.want == "" && err != nil || tc.want != "" && (err == nil || !strings.Contains(err.Error(), tc.want)) {
			t.Errorf("%v %v: %v, expected %q", tc.precedences, tc.groups, err, tc.want)
		}
	}
}

// Whatever is asked: no panic, and a solution that is an order or a reason why not.
func FuzzNewGrouped(f *testing.F) {
	f.Add([]byte{6, 1, 2, 0, 0xff}, []byte{1, 2, 4, 3}, []byte{1, 2, 0, 3, 4})
	f.Add([]byte{9, 7}, []byte{1, 5, 6, 2}, []byte{1, 2, 3, 0, 5, 6})
	f.Add([]byte{2}, []byte{}, []byte{0, 0})
	f.Fuzz(func(t *testing.T, costs, pairs, groups []byte) {
		if len(costs) == 0 || len(costs) > 300 || len(pairs) > 60 {
			return
		}
		g := grouped{groups: [][]int{nil}}
		n := int(costs[0]%24) + 1
		for i := range n {
			g.cost = append(g.cost, make([]int64, n))
			for j := range n {
				c := int64(costs[(i*n+j)%len(costs)])
				g.cost[i][j] = c
				if c == 0xff {
					g.cost[i][j] = sop.Never
				}
			}
		}
		for i := 1; i < len(pairs); i += 2 {
			g.precedences = append(g.precedences, [2]int{int(pairs[i-1]), int(pairs[i])})
		}
		for _, b := range groups {
			if last := len(g.groups) - 1; b == 0 {
				g.groups = append(g.groups, nil)
			} else {
				g.groups[last] = append(g.groups[last], int(b))
			}
		}
		p, err := sop.NewGrouped(g.cost, g.precedences, g.groups)
		if err != nil {
			return
		}
		for _, b := range []sop.Budget{{Search: 2000, Proof: 100_000, States: 5000}, {Search: 2000, Proof: 2000}} {
			s := p.Solve(b, nil)
			if s.Order == nil {
				continue
			}
			if cost, ok := g.legal(s.Order); !ok || cost != s.Cost || s.Bound > s.Cost || s.Proven != (s.Bound == s.Cost) {
				t.Errorf("%+v: %d, %v", s, cost, ok)
			}
		}
	})
}

func BenchmarkSolveGrouped(b *testing.B) {
	for _, tc := range []struct {
		name                       string
		nodes, groups, precedences int
	}{
		{"70 nodes in 14 groups, free", 72, 14, 0},
		{"70 nodes in 14 groups, 14 precedences", 72, 14, 14},
		{"35 nodes in 8 groups, 7 precedences", 37, 8, 7},
		{"60 nodes in 5 groups, 12 precedences", 62, 5, 12},
		{"144 nodes in 12 groups, 24 precedences", 146, 12, 24},
		{"168 nodes in 14 groups, 28 precedences", 170, 14, 28},
	} {
		g := ring(tc.nodes, tc.groups, tc.precedences, 7)
		b.Run(tc.name, func(b *testing.B) {
			for b.Loop() {
				p, err := sop.NewGrouped(g.cost, g.precedences, g.groups)
				if err != nil {
					b.Fatal(err)
				}
				s := p.Solve(sop.Budget{Search: 100_000, Proof: 1_000_000_000, States: 4_000_000}, nil)
				if !s.Proven {
					b.Fatalf("not proven: %+v", s)
				}
				b.ReportMetric(float64(s.Operations), "operations")
			}
		})
	}
}
