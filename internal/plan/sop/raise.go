package sop

import "slices"

// rounds is how often the prices are moved at most; trial is how often before it is seen whether they are worth it.
const (
	rounds = 3000
	trial  = 200
)

// patience is how many moves in a row may better nothing before they become smaller.
const patience = 60

// worth says when more moves are made, and prices are asked again at every branch: where they close at least one part in so many
// of the gap between the assignment and the best.
const worth = 4

// ascent moves the prices of multipliers towards the highest bound.
type ascent struct {
	*multipliers
	ready     set // at the beginning
	best      int64
	bestNode  []int64
	bestGroup []int64
	slope     [2][]int64 // of nodes and of groups
	before    [2][]int64 // the same, a move ago
}

// climb moves the prices towards the highest bound, so many times or until it has looked at so many arcs; it
// leaves those of the best bound, its arborescence with them. target is a cost that lies above, the better the
// nearer. ok is false when there is no path.
func (m *multipliers) climb(target, operations int64, moves int, ready set) (best int64, ok bool) {
	c := ascent{multipliers: m, ready: ready, best: -none}
	for k := range c.slope {
		n := [2]int{len(m.node), len(m.group)}[k]
		c.slope[k], c.before[k] = make([]int64, n), make([]int64, n)
	}
	stuck, step, end := 0, int64(2048), m.tree.looked+operations
	for round := 0; round < moves && step > 0 && m.tree.looked < end; round++ {
		least, ok := m.bound(0, &set{}, &c.ready)
		if !ok {
			return 0, false
		}
		if least > c.best {
			c.keep(least)
			stuck = 0
		} else if stuck++; stuck == patience {
			step, stuck = step/2, 0
			copy(m.node, c.bestNode)
			copy(m.group, c.bestGroup)
		}
		square := m.slopes(c.slope[0], c.slope[1])
		if square == 0 {
			break // it is a path, and no bound is higher
		}
		c.move(max(1, (target*fine-least)*step/(1024*square)))
	}
	if c.best == -none {
		return 0, false
	}
	copy(m.node, c.bestNode)
	copy(m.group, c.bestGroup)
	return m.bound(0, &set{}, &c.ready)
}

func (c *ascent) keep(least int64) {
	c.best, c.bestNode, c.bestGroup = least, slices.Clone(c.node), slices.Clone(c.group)
}

// move goes so far along the slopes, and a little along those before, which keeps it from going to and fro.
func (c *ascent) move(far int64) {
	for k, prices := range [2][]int64{c.node, c.group} {
		for i, s := range c.slope[k] {
			moved := prices[i] + far*(7*s+3*c.before[k][i])/10
			prices[i] = max(-dearest, min(dearest, moved))
			c.before[k][i] = s
		}
	}
}

// priced looks for prices that give a bound above that of the assignment, spending at most a quarter of what is
// left, and takes out the arcs that no order cheaper than the best can have. Where none can exist any more, the
// bound is the cost of the best.
func (t *tree) priced(assigned int64) (bound int64) {
	room := t.left / 4
	if room < 8*int64(t.p.n*t.p.n) {
		return assigned
	}
	target := t.cost
	if t.best == nil {
		target = assigned + assigned/4 + int64(t.p.n)
	}
	t.makeReady()
	m, bound := t.either(target, room/8)
	if m == nil {
		return t.cost
	}
	if (bound-assigned)*worth >= target-assigned {
		t.prices = m
		least, _ := m.climb(target, room/2, rounds, t.grow.ready)
		bound = whole(least)
	}
	t.left -= m.tree.looked
	if bound >= t.cost {
		return t.cost
	}
	if t.best != nil {
		m.spare(t.cost)
		t.p = m.forward(t.p)
	}
	return max(bound, assigned)
}

// either tries prices a little way, on the problem and on its reverse, with so many operations each, and returns the
// better ones; nil when there is no path.
func (t *tree) either(target, operations int64) (better *multipliers, bound int64) {
	for _, backward := range []bool{false, true} {
		m := newMultipliers(t.p, backward)
		least, ok := m.climb(target, operations, trial, t.grow.ready)
		if !ok {
			t.left -= m.tree.looked
			return nil, 0
		}
		switch {
		case better == nil:
			better, bound = m, whole(least)
		case whole(least) > bound:
			t.left -= better.tree.looked
			better, bound = m, whole(least)
		default:
			t.left -= m.tree.looked
		}
	}
	return better, bound
}

// whole is how many units so many parts amount to, rounded up: costs are whole numbers.
func whole(parts int64) int64 {
	if parts%fine > 0 {
		return parts/fine + 1
	}
	return parts / fine
}

// forward is the problem, of which this one is the same or the reverse, with the arcs that are left here.
func (m *multipliers) forward(p *Problem) *Problem {
	c := *p
	c.cost = m.p.cost
	if m.backward {
		c.cost = m.p.reversed().cost
	}
	return &c
}

// spare takes out the arcs with which the last arborescence, and so every order, costs as much as the best.
func (m *multipliers) spare(cost int64) {
	m.p = m.p.copied()
	n, least := len(m.nodes), m.tree.total-m.paid()
	for a := range n {
		for b := 1; b < n; b++ {
			if a != b && m.tree.levels[0].cost[a*n+b] < absent && least+m.tree.excess(a, b) > (cost-1)*fine {
				m.p.cost[m.nodes[a]*m.p.n+m.nodes[b]] = Never
			}
		}
	}
}
