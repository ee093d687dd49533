package screen

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// ring is the line round a vehicle on the sheet, a convex polygon, and the lines that
// run beside it farther out. A spot of it is told by how far along it lies, in
// millimetres from the first corner; it may be more than once round, or negative.
type ring struct {
	corners []planPoint
	reach   []float64   // how far along each corner lies; the last entry is once round
	dirs    []planPoint // of the side behind each corner
	out     []planPoint // where outside is, seen from that side
	sweep   int         // of an arc that goes on: 1 when the ring turns as a clock does
}

// newRing makes a ring of corners; none of fewer than three.
func newRing(corners []planPoint) ring {
	var r ring
	for i, c := range corners {
		if c.distance(corners[(i+1)%len(corners)]) > 1e-6 {
			r.corners = append(r.corners, c)
		}
	}
	if len(r.corners) < 3 {
		return ring{}
	}
	r.reach = []float64{0}
	area := 0.0
	for i, a := range r.corners {
		b := r.corners[(i+1)%len(r.corners)]
		length := a.distance(b)
		r.reach = append(r.reach, r.reach[i]+length)
		r.dirs = append(r.dirs, planPoint{(b.x - a.x) / length, (b.y - a.y) / length})
		area += a.x*b.y - b.x*a.y
	}
	side := 1.0
	if r.sweep = 1; area < 0 {
		r.sweep, side = 0, -1
	}
	for _, d := range r.dirs {
		r.out = append(r.out, planPoint{side * d.y, -side * d.x})
	}
	return r
}

func (r ring) empty() bool { return len(r.corners) == 0 }

// length is once round.
func (r ring) length() float64 { return r.reach[len(r.corners)] }

// within brings a spot to the first time round.
func (r ring) within(along float64) float64 {
	if along = math.Mod(along, r.length()); along < 0 {
		along += r.length()
	}
	return along
}

// side is the side on which a spot lies that was brought within.
func (r ring) side(along float64) int {
	i, met := slices.BinarySearch(r.reach, along)
	if !met {
		i--
	}
	return min(max(i, 0), len(r.corners)-1)
}

// at is a spot of the line that runs so far outside of the ring.
func (r ring) at(along, outside float64) planPoint {
	along = r.within(along)
	i := r.side(along)
	return r.on(i, along-r.reach[i], outside)
}

// on is a spot of a side, so far behind its first corner.
func (r ring) on(i int, behind, outside float64) planPoint {
	c, d, o := r.corners[i], r.dirs[i], r.out[i]
	return planPoint{c.x + d.x*behind + o.x*outside, c.y + d.y*behind + o.y*outside}
}

// towards is the direction in which the ring goes on at a spot.
func (r ring) towards(along float64) planPoint { return r.dirs[r.side(r.within(along))] }

// nearest is the spot of the ring nearest to a point.
func (r ring) nearest(p planPoint) float64 {
	best, least := 0.0, math.Inf(1)
	for i, c := range r.corners {
		d := r.dirs[i]
		behind := min(max((p.x-c.x)*d.x+(p.y-c.y)*d.y, 0), r.reach[i+1]-r.reach[i])
		if far := p.distance(r.on(i, behind, 0)); far < least-1e-9 {
			best, least = r.reach[i]+behind, far
		}
	}
	return r.within(best)
}

// ahead is the shorter way from one spot to another: positive when it goes on,
// negative when it goes back.
func (r ring) ahead(from, to float64) float64 {
	ahead := r.within(to - from)
	if ahead > r.length()/2 {
		ahead -= r.length()
	}
	return ahead
}

// curve is the way so far ahead along the line that runs so far outside, 0 or more,
// as a path's commands. Round the corners it goes in arcs.
func (r ring) curve(from, ahead, outside float64) string {
	var d strings.Builder
	put := func(command string, p planPoint) { fmt.Fprintf(&d, "%s%.2f %.2f", command, p.x, p.y) }
	at, left := r.within(from), math.Abs(ahead)
	i := r.side(at)
	put("M", r.on(i, at-r.reach[i], outside))
	for range 4 * len(r.corners) {
		next, step := i+1, 1
		if ahead < 0 {
			next, step = i, -1
		}
		gap := math.Abs(r.reach[next] - at)
		if left <= gap {
			break
		}
		put("L", r.on(i, r.reach[next]-r.reach[i], outside))
		left -= gap
		i = (i + step + len(r.corners)) % len(r.corners)
		at = r.reach[i]
		if ahead < 0 {
			at = r.reach[i+1]
		}
		if outside > 0.01 {
			turn := r.sweep
			if ahead < 0 {
				turn = 1 - turn
			}
			put(fmt.Sprintf("A%.2f %.2f 0 0 %d ", outside, outside, turn), r.on(i, at-r.reach[i], outside))
		}
	}
	put("L", r.on(i, at-r.reach[i]+math.Copysign(left, ahead), outside))
	return d.String()
}
