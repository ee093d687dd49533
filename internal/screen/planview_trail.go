package screen

import (
	"cmp"
	"math"
	"slices"

	pb "bayround/proto/bayround/v1"
)

// trail is a walk laid on the line round a vehicle: the stretches in the order in
// which they are walked, and on which of them each halt lies.
type trail struct {
	ring  ring
	runs  []run
	halts []footing // of each halt of the walk
}

// run is a stretch without a turn.
type run struct {
	from, ahead float64 // along the ring; behind is less than 0
	assistant   bool    // who walks it
	halt        int     // that it leads to
	outOf, into bool    // the vehicle, at its beginning and at its end
}

func (r run) end() float64 { return r.from + r.ahead }

// footing is where somebody is at a halt.
type footing struct {
	inside bool
	along  float64 // outside: of the ring
	run    int     // that ends there, or that begins there when it leads out
}

// whereabouts is where a person is in the middle of a walk.
type whereabouts struct {
	known, inside bool
	along         float64
}

// newTrail lays a walk on the line of its frame. Where a walk has no line there is
// no trail.
func newTrail(f planFrame, w *pb.Walk) trail {
	t := trail{ring: f.ringOf(w.GetRoundLine())}
	if t.ring.empty() {
		return t
	}
	var driver, assistant whereabouts
	for i, h := range w.GetHalts() {
		who := &driver
		if h.GetAssistantWalks() {
			t.sitDown(f, w, i, &driver)
			who = &assistant
		}
		stand := t.ring.nearest(f.spot(h.GetStand()))
		first := len(t.runs)
		for _, part := range t.parts(f, w, h.GetWay()) {
			t.runs = append(t.runs, run{from: part[0], ahead: part[1], assistant: h.GetAssistantWalks(), halt: i, outOf: len(t.runs) > first, into: true})
		}
		if outside := !h.GetInside(); len(t.runs) == first && (!who.known || outside == who.inside) { // steps over the threshold
			at := stand
			if h.GetInside() && who.known {
				at = who.along
			}
			if outside || who.known {
				t.runs = append(t.runs, run{from: at, assistant: h.GetAssistantWalks(), halt: i})
			}
		}
		if len(t.runs) > first {
			t.runs[first].outOf = who.inside
			t.runs[len(t.runs)-1].into = h.GetInside()
			who.along = t.runs[len(t.runs)-1].end()
		}
		who.known, who.inside = true, h.GetInside()
		t.halts = append(t.halts, footing{h.GetInside(), stand, len(t.runs) - 1})
		if h.GetAssistantWalks() {
			continue
		}
		assistant = whereabouts{} // whoever helps elsewhere begins anew
	}
	return t
}

// sitDown lets the driver go to the cab before the assistant walks: the walk tells
// only the assistant's way.
func (t *trail) sitDown(f planFrame, w *pb.Walk, halt int, driver *whereabouts) {
	if !driver.known || driver.inside {
		driver.known, driver.inside = true, true
		return
	}
	door := f.doorSpot()
	for _, h := range w.GetHalts()[halt:] {
		if !h.GetAssistantWalks() && len(h.GetWay()) > 0 {
			door = f.spot(h.GetWay()[0]) // where the driver will come out
			break
		}
	}
	ahead := t.ring.ahead(driver.along, t.ring.nearest(door))
	t.runs = append(t.runs, run{from: driver.along, ahead: ahead, halt: halt, into: true})
	driver.along, driver.inside = driver.along+ahead, true
}

// doorSpot is about where the driver's door is.
func (f planFrame) doorSpot() planPoint {
	side := 1.0
	if f.v.GetDriverSide() == pb.Side_SIDE_OFFSIDE {
		side = -1
	}
	return f.at(f.front-0.15*(f.front-f.rear), side*f.half)
}

// parts cuts a way where somebody climbs in and out again, and where it turns: where
// each part begins, and how far ahead it goes.
func (t *trail) parts(f planFrame, w *pb.Walk, way []*pb.Point) (parts [][2]float64) {
	for i, p := range way {
		at := t.ring.nearest(f.spot(p))
		if i == 0 {
			parts = append(parts, [2]float64{at, 0})
			continue
		}
		last := &parts[len(parts)-1]
		end := last[0] + last[1]
		ahead := t.ring.ahead(end, at)
		if i > 1 && (!isCorner(w, way[i-1]) || last[1]*ahead < 0) {
			parts = append(parts, [2]float64{end, ahead})
			continue
		}
		last[1] += ahead
	}
	return parts
}

// between is the part of a trail that leads to some halts, the first included, the last not.
func (t trail) between(first, last int) trail {
	part := trail{ring: t.ring, halts: slices.Clone(t.halts)}
	for i := range part.halts {
		part.halts[i].run = -1
	}
	for i, r := range t.runs {
		if r.halt < first || r.halt >= last {
			continue
		}
		part.runs = append(part.runs, r)
		for k := range t.halts {
			if t.halts[k].run == i && k >= first && k < last {
				part.halts[k].run = len(part.runs) - 1
			}
		}
	}
	return part
}

// isCorner tells that a point is a corner of the line round the vehicle. A way that
// has another point in between leads to a door and on from there.
func isCorner(w *pb.Walk, p *pb.Point) bool {
	for _, c := range w.GetRoundLine() {
		if math.Hypot(c.GetXM()-p.GetXM(), c.GetYM()-p.GetYM()) < 0.01 {
			return true
		}
	}
	return false
}

// ringOf is the line that a walk keeps to, on the sheet.
func (f planFrame) ringOf(line []*pb.Point) ring {
	corners := make([]planPoint, len(line))
	for i, p := range line {
		corners[i] = f.spot(p)
	}
	return newRing(corners)
}

// covered are the stretches of the ring that runs cover, none twice, all going on.
func (r ring) covered(runs []run) (all []run) {
	for _, one := range runs {
		from := r.within(min(one.from, one.end()))
		to := from + math.Abs(one.ahead)
		if one.ahead == 0 {
			continue
		}
		all = append(all, run{from: from, ahead: min(to, r.length()) - from})
		if to > r.length() { // it comes round over the start
			all = append(all, run{ahead: min(to-r.length(), r.length())})
		}
	}
	slices.SortFunc(all, func(a, b run) int { return cmp.Compare(a.from, b.from) })
	kept := 0
	for _, one := range all {
		if kept > 0 && one.from <= all[kept-1].end()+0.01 {
			last := &all[kept-1]
			last.ahead = max(last.end(), one.end()) - last.from
			continue
		}
		all[kept] = one
		kept++
	}
	return all[:kept]
}
