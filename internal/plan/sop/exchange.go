package sop

// exchange looks for better orders by changing places of neighbouring stretches.
type exchange struct {
	p     *Problem
	left  int64 // operations that may still be spent
	chaos uint64
	mark  []int // of each node: the round in which it must follow the left stretch
	round int
	spare []int
	awake []bool // of each node: what stands round it was changed since it was looked at
}

func newExchange(p *Problem, operations int64) *exchange {
	x := &exchange{
		p: p, left: operations, chaos: 0x9e3779b97f4a7c15,
		mark: make([]int, p.n), spare: make([]int, p.n), awake: make([]bool, p.n),
	}
	for i := range x.awake {
		x.awake[i] = true
	}
	return x
}

// next is the next number of the generator (splitmix64).
func (x *exchange) next() uint64 {
	x.chaos += 0x9e3779b97f4a7c15
	z := x.chaos
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

func (x *exchange) below(n int) int { return int(x.next() % uint64(n)) }

// waking is how many nodes on either side of a new arc are looked at again.
const waking = 5

// swap is one exchange: the stretch from a to b-1 and the one from b to c-1 change places.
type swap struct {
	a, b, c int
	gain    int64
}

// descend makes exchanges, always the best that one place allows, until none is left that betters
// the order at a place where something was changed, or the operations are spent. It returns what was gained.
func (x *exchange) descend(order []int) (gained int64) {
	for bettered := true; bettered && x.left > 0; {
		bettered = false
		for a := 1; a < len(order)-2 && x.left > 0; a++ {
			if !x.awake[order[a]] {
				continue
			}
			if s := x.best(order, a); s.gain > 0 {
				x.apply(order, s)
				gained += s.gain
				bettered = true
			} else {
				x.awake[order[a]] = false
			}
		}
	}
	return gained
}

// best looks at every exchange whose left stretch begins at a place.
func (x *exchange) best(order []int, a int) (found swap) {
	x.round++
	p, n := x.p, len(order)
	entering := p.arc(order[a-1], order[a])
	for b := a + 1; b < n-1; b++ {
		// The left stretch now ends with the node before b; all that must follow one of its nodes stays behind it.
		x.forbid(order[b-1])
		head, between := p.arc(order[a-1], order[b]), p.arc(order[b-1], order[b])
		for c := b + 1; c < n; c++ {
			x.left--
			if x.mark[order[c-1]] == x.round {
				break
			}
			if head >= Never || !p.keeps(order, a, b, c) {
				continue
			}
			turn, out := p.arc(order[c-1], order[a]), p.arc(order[b-1], order[c])
			if turn >= Never || out >= Never {
				continue
			}
			if gain := entering + between + p.arc(order[c-1], order[c]) - head - turn - out; gain > found.gain {
				found = swap{a, b, c, gain}
			}
		}
	}
	return found
}

// forbid marks all that must follow a node.
func (x *exchange) forbid(node int) {
	after := &x.p.after[node]
	for i := range x.p.n {
		if after.has(i) {
			x.mark[i] = x.round
		}
	}
}

// apply makes an exchange, and wakes what stands at the three arcs that are new.
func (x *exchange) apply(order []int, s swap) {
	copy(x.spare, order[s.a:s.b])
	copy(order[s.a:], order[s.b:s.c])
	copy(order[s.a+s.c-s.b:], x.spare[:s.b-s.a])
	for _, seam := range [...]int{s.a, s.a + s.c - s.b, s.c} {
		for place := max(1, seam-waking); place <= min(len(order)-2, seam+waking); place++ {
			x.awake[order[place]] = true
		}
	}
}

// kick makes a few exchanges that keep the precedences, whatever they cost, close to
// each other. It returns what the order lost by them.
func (x *exchange) kick(order []int) (lost int64) {
	n := len(order)
	if n < 5 {
		return 0
	}
	reach := min(n-3, 30)
	start := 1 + x.below(n-2-reach+1)
	for range 2 + x.below(3) {
		for range 20 { // tries
			a := start + x.below(reach-1)
			b := a + 1 + x.below(min(8, start+reach-a-1))
			c := b + 1 + x.below(min(8, max(1, n-1-b)))
			if c > n-1 {
				continue
			}
			if cost, ok := x.allowed(order, a, b, c); ok {
				x.apply(order, swap{a: a, b: b, c: c})
				lost += cost
				break
			}
		}
	}
	return lost
}

// allowed tells whether an exchange keeps the precedences, and what it adds to the cost.
func (x *exchange) allowed(order []int, a, b, c int) (cost int64, ok bool) {
	x.left -= int64(c - a)
	p := x.p
	if !p.keeps(order, a, b, c) {
		return 0, false
	}
	var right set
	for _, j := range order[b:c] {
		right.add(j)
	}
	for _, i := range order[a:b] {
		if p.after[i].meets(&right) {
			return 0, false
		}
	}
	head, turn, out := p.arc(order[a-1], order[b]), p.arc(order[c-1], order[a]), p.arc(order[b-1], order[c])
	if head >= Never || turn >= Never || out >= Never {
		return 0, false
	}
	return head + turn + out - p.arc(order[a-1], order[a]) - p.arc(order[b-1], order[b]) - p.arc(order[c-1], order[c]), true
}

// improve makes an order better until the operations are spent or it meets a bound: descend, kick, descend, and back to
// the best where that led nowhere.
func (x *exchange) improve(order []int, cost, bound int64) (best []int, bestCost int64) {
	cost -= x.descend(order)
	best, bestCost = append([]int(nil), order...), cost
	now, nowCost := append([]int(nil), order...), cost
	try := make([]int, len(order))
	for stuck := 0; x.left > 0 && bestCost > bound; {
		copy(try, now)
		c := nowCost + x.kick(try)
		c -= x.descend(try)
		slack := bestCost / 200 // a little worse is gone along with for a while
		if c < nowCost || c == nowCost || c <= bestCost+slack && stuck%10 == 9 {
			copy(now, try)
			nowCost = c
		}
		if stuck++; c < bestCost {
			copy(best, try)
			bestCost, stuck = c, 0
		}
		if stuck%400 == 399 {
			copy(now, best)
			nowCost = bestCost
		}
	}
	return best, bestCost
}
