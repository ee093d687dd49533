package sop

// fine is how many parts a unit of cost has where arcs are priced: prices are whole numbers of
// parts, so that every sum is exact and every bound holds.
const fine = 256

// dearest is the highest price, below and above nothing; so no sum overflows or comes near absent.
const dearest = int64(1) << 50

// multipliers price the nodes' leaving, such that the cheapest arborescence, in which a node may be left
// more than once or never, comes near a path (M. Held and R. M. Karp, "The Traveling-Salesman
// Problem and Minimum Spanning Trees", Operations Research 18(6), 1970; here with directions).
// Whatever the prices: the arborescence, less their sum, costs no more than a path.
type multipliers struct {
	p        *Problem
	backward bool    // p is the reversed problem
	node     []int64 // price of leaving a node
	group    []int64 // price of leaving a group; nil without groups
	tree     arborescence
	nodes    []int // what the last arborescence spans: its root first, the end of the path last
}

func newMultipliers(p *Problem, backward bool) *multipliers {
	if backward {
		p = p.reversed()
	}
	return &multipliers{p: p, backward: backward, node: make([]int64, p.n), group: make([]int64, len(p.members))}
}

// price is an arc's cost in parts with what is to be paid for leaving.
func (m *multipliers) price(i, j int) int64 {
	c := m.p.arc(i, j)
	if c >= Never {
		return none
	}
	c = c*fine + m.node[i]
	if m.p.group != nil && m.p.group[i] != m.p.group[j] {
		c += m.group[m.p.group[i]]
	}
	return c
}

// bound is what a path costs at least, in parts, from last past all that was not seen to the end, where
// ready are those that may follow last. ok is false when there is no path.
func (m *multipliers) bound(last int, seen, ready *set) (least int64, ok bool) {
	m.span(last, seen)
	n := len(m.nodes)
	c := m.tree.level(0, n)
	for a, i := range m.nodes {
		for b := 1; b < n; b++ {
			if a != b && m.allowed(a, b, ready) {
				c.cost[a*n+b] = m.price(i, m.nodes[b])
			}
		}
	}
	if !m.tree.solve() {
		return 0, false
	}
	return m.tree.total - m.paid(), true
}

// span lists what remains, behind or before last.
func (m *multipliers) span(last int, seen *set) {
	m.nodes = m.nodes[:0]
	if m.backward {
		for i := m.p.n - 1; i >= 0; i-- {
			if i != last && !seen.has(i) {
				m.nodes = append(m.nodes, m.p.n-1-i)
			}
		}
		m.nodes = append(m.nodes, m.p.n-1-last)
		return
	}
	m.nodes = append(m.nodes, last)
	for i := range m.p.n {
		if i != last && !seen.has(i) {
			m.nodes = append(m.nodes, i)
		}
	}
}

// allowed tells that an arc between two places of nodes does not lead from the path's beginning past what is ready.
func (m *multipliers) allowed(a, b int, ready *set) bool {
	if m.backward {
		return b < len(m.nodes)-1 || ready.has(m.p.n-1-m.nodes[a])
	}
	return a > 0 || ready.has(m.nodes[b])
}

// paid is what a path pays for leaving: all nodes but its end, all groups but that of its end, once each.
func (m *multipliers) paid() (sum int64) {
	end := m.nodes[len(m.nodes)-1]
	var left set
	for _, i := range m.nodes[:len(m.nodes)-1] {
		sum += m.node[i]
		if m.p.group == nil {
			continue
		}
		if g := m.p.group[i]; g != m.p.group[end] && !left.has(g) {
			left.add(g)
			sum += m.group[g]
		}
	}
	return sum
}

// slopes says of the last arborescence, which must span everything, how much more often than once each node and
// group is left, and the sum of the squares.
func (m *multipliers) slopes(node, group []int64) (square int64) {
	end := m.nodes[len(m.nodes)-1]
	for i := range node {
		node[i] = -1
	}
	for g := range group {
		group[g] = -1
	}
	node[end] = 0
	if m.p.group != nil {
		group[m.p.group[end]] = 0
	}
	for b := 1; b < len(m.nodes); b++ {
		i, j := m.nodes[m.tree.levels[0].into[b]], m.nodes[b]
		node[i]++
		if m.p.group != nil && m.p.group[i] != m.p.group[j] {
			group[m.p.group[i]]++
		}
	}
	for _, s := range node {
		square += s * s
	}
	for _, s := range group {
		square += s * s
	}
	return square
}
