package ground

import (
	"math"
	"slices"
	"sort"
)

// Stand returns how far along the line, in metres clockwise from its start, the point
// nearest to p lies: at least 0 and less than Length, or 0 when that is 0. What lies
// equally near on two stretches, as the middle of a vehicle does, has its stand on the one that comes first.
// A p farther out than 1 km is taken to lie there, a coordinate that is not a number is 0.
func (o Outline) Stand(p Point) float64 {
	near := o.nearest(spotAt(p))
	return float64(o.wrap((near.along+microsPerMilli/2)/microsPerMilli)) / millimetres
}

// At returns the point so many metres clockwise from the start; along is taken to the
// millimetre, may go round more than once, and backwards when it is negative. What is
// not finite is 0.
func (o Outline) At(along float64) Point { return o.at(o.position(along)).point() }

// Distance returns the metres from a to b along the line, the shorter way. Both are
// metres from the start, as At takes them.
func (o Outline) Distance(a, b float64) float64 {
	ahead := o.wrap(o.position(b) - o.position(a))
	return float64(min(ahead, o.length-ahead)) / millimetres
}

// Way returns the shorter way along the line from a to b, corner by corner, both ends
// included; clockwise when both ways are equally long. When a and b are the same place it is
// that one point.
func (o Outline) Way(a, b float64) []Point {
	from, to := o.position(a), o.position(b)
	ahead := o.wrap(to - from)
	if 2*ahead <= o.length {
		return points(o.clockwise(from, to))
	}
	way := o.clockwise(to, from)
	slices.Reverse(way)
	return points(way)
}

// position takes metres from the start to whole millimetres, 0 to length-1.
func (o *Outline) position(along float64) int64 {
	millis := math.Round(along * millimetres)
	if o.length == 0 || math.IsNaN(millis) || math.IsInf(millis, 0) {
		return 0
	}
	return o.wrap(int64(math.Mod(millis, float64(o.length))))
}

// wrap brings millimetres round the line to 0 to length-1.
func (o *Outline) wrap(millis int64) int64 {
	if o.length == 0 {
		return 0
	}
	return (millis%o.length + o.length) % o.length
}

// at is the spot at a position.
func (o *Outline) at(position int64) spot {
	if o.around() == 0 {
		return o.ring[0]
	}
	reach := (position*microsPerMilli + o.lead) % o.around()
	i := o.sideAt(reach)
	from, to := o.side(i)
	part := float64(reach-o.reach[i]) / float64(o.reach[i+1]-o.reach[i])
	arrow := to.minus(from)
	return spot{
		from.x + int64(math.Round(float64(arrow.x)*part)),
		from.y + int64(math.Round(float64(arrow.y)*part)),
	}
}

// sideAt is the side on which a reach lies, 0 to less than once round.
func (o *Outline) sideAt(reach int64) int {
	return sort.Search(len(o.ring), func(i int) bool { return o.reach[i+1] > reach })
}

// clockwise is the way from one position to another, corner by corner.
func (o *Outline) clockwise(from, to int64) []spot {
	way := []spot{o.at(from)}
	begin, end := from*microsPerMilli+o.lead, to*microsPerMilli+o.lead
	if to < from {
		end += o.around()
	}
	for lap := int64(0); lap <= 2*o.around() && o.around() > 0; lap += o.around() {
		for i, corner := range o.ring {
			if at := lap + o.reach[i]; begin < at && at < end {
				way = append(way, corner)
			}
		}
	}
	return slices.Compact(append(way, o.at(to)))
}

// footing is the point of the line nearest to a spot.
type footing struct {
	side  int
	along int64   // micrometres from the start, less than once round
	away  float64 // micrometres from the spot
}

func (o *Outline) nearest(s spot) footing {
	best := footing{away: math.Inf(1)}
	for i := range o.ring {
		foot := o.foot(s, i)
		if foot.away < best.away || foot.away == best.away && foot.along < best.along {
			best = foot
		}
	}
	return best
}

// foot is the point of one side nearest to a spot.
func (o *Outline) foot(s spot, i int) footing {
	from, to := o.side(i)
	arrow, seen := to.minus(from), s.minus(from)
	length := arrow.length()
	reach, away := o.reach[i], seen.length()
	switch along := arrow.dot(seen); {
	case along <= 0:
	case along >= arrow.dot(arrow):
		reach, away = o.reach[i+1], s.minus(to).length()
	default:
		reach = min(reach+int64(math.Round(float64(along)/length)), o.reach[i+1])
		away = math.Abs(float64(arrow.cross(seen))) / length
	}
	along := reach - o.lead
	if around := o.around(); around > 0 {
		along = (along + around) % around
	}
	return footing{side: i, along: along, away: away}
}
