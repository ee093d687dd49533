package ground

import "math"

// arrow is a direction of length 1.
type arrow struct{ x, y float64 }

// unit needs an arrow that is not 0. Products are converted, so that none is fused
// with the sum after it.
func unit(x, y float64) arrow {
	length := math.Sqrt(float64(x*x) + float64(y*y))
	return arrow{x / length, y / length}
}

func (s spot) unit() arrow { return unit(float64(s.x), float64(s.y)) }

// outward is the normal of a side of a clockwise hull that runs along a.
func (a arrow) outward() arrow { return arrow{-a.y, a.x} }

// between halves the turn between two normals that are not opposite.
func (a arrow) between(b arrow) arrow { return unit(a.x+b.x, a.y+b.y) }

// widened is a convex hull's outline at a clearance: the hull of tangents of the arcs
// round its corners.
func widened(corners []spot, clearance float64) []spot {
	if len(corners) == 1 {
		return hull(aroundOne(corners[0], clearance))
	}
	var line []spot
	for i, at := range corners {
		before := corners[(i+len(corners)-1)%len(corners)]
		after := corners[(i+1)%len(corners)]
		line = appendCorners(line, at, normals(at.minus(before), after.minus(at)), clearance)
	}
	return hull(line) // what rounding bent inwards or brought together is dropped
}

// aroundOne goes round a single spot as round the corners of a square.
func aroundOne(at spot, clearance float64) (line []spot) {
	square := []spot{{0, 1}, {1, 0}, {0, -1}, {-1, 0}}
	for i, side := range square {
		line = appendCorners(line, at, normals(side, square[(i+1)%len(square)]), clearance)
	}
	return line
}

// normals are those of the tangents round a corner between two sides, both included:
// the turn from each to the next is at most an eighth of a circle. Which case it is, is
// decided by whole numbers, so that a right angle is one.
func normals(in, out spot) []arrow {
	a, b := in.unit(), out.unit()
	first, last := a.outward(), b.outward()
	along, across := in.dot(out), in.cross(out) // across ≤ 0: clockwise
	switch {
	case along >= -across:
		return []arrow{first, last}
	case along >= 0:
		return []arrow{first, first.between(last), last}
	}
	// Past a right angle the sum of the normals may vanish; the sides' directions do not.
	middle := unit(a.x-b.x, a.y-b.y)
	return []arrow{first, first.between(middle), middle, middle.between(last), last}
}

// appendCorners adds the spots where the tangents with these normals meet.
func appendCorners(line []spot, at spot, normals []arrow, clearance float64) []spot {
	for i := range len(normals) - 1 {
		a, b := normals[i], normals[i+1]
		// a+b is as long as twice the cosine of half the turn; this makes of it one divided by that cosine.
		meet := arrow{a.x + b.x, a.y + b.y}
		line = append(line, at.moved(meet, clearance/(1+(float64(a.x*b.x)+float64(a.y*b.y)))))
	}
	return line
}
