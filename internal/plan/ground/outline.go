package ground

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Point is a place on the ground, in metres in the frame of the package.
type Point struct{ X, Y float64 }

// Outline is the round line. It comes from NewOutline, never changes and may be copied.
type Outline struct {
	ring   []spot  // its corners, clockwise; the start lies on the side from the first to the second
	reach  []int64 // micrometres from the first corner to each, clockwise; one more: once round
	lead   int64   // micrometres from the first corner to the start
	length int64   // once round, in whole millimetres
}

// NewOutline returns the line round the convex hull of the corners, at the clearance
// from it, both in metres. Corners are taken to the millimetre. One corner, or several
// on one straight line, are a thin vehicle. There is an error when there is no corner,
// when a number is not finite, when the clearance is negative or more than 100 m, or when a
// corner lies more than 100 m from an axis.
func NewOutline(corners []Point, clearanceM float64) (Outline, error) {
	if len(corners) == 0 {
		return Outline{}, errors.New("a vehicle without corners has no round line")
	}
	if !(clearanceM >= 0 && clearanceM <= farthestClearanceM) {
		return Outline{}, fmt.Errorf("the clearance is %v m; it must lie between 0 and %d", clearanceM, farthestClearanceM)
	}
	spots := make([]spot, len(corners))
	for i, c := range corners {
		if !(math.Abs(c.X) <= farthestCornerM && math.Abs(c.Y) <= farthestCornerM) {
			return Outline{}, fmt.Errorf("corner %d lies at (%v, %v) m; no corner may lie farther out than %d", i+1, c.X, c.Y, farthestCornerM)
		}
		// The hull's sides are then at least a millimetre long.
		spots[i] = spot{
			int64(math.Round(c.X*millimetres)) * microsPerMilli,
			int64(math.Round(c.Y*millimetres)) * microsPerMilli,
		}
	}
	o := Outline{ring: widened(hull(spots), math.Round(clearanceM*micrometres))}
	o.begin()
	return o, nil
}

// begin finds the start, turns the ring to it and measures.
func (o *Outline) begin() {
	side, start := 0, spot{x: math.MinInt64}
	y := o.centre()
	for i := range o.ring {
		if x, crosses := o.crossing(i, y); crosses && x > start.x {
			side, start = i, spot{x, y}
		}
	}
	o.ring = append(slices.Clone(o.ring[side:]), o.ring[:side]...)
	o.reach = make([]int64, len(o.ring)+1)
	for i := range o.ring {
		from, to := o.side(i)
		o.reach[i+1] = o.reach[i] + from.apart(to)
	}
	o.lead = min(o.ring[0].apart(start), o.reach[1])
	o.length = (o.around() + microsPerMilli/2) / microsPerMilli
}

// centre is the y on the line that is nearest to the centre line.
func (o *Outline) centre() int64 {
	low, high := o.ring[0].y, o.ring[0].y
	for _, c := range o.ring {
		low, high = min(low, c.y), max(high, c.y)
	}
	return min(max(0, low), high)
}

// around is once round, in micrometres.
func (o *Outline) around() int64 { return o.reach[len(o.ring)] }

// side is the stretch from one corner to the next.
func (o *Outline) side(i int) (from, to spot) { return o.ring[i], o.ring[(i+1)%len(o.ring)] }

// crossing is the foremost x of a side at y, and whether the side gets there.
func (o *Outline) crossing(i int, y int64) (x int64, crosses bool) {
	rear, front := o.side(i)
	if rear.x > front.x {
		rear, front = front, rear
	}
	run, rise := front.x-rear.x, front.y-rear.y
	switch {
	case min(rear.y, front.y) > y || max(rear.y, front.y) < y:
		return 0, false
	case rise == 0:
		return front.x, true
	}
	return rear.x + int64(math.Round(float64(run*(y-rear.y))/float64(rise))), true
}

// Length is once round the line, in metres.
func (o Outline) Length() float64 { return float64(o.length) / millimetres }

// Corners returns the corners of the line, clockwise, the first before the start or on it.
// The line goes on from the last to the first.
func (o Outline) Corners() []Point { return points(o.ring) }

func points(spots []spot) []Point {
	all := make([]Point, len(spots))
	for i, s := range spots {
		all[i] = s.point()
	}
	return all
}
