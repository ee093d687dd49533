package ground

import (
	"cmp"
	"math"
	"slices"
)

const (
	micrometres        = 1e6  // in a metre
	millimetres        = 1e3  // in a metre
	microsPerMilli     = 1000 // micrometres in a millimetre
	farthestM          = 1000 // what lies farther out is taken to lie there
	farthestCornerM    = 100
	farthestClearanceM = 100
)

// spot is a point in whole micrometres. With no coordinate beyond 1 km every
// product of two differences, and the sum of two such, fits in an int64.
type spot struct{ x, y int64 }

// spotAt takes p to the micrometre, what is not a number to 0 and what is too far
// out to the farthest there is.
func spotAt(p Point) spot { return spot{micros(p.X), micros(p.Y)} }

func micros(m float64) int64 {
	if math.IsNaN(m) {
		return 0
	}
	return int64(math.Round(min(max(m, -farthestM), farthestM) * micrometres))
}

func (s spot) point() Point {
	return Point{X: float64(s.x) / micrometres, Y: float64(s.y) / micrometres}
}

func (s spot) minus(from spot) spot { return spot{s.x - from.x, s.y - from.y} }

// dot and cross take s and t as arrows.
func (s spot) dot(t spot) int64   { return s.x*t.x + s.y*t.y }
func (s spot) cross(t spot) int64 { return s.x*t.y - s.y*t.x }

// length of the arrow, in micrometres.
func (s spot) length() float64 { return math.Sqrt(float64(s.dot(s))) }

// apart is how far s and t lie apart, in whole micrometres.
func (s spot) apart(t spot) int64 { return int64(math.Round(s.minus(t).length())) }

// moved is s and so much in the direction of a unit arrow.
func (s spot) moved(by arrow, micros float64) spot {
	return spot{s.x + int64(math.Round(by.x*micros)), s.y + int64(math.Round(by.y*micros))}
}

// hull is the convex hull of the spots, clockwise from the rearmost, without spots on
// its sides (Andrew's monotone chain). It changes the order of the spots.
func hull(spots []spot) []spot {
	slices.SortFunc(spots, func(a, b spot) int { return cmp.Or(cmp.Compare(a.x, b.x), cmp.Compare(a.y, b.y)) })
	spots = slices.Compact(spots)
	if len(spots) < 3 {
		return slices.Clone(spots)
	}
	there := chain(spots)
	slices.Reverse(spots)
	back := chain(spots)
	return append(there[:len(there)-1], back[:len(back)-1]...)
}

// chain is the clockwise half of the hull from the first to the last of sorted spots.
func chain(spots []spot) (half []spot) {
	for _, s := range spots {
		for n := len(half); n > 1 && half[n-1].minus(half[n-2]).cross(s.minus(half[n-1])) >= 0; n = len(half) {
			half = half[:n-1]
		}
		half = append(half, s)
	}
	return half
}
