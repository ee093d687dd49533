package sop

import (
	"cmp"
	"slices"
)

// Budget says how much may be spent, in operations: one is a look at one arc or exchange.
type Budget struct {
	Search int64 // for finding good orders
	Proof  int64 // for proving that there is none better
	// States is how many prefixes may be remembered meanwhile, of some 60 bytes each; with groups: how many
	// pairs of what remains and where it is entered, of 8 bytes each.
	States int
}

// Solution is what was found.
type Solution struct {
	Order      []int // nil when no order exists, or none was found
	Cost       int64
	Bound      int64 // no order costs less
	Proven     bool  // Cost is the least there is; or, without an order, that there is none
	Operations int64 // spent
}

// Gap is how far the cost may lie above the least there is, as a share of the bound.
func (s Solution) Gap() float64 {
	if s.Proven || s.Cost == s.Bound {
		return 0
	}
	return float64(s.Cost-s.Bound) / float64(max(1, s.Bound))
}

// Solve looks for the shortest order; with groups, for the first of the shortest where the budget allows. start is an order to begin with, for instance
// yesterday's; nil for none. One that is no order of this problem is not used.
func (p *Problem) Solve(b Budget, start []int) Solution {
	if p.group != nil {
		if s, ok := p.exact(b); ok {
			return s
		}
	}
	t := newTree(p, b)
	bound, possible := t.root()
	if !possible {
		return Solution{Proven: true, Operations: b.Proof - t.left}
	}
	best, cost := p.first(start)
	x := newExchange(p, b.Search)
	if best != nil {
		best, cost = x.improve(best, cost, bound)
	}
	t.best, t.cost = best, cost
	if best == nil || cost > bound {
		bound = t.prove(bound)
	}
	s := Solution{Order: t.best, Cost: t.cost, Bound: bound, Operations: b.Search - x.left + b.Proof - t.left}
	if t.best == nil {
		s.Cost, s.Bound = 0, 0
	}
	s.Proven = t.best != nil && s.Cost == s.Bound || t.best == nil && t.open >= Never
	return s
}

// prove raises a bound: it goes through what is left, a little way at first, which mostly is enough; then with prices.
func (t *tree) prove(bound int64) int64 {
	budget := t.left
	t.left = budget / 16
	t.search()
	t.left += budget - budget/16
	if !t.spent {
		return t.cost
	}
	bound = t.priced(bound)
	t.again()
	if bound >= t.cost {
		return t.cost
	}
	if _, possible := t.root(); !possible {
		return t.cost
	}
	t.search()
	return max(bound, min(t.cost, t.open))
}

// again forgets what was looked at.
func (t *tree) again() {
	t.open, t.spent, t.room = Never, false, t.room+len(t.known)
	clear(t.known)
}

// first is the better of the order to begin with and of the nearest neighbours';
// nil when neither is one.
func (p *Problem) first(start []int) (order []int, cost int64) {
	cost = Never
	if c, err := p.Cost(start); err == nil {
		order, cost = slices.Clone(start), c
	}
	if near, c, ok := p.nearest(); ok && c < cost {
		order, cost = near, c
	}
	return order, cost
}

// tree is the branch and bound.
type tree struct {
	p      *Problem
	left   int64
	room   int // states that may still be remembered
	best   []int
	cost   int64
	open   int64 // least bound of what was not looked at; Never when there is none
	known  map[state]int64
	path   []int
	seen   set
	grow   *augmenting
	depth  []*assignment // one for each depth, made when needed
	spent  bool
	prices *multipliers // nil where they do not pay
}

// state is what the future of a prefix depends on.
type state struct {
	seen set
	last uint8
}

// branch is a node that may come next.
type branch struct {
	node  int
	bound int64 // of every order that goes on with it
}

func newTree(p *Problem, b Budget) *tree {
	return &tree{
		p: p, left: b.Proof, room: b.States, cost: Never, open: Never, known: map[state]int64{},
		path: append(make([]int, 0, p.n), 0), grow: newAugmenting(p.n), depth: make([]*assignment, p.n),
	}
}

// root works out the first assignment. false: there is none, and so no order.
func (t *tree) root() (bound int64, possible bool) {
	p := t.p
	t.seen.add(0)
	a := t.at(0)
	for i := range p.n {
		a.rowOf[i], a.colOf[i] = -1, -1
	}
	t.grow.cols = t.grow.cols[:0]
	for j := 1; j < p.n; j++ {
		t.grow.cols = append(t.grow.cols, j)
	}
	t.makeReady()
	for i := range p.n - 1 {
		ok, looked := a.augment(p, i, 0, t.grow)
		t.left -= int64(looked)
		if !ok {
			return 0, false
		}
	}
	return a.sum, true
}

// at is the assignment of a depth.
func (t *tree) at(depth int) *assignment {
	if t.depth[depth] == nil {
		t.depth[depth] = newAssignment(t.p.n)
	}
	return t.depth[depth]
}

// makeReady marks what may follow the prefix.
func (t *tree) makeReady() {
	t.grow.ready = set{}
	for j := range t.p.n {
		if !t.seen.has(j) && t.seen.holds(&t.p.before[j]) {
			t.grow.ready.add(j)
		}
	}
}

// search goes through all orders that may be better than the best.
func (t *tree) search() { t.visit(0, 0) }

// visit goes through all that begin with the path, which costs so much.
func (t *tree) visit(depth int, cost int64) {
	if depth == t.p.n-1 {
		if cost < t.cost {
			t.best, t.cost = slices.Clone(t.path), cost
		}
		return
	}
	branches := t.branches(depth, cost)
	for i, b := range branches {
		if b.bound >= t.cost {
			return // and so are those behind it
		}
		if t.spent || t.left <= 0 {
			t.spent = true
			t.open = min(t.open, branches[i].bound)
			return
		}
		last := t.path[depth]
		t.path = append(t.path, b.node)
		t.seen.add(b.node)
		if spent := cost + t.p.arc(last, b.node); t.isNews(b.node, spent) && t.fix(depth, b.node) {
			t.visit(depth+1, spent)
		}
		t.seen.remove(b.node)
		t.path = t.path[:depth+1]
	}
}

// isNews tells that no shorter or equal way to the same state was followed, and remembers this one.
func (t *tree) isNews(last int, cost int64) bool {
	key := state{t.seen, uint8(last)}
	before, known := t.known[key]
	if known && before <= cost {
		return false
	}
	if known || t.room > 0 {
		if !known {
			t.room--
		}
		t.known[key] = cost
	}
	return true
}

// branches are the nodes that may come next with the bounds they give, least first.
func (t *tree) branches(depth int, cost int64) []branch {
	var found []branch
	last, a := t.path[depth], t.depth[depth]
	for j := range t.p.n {
		arc := t.p.arc(last, j)
		t.left--
		if arc >= Never || t.seen.has(j) || !t.seen.holds(&t.p.before[j]) || !t.p.mayFollow(last, j, &t.seen) {
			continue
		}
		// The prices of the prefix bound what goes on with j: no path to augment is needed to see that it leads nowhere.
		if cost+a.sum+arc-a.rowPrice[last]-a.colPrice[j] >= t.cost {
			continue
		}
		t.seen.add(j)
		if before, known := t.known[state{t.seen, uint8(j)}]; (!known || before > cost+arc) && t.fix(depth, j) {
			if bound := t.bound(j, cost+arc, cost+arc+t.depth[depth+1].sum); bound < t.cost {
				found = append(found, branch{j, bound})
			}
		}
		t.seen.remove(j)
	}
	slices.SortStableFunc(found, func(a, b branch) int { return cmp.Compare(a.bound, b.bound) })
	return found
}

// bound is what every order costs that goes on with next, which is seen, costs so much up to there, and
// at least so much as a whole. It counts on what fix has made ready.
func (t *tree) bound(next int, cost, least int64) int64 {
	if t.prices == nil || least >= t.cost || next == t.p.n-1 {
		return least
	}
	before := t.prices.tree.looked
	parts, ok := t.prices.bound(next, &t.seen, &t.grow.ready)
	t.left -= t.prices.tree.looked - before
	if !ok {
		return Never
	}
	return max(least, cost+whole(parts))
}

// fix makes the assignment of the next depth: the path goes on with next, which is seen. false: no
// order can go on so.
func (t *tree) fix(depth, next int) bool {
	p, a, last := t.p, t.at(depth+1), t.path[depth]
	a.copyFrom(t.depth[depth])
	row, col := int(a.rowOf[next]), int(a.colOf[last])
	a.sum -= a.rowPrice[last] + a.colPrice[next]
	a.colOf[last], a.rowOf[next] = -1, -1
	free := make([]int, 0, 2)
	if row != last {
		a.colOf[row], a.rowOf[col] = -1, -1
		free = append(free, row)
	}
	t.makeReady()
	t.grow.cols = t.grow.cols[:0]
	for j := range p.n {
		if !t.seen.has(j) {
			t.grow.cols = append(t.grow.cols, j)
		}
	}
	if next == p.n-1 {
		return len(t.grow.cols) == 0
	}
	if to := int(a.colOf[next]); to >= 0 && !t.grow.ready.has(to) {
		a.colOf[next], a.rowOf[to] = -1, -1
		if row != next {
			free = append(free, next)
		}
	}
	for _, i := range free {
		ok, looked := a.augment(p, i, next, t.grow)
		if t.left -= int64(looked); !ok {
			return false
		}
	}
	return true
}
