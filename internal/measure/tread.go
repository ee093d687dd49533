package measure

import (
	"fmt"
	"math"
	"slices"
)

// TreadPoint is the depth of the tread at one position across it.
type TreadPoint struct {
	Across  float64 // share of the breadth: 0 outer edge, 1 inner edge
	DepthMM float64
}

// TreadSection is the depths across a tyre at one place round it, by rising
// position. Between two points the depth runs straight, and from the outermost
// points it stays as it is to the edges.
//
// A section that fails Check proves no tread: every depth asked of it is 0.
type TreadSection []TreadPoint

// Check says what is wrong with the section: no points, a position outside 0…1
// or not beyond the one before, a depth that is negative or not a number.
func (s TreadSection) Check() error {
	if len(s) == 0 {
		return fmt.Errorf("no depth was taken; take at least one")
	}
	before := math.Inf(-1)
	for i, p := range s {
		switch {
		case !(p.Across >= 0 && p.Across <= 1):
			return fmt.Errorf("point %d lies at %v; positions run from 0 (outer edge) to 1 (inner edge)", i+1, p.Across)
		case p.Across <= before:
			return fmt.Errorf("point %d lies at %v, not beyond %v; give the points from the outer edge to the inner", i+1, p.Across, before)
		case !(p.DepthMM >= 0) || math.IsInf(p.DepthMM, 1):
			return fmt.Errorf("point %d has depth %v mm; a depth is a number from 0 up", i+1, p.DepthMM)
		}
		before = p.Across
	}
	return nil
}

// BestBand returns the least depth within the best continuous band that covers
// fraction of the breadth: the greatest depth d such that somewhere across the
// tyre a band of that breadth is nowhere shallower than d. The answer is exact,
// not sampled. A fraction of 1 or more, or none at all (NaN), means the whole
// breadth; 0 or less means the deepest point.
func (s TreadSection) BestBand(fraction float64) float64 {
	_, depth := s.bestBand(fraction)
	return depth
}

// BestBandFrom returns where the outer edge of that band lies, as a share of the
// breadth; of several bands equally deep, the outermost.
func (s TreadSection) BestBandFrom(fraction float64) float64 {
	from, _ := s.bestBand(fraction)
	return from
}

func (s TreadSection) bestBand(fraction float64) (from, depth float64) {
	if s.Check() != nil {
		return 0, 0
	}
	if math.IsNaN(fraction) {
		return 0, s.Least()
	}
	width := min(max(fraction, 0), 1)
	stops := s.stops(width)
	for i, outer := range stops {
		for _, edge := range [2]float64{outer, s.level(outer, stops[min(i+1, len(stops)-1)], width)} {
			if within := s.within(edge, edge+width); within > depth {
				from, depth = edge, within
			}
		}
	}
	return from, depth
}

// Central returns the least depth within the band of that fraction of the
// breadth that lies in the middle. Fractions are taken as by BestBand.
func (s TreadSection) Central(fraction float64) float64 {
	if s.Check() != nil {
		return 0
	}
	if math.IsNaN(fraction) {
		return s.Least()
	}
	width := min(max(fraction, 0), 1)
	return s.within((1-width)/2, (1+width)/2)
}

// Least returns the least depth anywhere across the tyre.
func (s TreadSection) Least() float64 {
	if s.Check() != nil {
		return 0
	}
	least := s[0].DepthMM
	for _, p := range s[1:] {
		least = min(least, p.DepthMM)
	}
	return least
}

// stops are the places of a band's outer edge where the band's least depth can
// change its slope: one of its edges passes a point. Between two stops it is
// the least of two straight lines, the depths at the two edges, and a constant,
// so its greatest value lies at a stop or where the two lines cross.
func (s TreadSection) stops(width float64) []float64 {
	last := 1 - width
	stops := make([]float64, 0, 2*len(s)+2)
	stops = append(stops, 0, last)
	for _, p := range s {
		for _, outer := range [2]float64{p.Across, p.Across - width} {
			if outer > 0 && outer < last {
				stops = append(stops, outer)
			}
		}
	}
	slices.Sort(stops)
	return stops
}

// level returns where, for an outer edge between two neighbouring stops, the
// band's two edges are equally deep, or the first stop when they nowhere are.
func (s TreadSection) level(from, to, width float64) float64 {
	first := s.depth(from) - s.depth(from+width)
	last := s.depth(to) - s.depth(to+width)
	if first*last >= 0 {
		return from
	}
	return from + (to-from)*first/(first-last)
}

// within is the least depth from outer to inner, both included.
func (s TreadSection) within(outer, inner float64) float64 {
	least := min(s.depth(outer), s.depth(inner))
	for _, p := range s {
		if p.Across > outer && p.Across < inner {
			least = min(least, p.DepthMM)
		}
	}
	return least
}

// depth is the depth at one position, straight between the points.
func (s TreadSection) depth(across float64) float64 {
	if across <= s[0].Across {
		return s[0].DepthMM
	}
	for i := 1; i < len(s); i++ {
		a, b := s[i-1], s[i]
		if across > b.Across {
			continue
		}
		t := (across - a.Across) / (b.Across - a.Across)
		between := a.DepthMM*(1-t) + b.DepthMM*t
		// Rounding must not leave the two depths: 36 mm all over is not 35.99….
		return min(max(between, min(a.DepthMM, b.DepthMM)), max(a.DepthMM, b.DepthMM))
	}
	return s[len(s)-1].DepthMM
}
