package sop

import "fmt"

// Never is a cost that no path may pay: the arc is not there.
const Never = 1 << 40

// MaxNodes is the most nodes a problem may have.
const MaxNodes = 256

// MaxCost is the highest cost of an arc; so no sum of a path overflows or
// comes near Never.
const MaxCost = Never/MaxNodes - 1

// Problem is one problem, checked and made ready. It never changes.
type Problem struct {
	n      int
	cost   []int64 // n by n, from row to column; Never where a precedence forbids it
	before []set   // of each node: all that must come before it
	after  []set   // of each node: all that must come after it

	// Where groups are not to be interrupted; else nil.
	group   []int   // of each node
	members [][]int // of each group, the smallest first
	whole   []set   // of each group
}

// set is a set of nodes.
type set [MaxNodes / 64]uint64

func (s *set) add(i int)      { s[i>>6] |= 1 << (i & 63) }
func (s *set) remove(i int)   { s[i>>6] &^= 1 << (i & 63) }
func (s *set) has(i int) bool { return s[i>>6]>>(i&63)&1 == 1 }

// holds tells that all of t are in s.
func (s *set) holds(t *set) bool {
	for w := range s {
		if t[w]&^s[w] != 0 {
			return false
		}
	}
	return true
}

func (s *set) join(t *set) {
	for w := range s {
		s[w] |= t[w]
	}
}

// meets tells that s and t share a node.
func (s *set) meets(t *set) bool {
	for w := range s {
		if s[w]&t[w] != 0 {
			return true
		}
	}
	return false
}

// New checks a problem. cost[i][j] is what it costs to go from i to j: 0 to
// MaxCost, or Never; what stands from a node to itself is not looked at. precedences
// are pairs: the first node before the second. Node 0 comes before all others, and the last node after them.
func New(cost [][]int64, precedences [][2]int) (*Problem, error) {
	n := len(cost)
	if n < 2 || n > MaxNodes {
		return nil, fmt.Errorf("a problem has 2 to %d nodes, this one has %d", MaxNodes, n)
	}
	p := &Problem{n: n, cost: make([]int64, n*n), before: make([]set, n), after: make([]set, n)}
	for i, row := range cost {
		if len(row) != n {
			return nil, fmt.Errorf("row %d has %d costs, not %d", i, len(row), n)
		}
		for j, c := range row {
			if i != j && c != Never && (c < 0 || c > MaxCost) {
				return nil, fmt.Errorf("the cost from %d to %d is %d, not 0 to %d", i, j, c, int64(MaxCost))
			}
			p.cost[i*n+j] = c
		}
	}
	for _, pair := range precedences {
		a, b := pair[0], pair[1]
		if a < 0 || b < 0 || a >= n || b >= n || a == b {
			return nil, fmt.Errorf("the precedence of %d before %d is of no two nodes from 0 to %d", a, b, n-1)
		}
		p.before[b].add(a)
	}
	for i := 1; i < n; i++ {
		p.before[i].add(0)
		if i < n-1 {
			p.before[n-1].add(i)
		}
	}
	if err := p.close(); err != nil {
		return nil, err
	}
	p.forbid()
	return p, nil
}

// close makes the precedences transitive, or says which node must come before itself.
func (p *Problem) close() error {
	for k := range p.n {
		for i := range p.n {
			if p.before[i].has(k) {
				p.before[i].join(&p.before[k])
			}
		}
	}
	for i := range p.n {
		if p.before[i].has(i) {
			return fmt.Errorf("the precedences go round: node %d would come before itself", i)
		}
		for j := range p.n {
			if p.before[i].has(j) {
				p.after[j].add(i)
			}
		}
	}
	return nil
}

// forbid takes out arcs that no path can have: against a precedence, and past a node that
// must lie between.
func (p *Problem) forbid() {
	for i := range p.n {
		for j := range p.n {
			if i == j || p.before[i].has(j) || p.after[i].has(j) && p.after[i].meets(&p.before[j]) {
				p.cost[i*p.n+j] = Never
			}
		}
	}
}

// Nodes is how many nodes there are.
func (p *Problem) Nodes() int { return p.n }

func (p *Problem) arc(i, j int) int64 { return p.cost[i*p.n+j] }

// Cost is what an order costs, or why it is none: it must hold every node once, keep every precedence,
// and interrupt no group.
func (p *Problem) Cost(order []int) (int64, error) {
	if len(order) != p.n {
		return 0, fmt.Errorf("an order of %d nodes, not %d", len(order), p.n)
	}
	var seen set
	var sum int64
	for place, i := range order {
		if i < 0 || i >= p.n || seen.has(i) {
			return 0, fmt.Errorf("place %d holds node %d, which is none or was there before", place, i)
		}
		if !seen.holds(&p.before[i]) {
			return 0, fmt.Errorf("node %d at place %d stands before one that must precede it", i, place)
		}
		if place > 0 && !p.mayFollow(order[place-1], i, &seen) {
			return 0, fmt.Errorf("node %d at place %d interrupts the group %v", i, place, p.members[p.group[order[place-1]]])
		}
		seen.add(i)
		if place > 0 {
			c := p.arc(order[place-1], i)
			if c >= Never {
				return 0, fmt.Errorf("no way leads from node %d to node %d", order[place-1], i)
			}
			sum += c
		}
	}
	return sum, nil
}
