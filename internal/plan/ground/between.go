package ground

import "slices"

// Between returns the metres of the shortest way from p to q that does not cross what
// lies inside the line: the straight one when it is free, else the shorter of the two
// taut ones. A point inside is taken to its stand first, and that bit is not counted. A
// point farther out than 1 km is taken to lie there, a coordinate that is not a number is 0.
//
// The taut ways are the two halves of the convex hull of the line and both points. When
// the straight way is free, p and q are neighbours on that hull, or one of them is
// no corner of it; when it is blocked neither is so.
func (o Outline) Between(p, q Point) float64 {
	from, to := o.outside(spotAt(p)), o.outside(spotAt(q))
	straight := from.apart(to)
	round := hull(append(slices.Clone(o.ring), from, to))
	a, b := slices.Index(round, from), slices.Index(round, to)
	if a < 0 || b < 0 {
		return metres(straight)
	}
	return metres(min(between(round, a, b), between(round, b, a)))
}

// between is how far it is along a closed line from one corner on to another, in micrometres.
func between(ring []spot, a, b int) (micros int64) {
	for a != b {
		next := (a + 1) % len(ring)
		micros += ring[a].apart(ring[next])
		a = next
	}
	return micros
}

// metres rounds micrometres to the millimetre.
func metres(micros int64) float64 {
	return float64((micros+microsPerMilli/2)/microsPerMilli) / millimetres
}

const (
	// A spot that lies on the line may have been rounded to its inside, where the
	// hull would not see it. So what is not clearly outside is moved clearly outside.
	clearlyOutside  = 2 // micrometres
	pushedOutsideBy = 3 // so that rounding leaves it clearly outside
)

// outside is s, or when it is not clearly outside, the spot just outside of its stand.
func (o *Outline) outside(s spot) spot {
	if o.around() == 0 {
		return s // nothing to be inside of
	}
	for i := range o.ring {
		from, to := o.side(i)
		arrow := to.minus(from)
		if float64(arrow.cross(s.minus(from))) >= clearlyOutside*arrow.length() {
			return s
		}
	}
	foot := o.nearest(s)
	from, to := o.side(foot.side)
	reach := (foot.along + o.lead) % o.around()
	if foot.side == len(o.ring)-1 && reach == 0 {
		reach = o.around() // the end of the last side
	}
	along := to.minus(from).unit()
	return from.moved(along, float64(reach-o.reach[foot.side])).moved(along.outward(), pushedOutsideBy)
}
