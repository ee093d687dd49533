package sop_test

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"bayround/internal/plan/sop"
)

// drawn is a problem as it was drawn, so that oracles can read it.
type drawn struct {
	cost        [][]int64
	precedences [][2]int
}

func draw(t *rapid.T, most int) drawn {
	n := rapid.IntRange(2, most).Draw(t, "nodes")
	d := drawn{cost: make([][]int64, n)}
	flat := rapid.SampledFrom([]int64{3, 50, 100_000}).Draw(t, "highest cost")
	for i := range d.cost {
		d.cost[i] = rapid.SliceOfN(rapid.OneOf(rapid.Int64Range(0, flat), rapid.Int64Range(0, flat), rapid.Just(int64(sop.Never))), n, n).Draw(t, "row")
	}
	// Drawn along a hidden order, so that they never go round.
	hidden := rapid.Permutation(numbers(n)).Draw(t, "hidden order")
	for range rapid.IntRange(0, n).Draw(t, "precedences") {
		a, b := rapid.IntRange(0, n-1).Draw(t, "a"), rapid.IntRange(0, n-1).Draw(t, "b")
		if a == b {
			continue
		}
		if slices.Index(hidden, a) > slices.Index(hidden, b) {
			a, b = b, a
		}
		if b != 0 && a != n-1 {
			d.precedences = append(d.precedences, [2]int{a, b})
		}
	}
	return d
}

func numbers(n int) []int {
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	return all
}

func (d drawn) problem(t *rapid.T) *sop.Problem {
	p, err := sop.New(d.cost, d.precedences)
	if err != nil {
		t.Fatalf("a problem without a round was refused: %v", err)
	}
	return p
}

// least is the cost of the shortest order; Never when there is none.
func (d drawn) least() int64 { return grouped{drawn: d}.least() }

// brute is the cost of the shortest order by looking at every one.
func (d drawn) brute(p *sop.Problem) int64 {
	least := int64(sop.Never)
	var try func(order []int, rest []int)
	try = func(order, rest []int) {
		if len(rest) == 0 {
			if cost, err := p.Cost(append(slices.Clone(order), len(d.cost)-1)); err == nil {
				least = min(least, cost)
			}
			return
		}
		for i, node := range rest {
			try(append(slices.Clone(order), node), slices.Delete(slices.Clone(rest), i, i+1))
		}
	}
	try([]int{0}, numbers(len(d.cost))[1:len(d.cost)-1])
	return least
}

var ample = sop.Budget{Search: 20_000, Proof: 50_000_000, States: 200_000}

// agree holds a solution to the least cost there is.
func agree(t *rapid.T, p *sop.Problem, s sop.Solution, least int64) {
	if !s.Proven {
		t.Fatalf("not proven within an ample budget: %+v", s)
	}
	if least >= sop.Never {
		if s.Order != nil {
			t.Fatalf("found an order where there is none: %+v", s)
		}
		return
	}
	cost, err := p.Cost(s.Order)
	if err != nil || cost != least || s.Cost != least || s.Bound != least {
		t.Fatalf("order costs %d (%v), solution says %d and at least %d, the least is %d", cost, err, s.Cost, s.Bound, least)
	}
}

func TestSolve_AgreesWithDynamicProgramming(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t, 12)
		p := d.problem(t)
		agree(t, p, p.Solve(ample, nil), d.least())
	})
}

// Fifteen nodes, which is as far as the programming goes in a moment.
func TestSolve_AgreesWithDynamicProgrammingAtFifteen(t *testing.T) {
	d := drawn{cost: make([][]int64, 15)}
	for i := range d.cost {
		for j := range d.cost {
			d.cost[i] = append(d.cost[i], int64((i*7+j*13+i*j*5)%37)) // from nowhere; any numbers do
		}
	}
	d.precedences = [][2]int{{3, 9}, {9, 4}, {12, 2}, {5, 6}}
	p, err := sop.New(d.cost, d.precedences)
	if err != nil {
		t.Fatal(err)
	}
	if s, want := p.Solve(ample, nil), d.least(); !s.Proven || s.Cost != want {
		t.Errorf("got %+v, the least is %d", s, want)
	}
}

func TestSolve_AgreesWithLookingAtEveryOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t, 8)
		p := d.problem(t)
		agree(t, p, p.Solve(ample, nil), d.brute(p))
	})
}

// However little may be spent: the order keeps every precedence, costs no more than the nearest neighbours',
// and the bound is one.
func TestSolve_HoldsOnASmallBudget(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t, 12)
		p, least := d.problem(t), d.least()
		b := sop.Budget{
			Search: rapid.Int64Range(0, 2000).Draw(t, "search"),
			Proof:  rapid.OneOf(rapid.Int64Range(0, 2000), rapid.Int64Range(2000, 60_000)).Draw(t, "proof"),
			States: rapid.IntRange(0, 100).Draw(t, "states"),
		}
		s := p.Solve(b, nil)
		if s.Order == nil {
			if s.Proven && least < sop.Never {
				t.Fatalf("says that there is no order, one of cost %d exists", least)
			}
			return
		}
		cost, err := p.Cost(s.Order)
		if err != nil || cost != s.Cost {
			t.Fatalf("order costs %d (%v), solution says %d", cost, err, s.Cost)
		}
		if s.Bound > least || s.Cost < least || s.Proven != (s.Cost == s.Bound) {
			t.Fatalf("%+v, the least is %d", s, least)
		}
		if near, ok := d.nearest(); ok && s.Cost > near {
			t.Fatalf("costs %d, the nearest neighbours' order %d", s.Cost, near)
		}
	})
}

// nearest is the cost of always going to the nearest node that is ready.
func (d drawn) nearest() (cost int64, ok bool) {
	n := len(d.cost)
	seen := make([]bool, n)
	seen[0] = true
	for at, count := 0, 1; count < n; count++ {
		next := -1
		for j := range n {
			if seen[j] || d.cost[at][j] >= sop.Never || !d.ready(j, seen, count) {
				continue
			}
			if next < 0 || d.cost[at][j] < d.cost[at][next] {
				next = j
			}
		}
		if next < 0 {
			return 0, false
		}
		cost += d.cost[at][next]
		seen[next], at = true, next
	}
	return cost, true
}

func (d drawn) ready(j int, seen []bool, count int) bool {
	if j == len(d.cost)-1 {
		return count == len(d.cost)-1
	}
	for _, p := range d.precedences {
		if p[1] == j && !seen[p[0]] {
			return false
		}
	}
	return true
}

// The nodes' numbers are names: given in another order, the problem has the same least cost, and a start changes nothing either.
func TestSolve_TheSameForAnyOrderOfInput(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t, 10)
		n := len(d.cost)
		names := append([]int{0}, rapid.Permutation(numbers(n)[1:max(1, n-1)]).Draw(t, "names")...)
		if n > 1 {
			names = append(names, n-1)
		}
		other := drawn{cost: make([][]int64, n)}
		for i := range n {
			other.cost[i] = make([]int64, n)
			for j := range n {
				other.cost[i][j] = d.cost[names[i]][names[j]]
			}
		}
		for _, p := range d.precedences {
			other.precedences = append(other.precedences, [2]int{slices.Index(names, p[0]), slices.Index(names, p[1])})
		}
		a := d.problem(t).Solve(ample, nil)
		b := other.problem(t).Solve(ample, nil)
		if a.Cost != b.Cost || a.Bound != b.Bound || (a.Order == nil) != (b.Order == nil) {
			t.Fatalf("%+v\n%+v", a, b)
		}
		again := d.problem(t).Solve(ample, nil)
		if !slices.Equal(a.Order, again.Order) || a.Operations != again.Operations {
			t.Fatalf("solved twice: %+v\n%+v", a, again)
		}
		from := d.problem(t).Solve(ample, a.Order)
		if from.Cost != a.Cost {
			t.Fatalf("begun with the best: %+v\n%+v", a, from)
		}
	})
}
