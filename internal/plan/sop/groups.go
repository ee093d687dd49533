package sop

import (
	"fmt"
	"slices"
	"strings"
)

// NewGrouped checks a problem as New does, whose groups are not to be interrupted: the nodes of a group
// follow each other. A node is in one group at most; one in none stands alone, as the first
// and the last node must. A precedence between nodes of two groups puts all of the one before
// all of the other. An error names the nodes that contradict each other.
func NewGrouped(cost [][]int64, precedences [][2]int, groups [][]int) (*Problem, error) {
	p, err := New(cost, precedences)
	if err != nil {
		return nil, err
	}
	if err := p.gather(groups); err != nil {
		return nil, err
	}
	if err := p.lift(precedences); err != nil {
		return nil, err
	}
	p.seal()
	return p, nil
}

// gather gives every node its group; one alone is a group too.
func (p *Problem) gather(groups [][]int) error {
	p.group = make([]int, p.n)
	for i := range p.group {
		p.group[i] = -1
	}
	for _, nodes := range groups {
		for _, i := range nodes {
			switch {
			case i < 1 || i >= p.n-1:
				return fmt.Errorf("the group %v holds %d, which is no node between the first and the last", nodes, i)
			case p.group[i] >= 0:
				return fmt.Errorf("node %d stands twice in the groups", i)
			}
			p.group[i] = len(p.members)
		}
		if len(nodes) > 0 {
			p.members = append(p.members, slices.Sorted(slices.Values(nodes)))
		}
	}
	for i, g := range p.group {
		if g < 0 {
			p.group[i] = len(p.members)
			p.members = append(p.members, []int{i})
		}
	}
	p.whole = make([]set, len(p.members))
	for g, nodes := range p.members {
		for _, i := range nodes {
			p.whole[g].add(i)
		}
	}
	return nil
}

// lift makes each precedence between two groups one of all their nodes.
func (p *Problem) lift(precedences [][2]int) error {
	for _, pair := range precedences {
		a, b := p.group[pair[0]], p.group[pair[1]]
		if a == b {
			continue
		}
		for _, j := range p.members[b] {
			p.before[j].join(&p.whole[a])
		}
	}
	if round := p.goingRound(precedences); round != nil {
		return p.contradiction(round)
	}
	return p.close()
}

// goingRound finds precedences that lead from group to group and back to the first; nil when there are none.
func (p *Problem) goingRound(precedences [][2]int) [][2]int {
	into := make([][][2]int, len(p.members)) // of each group: the precedences that end in it
	for _, pair := range precedences {
		if a, b := p.group[pair[0]], p.group[pair[1]]; a != b {
			into[b] = append(into[b], pair)
		}
	}
	free := make([]bool, len(p.members)) // what leads to it begins somewhere
	for again := true; again; {
		again = false
		for g := range into {
			if !free[g] && !slices.ContainsFunc(into[g], func(pair [2]int) bool { return !free[p.group[pair[0]]] }) {
				free[g], again = true, true
			}
		}
	}
	at := slices.Index(free, false)
	if at < 0 {
		return nil
	}
	met := make([]int, len(p.members)) // how many precedences were followed back when it was met; 0 = not yet
	var back [][2]int
	for met[at] == 0 {
		met[at] = len(back) + 1
		i := slices.IndexFunc(into[at], func(pair [2]int) bool { return !free[p.group[pair[0]]] })
		back = append(back, into[at][i])
		at = p.group[into[at][i][0]]
	}
	round := back[met[at]-1:]
	slices.Reverse(round)
	return round
}

func (p *Problem) contradiction(round [][2]int) error {
	var groups, demands []string
	for _, pair := range round {
		groups = append(groups, fmt.Sprint(p.members[p.group[pair[0]]]))
		demands = append(demands, fmt.Sprintf("node %d before node %d", pair[0], pair[1]))
	}
	return fmt.Errorf("the groups of nodes %s cannot each stay together: %s", strings.Join(groups, ", "), strings.Join(demands, ", "))
}

// seal takes out arcs that a group which is not to be interrupted cannot have: out of a node
// that others of its group must follow, and into one that others of its group must precede.
func (p *Problem) seal() {
	p.forbid()
	for i := range p.n {
		for j := range p.n {
			if a, b := p.group[i], p.group[j]; a != b && (p.after[i].meets(&p.whole[a]) || p.before[j].meets(&p.whole[b])) {
				p.cost[i*p.n+j] = Never
			}
		}
	}
}

// mayFollow tells that no group is interrupted when j follows last behind what was seen.
func (p *Problem) mayFollow(last, j int, seen *set) bool {
	return p.group == nil || p.group[last] == p.group[j] || seen.holds(&p.whole[p.group[last]])
}

// seam tells that two groups, or the order's ends, meet at a place.
func (p *Problem) seam(order []int, place int) bool {
	return p.group[order[place-1]] != p.group[order[place]]
}

// keeps tells that the stretches from a to b-1 and from b to c-1 change places without
// interrupting a group: they lie inside of one or consist of whole ones.
func (p *Problem) keeps(order []int, a, b, c int) bool {
	return p.group == nil || p.group[order[a]] == p.group[order[c-1]] ||
		p.seam(order, a) && p.seam(order, b) && p.seam(order, c)
}
