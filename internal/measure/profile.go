package measure

import (
	"fmt"
	"slices"
)

// TreadProfile is the depths of one tyre, taken across it at one to three
// places round its circumference, as far from each other as the tyre allows.
//
// A profile that fails Check proves no tread: every depth asked of it is 0.
type TreadProfile []TreadSection

// mostSections is at how many places round a tyre depths are taken.
const mostSections = 3

// Check says what is wrong with the profile: no section, too many, or one that
// fails its own Check.
func (p TreadProfile) Check() error {
	if len(p) == 0 || len(p) > mostSections {
		return fmt.Errorf("depths were taken at %d places round the tyre; take them at one to %d", len(p), mostSections)
	}
	for i, s := range p {
		if err := s.Check(); err != nil {
			return fmt.Errorf("place %d round the tyre: %w", i+1, err)
		}
	}
	return nil
}

// BestBand returns the least depth within the best band of that fraction of the
// breadth that runs all round the tyre at the same place across it. It is never
// more than the BestBand of the worst section, and less where the sections are
// worn on different sides: limits speak of one continuous band round the entire
// circumference (GB reg. 27(1)(g)). Fractions are taken as by
// TreadSection.BestBand.
func (p TreadProfile) BestBand(fraction float64) float64 {
	return p.Worst().BestBand(fraction)
}

// Central returns the least depth within the middle band of that fraction of
// the breadth, all round.
func (p TreadProfile) Central(fraction float64) float64 {
	return p.Worst().Central(fraction)
}

// Least returns the least depth anywhere on the tyre.
func (p TreadProfile) Least() float64 {
	return p.Worst().Least()
}

// Worst returns the section of what is nowhere exceeded: at each place across
// the tyre the least depth that any section has there. It is exact; where two
// sections cross, a point is added. Nil when the profile fails Check.
func (p TreadProfile) Worst() TreadSection {
	if p.Check() != nil {
		return nil
	}
	places := p.places()
	worst := make(TreadSection, 0, len(places))
	for i, place := range places {
		if i > 0 && place == places[i-1] {
			continue
		}
		worst = append(worst, TreadPoint{Across: place, DepthMM: p.leastAt(place)})
	}
	return worst
}

// places are, in rising order, all points of all sections and where two of them
// cross; between two neighbours the least depth runs straight.
func (p TreadProfile) places() []float64 {
	var places []float64
	for _, s := range p {
		for _, point := range s {
			places = append(places, point.Across)
		}
	}
	slices.Sort(places)
	points := len(places)
	for i := 1; i < points; i++ {
		for a := range p {
			for _, other := range p[a+1:] {
				places = append(places, crossing(p[a], other, places[i-1], places[i]))
			}
		}
	}
	slices.Sort(places)
	return places
}

// crossing returns where between two places two sections that run straight
// there are equally deep; the first place when they nowhere are.
func crossing(s, other TreadSection, from, to float64) float64 {
	first := s.depth(from) - other.depth(from)
	last := s.depth(to) - other.depth(to)
	if first*last >= 0 {
		return from
	}
	return from + (to-from)*(first/(first-last))
}

func (p TreadProfile) leastAt(across float64) float64 {
	least := p[0].depth(across)
	for _, s := range p[1:] {
		least = min(least, s.depth(across))
	}
	return least
}
