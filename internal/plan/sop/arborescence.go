package sop

// none is the cost of an arc that is not there; whatever prices are added, it stays above absent.
const (
	none   = int64(1) << 60
	absent = int64(1) << 59
)

// arborescence finds the cheapest choice of an arc into every node but the first, such that all are
// reached from the first: by Edmonds' contraction of cycles, all of one level at once (J. Edmonds, "Optimum
// Branchings", Journal of Research of the NBS 71B(4), 1967). It keeps its room between calls.
type arborescence struct {
	levels []*contraction
	used   int
	total  int64
	looked int64
}

// contraction is one level: the nodes that the cycles below it became.
type contraction struct {
	n      int
	cost   []int64 // from row to column, less what the levels below took
	origin []int32 // of each arc: the arc of the level below, as row times its size and column
	into   []int   // of each node: where its cheapest arc comes from
	least  []int64 // what that costs
	id     []int   // of each node: what it is on the level above
	state  []int   // of each node while cycles are looked for
}

// level is the room of a level, for n nodes, with no arcs.
func (b *arborescence) level(k, n int) *contraction {
	if k == len(b.levels) {
		b.levels = append(b.levels, &contraction{})
	}
	c := b.levels[k]
	if cap(c.cost) < n*n {
		*c = contraction{
			cost: make([]int64, n*n), origin: make([]int32, n*n), into: make([]int, n),
			least: make([]int64, n), id: make([]int, n), state: make([]int, n),
		}
	}
	c.n, c.cost, c.origin = n, c.cost[:n*n], c.origin[:n*n]
	for i := range c.cost {
		c.cost[i] = none
	}
	return c
}

// solve works on the arcs of level 0, which the caller has set. false: some node cannot be reached.
func (b *arborescence) solve() bool {
	b.total = 0
	for k := 0; ; k++ {
		c := b.levels[k]
		b.looked += int64(c.n) * int64(c.n)
		if !c.choose(&b.total) {
			return false
		}
		n := c.identify()
		b.used = k + 1
		if n == c.n {
			break
		}
		c.contract(b.level(k+1, n))
	}
	for k := b.used - 1; k > 0; k-- {
		above, below := b.levels[k], b.levels[k-1]
		for j := 1; j < above.n; j++ {
			arc := int(above.origin[above.into[j]*above.n+j])
			below.into[arc%below.n] = arc / below.n
		}
	}
	return true
}

// choose takes the cheapest arc into every node. false: one has none.
func (c *contraction) choose(total *int64) bool {
	for j := 1; j < c.n; j++ {
		c.least[j] = none
	}
	for i := range c.n {
		row := c.cost[i*c.n : i*c.n+c.n]
		for j := 1; j < c.n; j++ {
			if row[j] < c.least[j] && i != j {
				c.least[j], c.into[j] = row[j], i
			}
		}
	}
	for j := 1; j < c.n; j++ {
		if c.least[j] >= absent {
			return false
		}
		*total += c.least[j]
	}
	return true
}

// identify gives the nodes of each cycle one number, and every other node its own; the first keeps 0. It returns how
// many there are.
func (c *contraction) identify() (n int) {
	for i := range c.n {
		c.state[i], c.id[i] = -1, -1
	}
	c.id[0], c.state[0], n = 0, 0, 1
	for start := 1; start < c.n; start++ {
		at := start
		for c.state[at] < 0 {
			c.state[at], at = start, c.into[at]
		}
		if c.state[at] != start || c.id[at] >= 0 || at == 0 {
			continue
		}
		for c.id[at] < 0 { // a new cycle
			c.id[at], at = n, c.into[at]
		}
		n++
	}
	for i := range c.n {
		if c.id[i] < 0 {
			c.id[i] = n
			n++
		}
	}
	return n
}

// contract sets the arcs of the level above.
func (c *contraction) contract(above *contraction) {
	for i := range c.n {
		for j := 1; j < c.n; j++ {
			a, b := c.id[i], c.id[j]
			if a == b || c.cost[i*c.n+j] >= absent {
				continue
			}
			if cost, at := c.cost[i*c.n+j]-c.least[j], a*above.n+b; cost < above.cost[at] {
				above.cost[at], above.origin[at] = cost, int32(i*c.n+j)
			}
		}
	}
}

// excess is how much more than the cheapest one an arborescence costs at least that holds the arc from i to j.
func (b *arborescence) excess(i, j int) int64 {
	cost := b.levels[0].cost[i*b.levels[0].n+j]
	for _, c := range b.levels[:b.used] {
		if i == j {
			break
		}
		cost -= c.least[j]
		i, j = c.id[i], c.id[j]
	}
	return cost
}
