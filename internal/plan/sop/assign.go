package sop

// assignment is a cheapest choice of a successor for every node of rows among
// cols, with the prices that prove it (Hungarian method, shortest augmenting
// paths). Rows and columns are nodes.
type assignment struct {
	rowPrice, colPrice []int64
	rowOf              []int16 // of a column; -1 = none
	colOf              []int16 // of a row; -1 = none
	sum                int64   // of the prices of what is in play
}

func newAssignment(n int) *assignment {
	return &assignment{
		rowPrice: make([]int64, n), colPrice: make([]int64, n),
		rowOf: make([]int16, n), colOf: make([]int16, n),
	}
}

func (a *assignment) copyFrom(b *assignment) {
	copy(a.rowPrice, b.rowPrice)
	copy(a.colPrice, b.colPrice)
	copy(a.rowOf, b.rowOf)
	copy(a.colOf, b.colOf)
	a.sum = b.sum
}

// augmenting is the room that an augmenting path needs.
type augmenting struct {
	least []int64
	from  []int16
	done  []bool
	cols  []int // in play
	ready set   // where the row of the prefix's end may go
}

func newAugmenting(n int) *augmenting {
	return &augmenting{least: make([]int64, n), from: make([]int16, n), done: make([]bool, n)}
}

// augment gives row a column among g.cols by a shortest augmenting path; the row of last
// may only go to what is ready. false: there is none. It returns how many arcs it looked at.
func (a *assignment) augment(p *Problem, row, last int, g *augmenting) (ok bool, looked int) {
	for _, j := range g.cols {
		g.least[j], g.done[j] = Never, false
	}
	at, atCost, end := row, int64(0), -1
	for end < 0 {
		next, least := -1, int64(Never)
		for _, j := range g.cols {
			if g.done[j] {
				continue
			}
			looked++
			if c := p.arc(at, j); c < Never && (at != last || g.ready.has(j)) {
				if d := atCost + c - a.rowPrice[at] - a.colPrice[j]; d < g.least[j] {
					g.least[j], g.from[j] = d, int16(at)
				}
			}
			if g.least[j] < least {
				next, least = j, g.least[j]
			}
		}
		if next < 0 {
			return false, looked
		}
		g.done[next] = true
		if a.rowOf[next] < 0 {
			end = next
		} else {
			at, atCost = int(a.rowOf[next]), least
		}
	}
	a.reprice(row, end, g)
	return true, looked
}

// reprice moves the prices by the path that ends at a column, and turns the path round.
func (a *assignment) reprice(row, end int, g *augmenting) {
	length := g.least[end]
	for _, j := range g.cols {
		if g.done[j] && j != end {
			move := length - g.least[j]
			a.colPrice[j] -= move
			a.rowPrice[a.rowOf[j]] += move
		}
	}
	a.rowPrice[row] += length
	a.sum += length
	for j := end; ; {
		i := int(g.from[j])
		a.rowOf[j] = int16(i)
		a.colOf[i], j = int16(j), int(a.colOf[i])
		if i == row {
			return
		}
	}
}
