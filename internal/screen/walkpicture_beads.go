package screen

import (
	"cmp"
	"math"
	"slices"

	pb "bayround/proto/bayround/v1"
)

// placeBeads finds where the mark of each halt lies: outside on its strand, as near to
// its stand as the others leave room; inside by its seat.
func (n *panel) placeBeads(w *pb.Walk) {
	n.beads = make([]planPoint, len(n.trail.halts))
	var placed []planPoint
	on, at := -1, 0.0 // the strand of the bead before, and where that lies
	for i := n.first; i < min(n.last, len(n.trail.halts)); i++ {
		h := n.trail.halts[i]
		if h.inside || h.run < 0 {
			continue
		}
		s := n.strands[n.of[h.run]]
		along := s.from + n.trail.ring.ahead(s.from, h.along)
		least := math.Inf(-1)
		if n.of[h.run] == on {
			least = at
		}
		on, at = n.of[h.run], n.freeSpot(s, along, least, placed)
		n.beads[i] = n.trail.ring.at(at, n.outside(s))
		placed = append(placed, n.beads[i])
	}
	n.placeInside(w)
}

// freeSpot is the spot of a strand nearest to one, that touches no mark that is placed
// and does not come before the mark before.
func (n *panel) freeSpot(s strand, along, before float64, placed []planPoint) float64 {
	ahead := math.Copysign(1, s.ahead)
	behind := math.IsInf(before, -1)
	for shift := 0.0; shift < n.trail.ring.length()/2; shift += 0.2 {
		for _, at := range []float64{along + ahead*shift, along - ahead*shift} {
			if !behind && n.trail.ring.ahead(before, at)*ahead < 0 {
				continue
			}
			spot := n.trail.ring.at(at, n.outside(s))
			if !slices.ContainsFunc(placed, func(p planPoint) bool { return p.distance(spot) < beadPitch }) {
				return at
			}
		}
	}
	return along
}

// placeInside puts the halts inside on the cells of a grid, as near to their seats as
// there is room, in their order.
func (n *panel) placeInside(w *pb.Walk) {
	seats := map[planPoint][]int{}
	var order []planPoint
	for i := n.first; i < min(n.last, len(n.trail.halts)); i++ {
		if !n.trail.halts[i].inside {
			continue
		}
		at := n.seatOf(w.GetHalts()[i])
		if seats[at] == nil {
			order = append(order, at)
		}
		seats[at] = append(seats[at], i)
	}
	slices.SortStableFunc(order, func(a, b planPoint) int { return cmp.Compare(len(seats[a]), len(seats[b])) })
	cells := n.cells()
	for _, at := range order {
		slices.SortStableFunc(cells, func(a, b planPoint) int { return cmp.Compare(a.distance(at), b.distance(at)) })
		count := min(len(seats[at]), len(cells))
		mine := slices.Clone(cells[:count])
		cells = cells[count:]
		slices.SortFunc(mine, func(a, b planPoint) int { return cmp.Or(cmp.Compare(a.y, b.y), cmp.Compare(a.x, b.x)) })
		for k, i := range seats[at] {
			n.beads[i] = at // where there are more halts than room
			if k < count {
				n.beads[i] = mine[k]
			}
		}
	}
}

// cells are the cells of a grid within the vehicle.
func (n *panel) cells() (cells []planPoint) {
	f := n.frame
	a, b := f.at(f.front, f.half), f.at(f.rear, -f.half)
	columns := max(1, int(math.Abs(a.x-b.x)/beadPitch))
	for y := a.y + beadPitch/2; y < b.y-beadSize/2; y += beadPitch {
		for c := range columns {
			cells = append(cells, planPoint{(a.x+b.x)/2 + (float64(c)-float64(columns-1)/2)*beadPitch, y})
		}
	}
	return cells
}

// drawBeads draws the marks with their numbers: a disc outside, a square inside, a light
// disc where the assistant walks, and a circle round it where the assistant helps.
func (p *walkPen) drawBeads() {
	if p.trail.ring.empty() {
		return
	}
	for i := p.first; i < p.last; i++ {
		p.bead(p.beads[i], p.sheet.Walk.GetHalts()[i], i+1)
	}
}

func (p *walkPen) bead(at planPoint, h *pb.Halt, number int) {
	mark, text := "bead", "n"
	if h.GetAssistantWalks() {
		mark, text = "bead helps", "n dark"
	}
	p.put(`<g class="halt">`)
	half := beadSize / 2
	if h.GetInside() {
		p.put(`<rect class="%s" x="%v" y="%v" width="%v" height="%v"/>`, mark, at.x-half, at.y-half, beadSize, beadSize)
	} else {
		p.put(`<circle class="%s" cx="%v" cy="%v" r="%v"/>`, mark, at.x, at.y, half)
	}
	if h.GetAssistant() && !h.GetAssistantWalks() {
		p.put(`<circle class="both" cx="%v" cy="%v" r="%v"/>`, at.x, at.y, half+0.55)
	}
	p.put(`<text class="%s" x="%v" y="%v">%d</text></g>`, text, at.x, at.y+0.78, number)
}
