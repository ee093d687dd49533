package screen

import (
	pb "bayround/proto/bayround/v1"
)

// How the ways and halts of a walk are drawn, in millimetres.
const (
	beadSize  = 3.6 // of a halt's mark, across
	beadPitch = 3.8 // from one to the next
	lanePitch = 2.9 // from one lane to the next, where there is room
	laneShare = 0.3 // of an area that lanes may take on each side
	laneRoom  = 3.0 // free beyond the ends of what lies in a lane
	fewLanes  = 6   // that one panel shows well
)

// panel is one drawing of the vehicle with part of the walk.
type panel struct {
	frame       planFrame
	pitch       float64 // from one lane to the next
	first, last int     // halts: from the first to the one before the last
	trail       trail
	strands     []strand
	of          []int       // the strand of each run
	beads       []planPoint // where the mark of each halt lies
}

// panelsOf is a walk in one panel or, when it passes some place too often, in two of the
// same scale, cut where something is switched in the cab.
func panelsOf(s WalkSheet) []panel {
	halts := len(s.Walk.GetHalts())
	if halts == 0 {
		return nil
	}
	whole := planArea{left: paperMargin, above: panelTop + 1, width: paperWidth - 2*paperMargin, height: panelHeight}
	best, lanes := []panel{s.panel(whole, 0, halts, fewLanes)}, 0
	if lanes = best[0].lanes(); lanes > fewLanes {
		left, right := whole, whole
		left.width, right.width = whole.width/2, whole.width/2
		right.left += right.width
		for cut := 1; cut < halts; cut++ {
			if changesOf(s.Walk.GetHalts()[cut]) == "" {
				continue
			}
			two := []panel{s.panel(left, 0, cut, fewLanes), s.panel(right, cut, halts, fewLanes)}
			if most := max(two[0].lanes(), two[1].lanes()); most < lanes {
				best, lanes = two, most
			}
		}
	}
	for tries := range 20 { // at a smaller scale they may need a lane more
		for i, n := range best {
			best[i] = s.panel(n.frame.window, n.first, n.last, lanes)
		}
		needed := 0
		for _, n := range best {
			needed = max(needed, n.lanes())
		}
		if needed <= lanes || tries == 19 {
			break
		}
		lanes = needed
	}
	for i := range best {
		best[i].placeBeads(s.Walk)
	}
	return best
}

// panel lays some halts of a walk into an area with room for so many lanes.
func (s WalkSheet) panel(area planArea, first, last, lanes int) panel {
	beside := float64(max(lanes-1, 1))
	pitch := min(lanePitch, laneShare*min(area.width, area.height)/beside)
	area.margin = beside*pitch + beadSize/2 + 5.5
	n := panel{pitch: pitch, frame: framed(s.Vehicle, area, s.Walk.GetRoundLine(), s.NearsideRight), first: first, last: last}
	n.trail = newTrail(n.frame, s.Walk).between(first, last)
	if !n.trail.ring.empty() {
		n.strands, n.of, _ = n.trail.lanes(laneRoom)
	}
	return n
}

// lanes is how many lanes the strands lie in.
func (n panel) lanes() (count int) {
	for _, s := range n.strands {
		count = max(count, s.lane+1)
	}
	return count
}

// aside is how far outside of the ring a run lies.
func (n panel) aside(run int) float64 { return n.outside(n.strands[n.of[run]]) }

// outside is how far outside of the ring a strand lies.
func (n panel) outside(s strand) float64 { return float64(s.lane) * n.pitch }

// seatOf is where the seat is that one sits on for a halt inside: that nearest to its place.
func (n panel) seatOf(h *pb.Halt) planPoint { return n.frame.seatAt(n.frame.spot(h.GetStand())) }

// seatAt is the seat nearest to a spot, or the spot itself where there is none.
func (f planFrame) seatAt(at planPoint) planPoint {
	best, found := at, false
	for _, s := range f.v.GetSeats() {
		if seat := f.place(s.GetPlace()); !found || seat.distance(at) < best.distance(at) {
			best, found = seat, true
		}
	}
	return best
}

// driversSeat is where the driver sits.
func (f planFrame) driversSeat() planPoint {
	for _, s := range f.v.GetSeats() {
		if s.GetKind() == pb.SeatKind_SEAT_KIND_DRIVER {
			return f.place(s.GetPlace())
		}
	}
	return f.doorSpot()
}
