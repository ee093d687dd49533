package sop

import "slices"

// reversed are the arcs and groups of going every path backwards: node i is the one that stands i places before the last.
// Precedences are left out but where they took arcs.
func (p *Problem) reversed() *Problem {
	r := &Problem{n: p.n, cost: make([]int64, len(p.cost)), members: p.members}
	for i := range p.n {
		for j := range p.n {
			r.cost[(p.n-1-j)*p.n+p.n-1-i] = p.arc(i, j)
		}
	}
	if p.group != nil {
		r.group = slices.Clone(p.group)
		slices.Reverse(r.group)
	}
	return r
}

// copied is the same problem with arcs of its own.
func (p *Problem) copied() *Problem {
	c := *p
	c.cost = slices.Clone(p.cost)
	return &c
}
