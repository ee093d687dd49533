package measure_test

import (
	"cmp"
	"math"
	"slices"
	"testing"

	"bayround/internal/measure"

	"pgregory.net/rapid"
)

func TestBestBand_Shapes(t *testing.T) {
	for _, tc := range []struct {
		why                  string // how the figures follow from the definition
		section              measure.TreadSection
		fraction             float64
		best, central, least float64
	}{
		{"one depth stands for the whole breadth", measure.TreadSection{{0.5, 4}}, 0.75, 4, 4, 4},
		{
			"a bald outer quarter leaves three quarters (GB reg. 27(1)(g): continuous band, not the central one)",
			measure.TreadSection{{0.1, 0}, {0.2, 0}, {0.25, 5}, {1, 5}},
			0.75, 5, 0, 0,
		},
		{
			"a bald middle spoils every band of three quarters",
			measure.TreadSection{{0, 8}, {0.5, 0}, {1, 8}},
			0.75, 0, 0, 0,
		},
		{
			"a straight wedge 0 to 8 mm: the best three quarters start at 0.25, the central at 0.125",
			measure.TreadSection{{0, 0}, {1, 8}},
			0.75, 2, 1, 0,
		},
		{
			"a roof of 8 mm in the middle, 0 at the edges: the band sits level, 0.125 from each",
			measure.TreadSection{{0, 0}, {0.5, 8}, {1, 0}},
			0.75, 2, 2, 0,
		},
		{
			"a lopsided roof: level where 32a = (1-a-0.5)*32/3, so a = 0.125 and both edges are 4 deep",
			measure.TreadSection{{0, 0}, {0.25, 8}, {1, 0}},
			0.5, 4, 8 * 0.25 / 0.75, 0,
		},
		{"the whole breadth is the least", measure.TreadSection{{0, 6}, {0.3, 2}, {1, 5}}, 1, 2, 2, 2},
		{"more than the breadth is the breadth", measure.TreadSection{{0, 6}, {0.3, 2}, {1, 5}}, 9, 2, 2, 2},
		{"no breadth is the deepest point", measure.TreadSection{{0, 6}, {0.4, 7}, {1, 5}}, 0, 7, 7 - 2*0.1/0.6, 5},
		{"constant to the edges", measure.TreadSection{{0.4, 3}, {0.6, 5}}, 0.4, 5, 3, 3},
		{"an unknown fraction is the whole breadth", measure.TreadSection{{0, 6}, {0.4, 7}, {1, 5}}, math.NaN(), 5, 5, 5},
	} {
		t.Run(tc.why, func(t *testing.T) {
			if got := tc.section.BestBand(tc.fraction); math.Abs(got-tc.best) > 1e-12 {
				t.Errorf("best band %v, want %v", got, tc.best)
			}
			if got := tc.section.Central(tc.fraction); math.Abs(got-tc.central) > 1e-12 {
				t.Errorf("central band %v, want %v", got, tc.central)
			}
			if got := tc.section.Least(); got != tc.least {
				t.Errorf("least %v, want %v", got, tc.least)
			}
		})
	}
}

func TestCheck_WhatProvesNoTread(t *testing.T) {
	for why, section := range map[string]measure.TreadSection{
		"nothing taken":        nil,
		"outside the tyre":     {{0, 5}, {1.2, 5}},
		"before the edge":      {{-0.1, 5}},
		"position unknown":     {{math.NaN(), 5}},
		"the wrong way round":  {{0.8, 5}, {0.2, 5}},
		"twice the same place": {{0.5, 5}, {0.5, 6}},
		"a negative depth":     {{0.5, -1}},
		"depth unknown":        {{0.2, 4}, {0.5, math.NaN()}},
		"depth without end":    {{0.5, math.Inf(1)}},
	} {
		if section.Check() == nil {
			t.Errorf("%s: passed", why)
		}
		if section.BestBand(0.75) != 0 || section.Central(0.75) != 0 || section.Least() != 0 {
			t.Errorf("%s: proves a depth", why)
		}
	}
	if err := (measure.TreadSection{{0, 0}, {1, 12}}).Check(); err != nil {
		t.Errorf("a sound section: %v", err)
	}
}

// drawSection draws two to twelve points on a grid of 1/64, so that positions
// and their mirror images are exact.
func drawSection(t *rapid.T) measure.TreadSection {
	places := rapid.SliceOfNDistinct(rapid.IntRange(0, 64), 2, 12, rapid.ID).Draw(t, "places")
	slices.Sort(places)
	section := make(measure.TreadSection, len(places))
	for i, place := range places {
		section[i] = measure.TreadPoint{
			Across:  float64(place) / 64,
			DepthMM: float64(rapid.IntRange(0, 200).Draw(t, "depth")) / 10,
		}
	}
	return section
}

func TestBestBand_MoreRubberNeverLowersIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		section := drawSection(t)
		fraction := rapid.Float64Range(0, 1).Draw(t, "fraction")
		deeper := slices.Clone(section)
		deeper[rapid.IntRange(0, len(deeper)-1).Draw(t, "point")].DepthMM += rapid.Float64Range(0, 5).Draw(t, "more")
		if before, after := section.BestBand(fraction), deeper.BestBand(fraction); after < before-1e-9 {
			t.Fatalf("best band fell from %v to %v", before, after)
		}
		if before, after := section.Central(fraction), deeper.Central(fraction); after < before-1e-9 {
			t.Fatalf("central band fell from %v to %v", before, after)
		}
	})
}

func TestBestBand_WiderNeverRaisesIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		section := drawSection(t)
		narrow := rapid.Float64Range(0, 1).Draw(t, "narrow")
		wide := rapid.Float64Range(narrow, 1).Draw(t, "wide")
		if n, w := section.BestBand(narrow), section.BestBand(wide); w > n+1e-9 {
			t.Fatalf("%v of the breadth has %v mm, %v of it has %v", narrow, n, wide, w)
		}
		if n, w := section.Central(narrow), section.Central(wide); w > n+1e-9 {
			t.Fatalf("the central %v has %v mm, %v has %v", narrow, n, wide, w)
		}
	})
}

func TestBestBand_MirroredIsTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		section := drawSection(t)
		fraction := rapid.Float64Range(0, 1).Draw(t, "fraction")
		mirrored := slices.Clone(section)
		slices.Reverse(mirrored)
		for i := range mirrored {
			mirrored[i].Across = 1 - mirrored[i].Across
		}
		if a, b := section.BestBand(fraction), mirrored.BestBand(fraction); math.Abs(a-b) > 1e-9 {
			t.Fatalf("%v one way, %v mirrored", a, b)
		}
		if a, b := section.Central(fraction), mirrored.Central(fraction); math.Abs(a-b) > 1e-9 {
			t.Fatalf("central %v one way, %v mirrored", a, b)
		}
	})
}

func TestBestBand_StandsBetweenCentralAndDeepest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		section := drawSection(t)
		fraction := rapid.Float64Range(0, 1).Draw(t, "fraction")
		deepest := slices.MaxFunc(section, func(a, b measure.TreadPoint) int { return cmp.Compare(a.DepthMM, b.DepthMM) })
		best := section.BestBand(fraction)
		if best < section.Central(fraction)-1e-9 || best < section.Least() || best > deepest.DepthMM+1e-9 {
			t.Fatalf("best %v, central %v, least %v, deepest %v", best, section.Central(fraction), section.Least(), deepest.DepthMM)
		}
	})
}

// bruteDepth is the definition of the profile, read off the two neighbours.
func bruteDepth(section measure.TreadSection, x float64) float64 {
	left, right := section[0], section[len(section)-1]
	for _, p := range section {
		if p.Across <= x && p.Across >= left.Across {
			left = p
		}
		if p.Across >= x && p.Across <= right.Across {
			right = p
		}
	}
	switch {
	case x <= section[0].Across:
		return section[0].DepthMM
	case x >= section[len(section)-1].Across:
		return section[len(section)-1].DepthMM
	case left.Across == right.Across:
		return left.DepthMM
	}
	return left.DepthMM + (right.DepthMM-left.DepthMM)*(x-left.Across)/(right.Across-left.Across)
}

// bruteBand slides a band of cells/64 of the breadth over the tyre in steps so
// fine that no depth changes by more than slack between two of them. All
// positions of drawSection lie on the grid, so each band's least is exact and
// only the place of the band is sampled.
func bruteBand(section measure.TreadSection, cells int) (best, slack float64) {
	const fine = 16 // steps in a cell
	depths := make([]float64, 64*fine+1)
	for i := range depths {
		depths[i] = bruteDepth(section, float64(i)/(64*fine))
		if i > 0 {
			slack = max(slack, math.Abs(depths[i]-depths[i-1]))
		}
	}
	for from := 0; from+cells*fine < len(depths); from++ {
		best = max(best, slices.Min(depths[from:from+cells*fine+1]))
	}
	return best, slack
}

func TestBestBand_AgreesWithBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		section := drawSection(t)
		cells := rapid.IntRange(1, 64).Draw(t, "cells")
		want, slack := bruteBand(section, cells)
		got := section.BestBand(float64(cells) / 64)
		// A sampled place can only miss the best one, by less than a step.
		if got < want-1e-9 || got > want+slack+1e-9 {
			t.Fatalf("best band of %d/64 is %v, brute force finds %v (a step is worth %v)", cells, got, want, slack)
		}
		// And the band found is attained: a level just below it is a run of that
		// breadth, a level just above it is not.
		if run := longestRun(section, got-1e-7); run < float64(cells)/64-1e-9 {
			t.Fatalf("no band of %d/64 is as deep as %v; the longest is %v", cells, got, run)
		}
		from := section.BestBandFrom(float64(cells) / 64)
		for i := range 65 {
			x := from + float64(cells)/64*float64(i)/64
			if x < 0 || x > 1+1e-9 || bruteDepth(section, min(x, 1)) < got-1e-9 {
				t.Fatalf("the band from %v is %v deep at %v, not %v", from, bruteDepth(section, min(x, 1)), x, got)
			}
		}
		if run := longestRun(section, got+1e-7); run > float64(cells)/64+1e-9 {
			t.Fatalf("a band of %v, wider than %d/64, is deeper than %v", run, cells, got)
		}
	})
}

// longestRun is the breadth of the longest stretch at least as deep as level,
// worked out piece by piece: another way to the same answer.
func longestRun(section measure.TreadSection, level float64) float64 {
	edges := slices.Concat(
		measure.TreadSection{{Across: 0, DepthMM: section[0].DepthMM}},
		section,
		measure.TreadSection{{Across: 1, DepthMM: section[len(section)-1].DepthMM}},
	)
	longest, run := 0.0, 0.0
	for i := 1; i < len(edges); i++ {
		a, b := edges[i-1], edges[i]
		breadth := b.Across - a.Across
		crossing := breadth * (level - a.DepthMM) / (b.DepthMM - a.DepthMM)
		switch {
		case a.DepthMM >= level && b.DepthMM >= level:
			run += breadth
		case a.DepthMM >= level:
			longest, run = max(longest, run+crossing), 0
		case b.DepthMM >= level:
			run = breadth - crossing
		}
		longest = max(longest, run)
	}
	return longest
}

func FuzzTreadSection(f *testing.F) {
	f.Add(0.75, 0.0, 8.0, 0.5, 1.0, 1.0, 8.0)
	f.Add(0.75, 0.2, 0.0, 0.25, 5.0, 0.9, 5.0)
	f.Add(1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
	f.Add(math.NaN(), 0.1, 3.0, 0.2, 3.0, 0.3, 3.0)
	f.Add(0.5, 0.1, math.Inf(1), 0.2, math.NaN(), 0.3, -3.0)
	f.Add(2.0/3, 0.0, 36.0, 0.5, 36.0, 1.0, 36.0)
	f.Add(1e-300, 0.0, 5e-324, 1e-300, math.MaxFloat64, 1.0, 1.0)
	f.Fuzz(func(t *testing.T, fraction, x1, d1, x2, d2, x3, d3 float64) {
		section := measure.TreadSection{{x1, d1}, {x2, d2}, {x3, d3}}
		best, central, least := section.BestBand(fraction), section.Central(fraction), section.Least()
		if section.Check() != nil {
			if best != 0 || central != 0 || least != 0 {
				t.Fatalf("%v proves %v, %v, %v", section, best, central, least)
			}
			return
		}
		deepest := max(d1, d2, d3)
		for _, got := range []float64{best, central, least} {
			if !(got >= least) || got > deepest {
				t.Fatalf("%v, fraction %v: %v lies outside %v…%v", section, fraction, got, least, deepest)
			}
		}
	})
}

func BenchmarkBestBand(b *testing.B) {
	section := measure.TreadSection{{0.05, 7}, {0.2, 6.4}, {0.35, 5.9}, {0.5, 5.2}, {0.65, 5.8}, {0.8, 6.1}, {0.95, 4.9}}
	b.ReportAllocs()
	for b.Loop() {
		if section.BestBand(0.75) <= 0 {
			b.Fatal("no tread")
		}
	}
}
