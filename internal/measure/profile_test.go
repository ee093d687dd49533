package measure_test

import (
	"math"
	"slices"
	"testing"

	"bayround/internal/measure"

	"pgregory.net/rapid"
)

func TestTreadProfile_OneBandAllRound(t *testing.T) {
	outerWorn := measure.TreadSection{{0.125, 0.5}, {0.375, 5}, {0.625, 5}, {0.875, 5}}
	innerWorn := measure.TreadSection{{0.125, 5}, {0.375, 5}, {0.625, 5}, {0.875, 0.5}}
	for _, tc := range []struct {
		why                  string // how the figures follow from the definition
		profile              measure.TreadProfile
		best, central, least float64
	}{
		{"one section stands for the whole round", measure.TreadProfile{{{0, 0}, {1, 8}}}, 2, 1, 0},
		{"the same twice", measure.TreadProfile{{{0, 0}, {1, 8}}, {{0, 0}, {1, 8}}}, 2, 1, 0},
		{
			"the worst of two even sections",
			measure.TreadProfile{{{0, 6}, {1, 6}}, {{0, 4}, {1, 4}}},
			4, 4, 4,
		},
		{
			"each section has a deep band, but on opposite sides: together only the middle is deep (GB reg. 27(1)(g): round the entire circumference)",
			measure.TreadProfile{outerWorn, innerWorn},
			0.5, 0.5, 0.5,
		},
		{
			"two wedges cross at 4 mm in the middle; the level three quarters reach from 0.125 to 0.875 (1 mm deep)",
			measure.TreadProfile{{{0, 0}, {1, 8}}, {{0, 8}, {1, 0}}},
			1, 1, 0,
		},
	} {
		if got := tc.profile.BestBand(0.75); math.Abs(got-tc.best) > 1e-12 {
			t.Errorf("%s: best band %v, want %v", tc.why, got, tc.best)
		}
		if got := tc.profile.Central(0.75); math.Abs(got-tc.central) > 1e-12 {
			t.Errorf("%s: central band %v, want %v", tc.why, got, tc.central)
		}
		if got := tc.profile.Least(); got != tc.least {
			t.Errorf("%s: least %v, want %v", tc.why, got, tc.least)
		}
	}
}

func TestTreadProfile_WhatProvesNoTread(t *testing.T) {
	sound := measure.TreadSection{{0, 8}, {1, 8}}
	for why, profile := range map[string]measure.TreadProfile{
		"nothing taken":          nil,
		"four places":            {sound, sound, sound, sound},
		"half a profile":         {sound, nil},
		"one section of no use":  {sound, {{0.5, math.NaN()}}, sound},
		"the wrong way round it": {{{0.8, 5}, {0.2, 5}}},
	} {
		if profile.Check() == nil {
			t.Errorf("%s: passed", why)
		}
		if profile.BestBand(0.75) != 0 || profile.Central(0.75) != 0 || profile.Least() != 0 || profile.Worst() != nil {
			t.Errorf("%s: proves a depth", why)
		}
		if got := profile.Shape(0.1); got != measure.ShapeUnknown {
			t.Errorf("%s: is %v", why, got)
		}
	}
}

func drawProfile(t *rapid.T) measure.TreadProfile {
	return rapid.SliceOfN(rapid.Custom(drawSection), 1, 3).Draw(t, "profile")
}

// mirrored is the profile as taken from the other side of the tyre.
func mirrored(profile measure.TreadProfile) measure.TreadProfile {
	other := make(measure.TreadProfile, len(profile))
	for i, s := range profile {
		other[i] = slices.Clone(s)
		slices.Reverse(other[i])
		for k := range other[i] {
			other[i][k].Across = 1 - other[i][k].Across
		}
	}
	return other
}

// depths are the three figures of a profile.
func depths(p measure.TreadProfile, fraction float64) [3]float64 {
	return [3]float64{p.BestBand(fraction), p.Central(fraction), p.Least()}
}

func TestTreadProfile_MoreRubberNeverLowersIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		profile := drawProfile(t)
		fraction := rapid.Float64Range(0, 1).Draw(t, "fraction")
		before := depths(profile, fraction)
		section := profile[rapid.IntRange(0, len(profile)-1).Draw(t, "section")]
		section[rapid.IntRange(0, len(section)-1).Draw(t, "point")].DepthMM += rapid.Float64Range(0, 5).Draw(t, "more")
		for i, after := range depths(profile, fraction) {
			if after < before[i]-1e-9 {
				t.Fatalf("best, central, least number %d fell from %v to %v", i, before[i], after)
			}
		}
	})
}

func TestTreadProfile_WiderNeverRaisesIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		profile := drawProfile(t)
		narrow := rapid.Float64Range(0, 1).Draw(t, "narrow")
		wide := rapid.Float64Range(narrow, 1).Draw(t, "wide")
		before, after := depths(profile, narrow), depths(profile, wide)
		if after[0] > before[0]+1e-9 || after[1] > before[1]+1e-9 {
			t.Fatalf("%v of the breadth has %v, %v of it has %v", narrow, before, wide, after)
		}
	})
}

func TestTreadProfile_NeitherSideNorOrderCounts(t *testing.T) {
	swapped := map[measure.Shape]measure.Shape{measure.WornOuter: measure.WornInner, measure.WornInner: measure.WornOuter}
	rapid.Check(t, func(t *rapid.T) {
		profile := drawProfile(t)
		fraction := rapid.Float64Range(0, 1).Draw(t, "fraction")
		want, shape := depths(profile, fraction), profile.Shape(0.1)
		other := mirrored(profile)
		for i, got := range depths(other, fraction) {
			if math.Abs(got-want[i]) > 1e-9 {
				t.Fatalf("%v, mirrored %v", want, depths(other, fraction))
			}
		}
		wantShape := shape
		if opposite, sided := swapped[shape]; sided {
			wantShape = opposite
		}
		if got := other.Shape(0.1); got != wantShape {
			t.Fatalf("%v, mirrored %v", shape, got)
		}
		turned := slices.Clone(profile)
		slices.Reverse(turned)
		if got := depths(turned, fraction); got != want {
			t.Fatalf("%v, begun elsewhere round the tyre %v", want, got)
		}
	})
}

// A section more can only show less rubber, and no band all round is better
// than that of the worst section.
func TestTreadProfile_AnotherSectionNeverRaisesIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		profile := drawProfile(t)
		fraction := rapid.Float64Range(0, 1).Draw(t, "fraction")
		all := depths(profile, fraction)
		for _, s := range profile {
			for i, alone := range depths(measure.TreadProfile{s}, fraction) {
				if all[i] > alone+1e-9 {
					t.Fatalf("all sections prove %v, one alone only %v", all, depths(measure.TreadProfile{s}, fraction))
				}
			}
		}
	})
}

// bruteWorst samples the least depth over the sections so finely that the grid
// of drawSection is among the samples.
func bruteWorst(profile measure.TreadProfile, cells int) (best, slack float64) {
	const fine = 16
	worst := make([]float64, 64*fine+1)
	for i := range worst {
		worst[i] = math.Inf(1)
		for _, s := range profile {
			worst[i] = min(worst[i], bruteDepth(s, float64(i)/(64*fine)))
		}
		if i > 0 {
			slack = max(slack, math.Abs(worst[i]-worst[i-1]))
		}
	}
	for from := 0; from+cells*fine < len(worst); from++ {
		best = max(best, slices.Min(worst[from:from+cells*fine+1]))
	}
	return best, slack
}

func TestTreadProfile_AgreesWithBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		profile := drawProfile(t)
		cells := rapid.IntRange(1, 64).Draw(t, "cells")
		want, slack := bruteWorst(profile, cells)
		got := profile.BestBand(float64(cells) / 64)
		// Where sections cross between two samples the sampled band's own least
		// is off by up to a step, and its place by another.
		if got < want-slack-1e-9 || got > want+slack+1e-9 {
			t.Fatalf("best band of %d/64 is %v, brute force finds %v (a step is worth %v)", cells, got, want, slack)
		}
		if run := longestRun(profile.Worst(), got-1e-7); run < float64(cells)/64-1e-9 {
			t.Fatalf("no band of %d/64 is as deep as %v; the longest is %v", cells, got, run)
		}
		for i := range 1025 {
			x, least := float64(i)/1024, math.Inf(1)
			for _, s := range profile {
				least = min(least, bruteDepth(s, x))
			}
			if there := bruteDepth(profile.Worst(), x); math.Abs(there-least) > 1e-9 {
				t.Fatalf("at %v the worst is %v, want %v", x, there, least)
			}
		}
	})
}

func FuzzTreadProfile(f *testing.F) {
	f.Add(0.75, 0.1, 0.0, 8.0, 1.0, 8.0, 0.0)
	f.Add(0.75, 0.0, 0.2, 0.0, 0.9, 5.0, 5.0)
	f.Add(nan, inf, 0.1, 3.0, 0.2, nan, -3.0)
	f.Add(0.6666666666666666, -99.9, 0.0, 142.0, 1.0, 157.8, 36.0)
	f.Add(0.5, 5e-324, 0.0, math.MaxFloat64, 5e-324, 0.0, math.MaxFloat64)
	f.Fuzz(func(t *testing.T, fraction, resolution, x1, d1, x2, d2, d3 float64) {
		profile := measure.TreadProfile{{{x1, d1}, {x2, d2}}, {{x1, d2}, {x2, d3}}, {{x2, d3}}}
		shape := profile.Shape(resolution)
		if profile.Check() != nil {
			if depths(profile, fraction) != [3]float64{} || shape != measure.ShapeUnknown {
				t.Fatalf("%v proves %v, %v", profile, depths(profile, fraction), shape)
			}
			return
		}
		if err := profile.Worst().Check(); err != nil {
			t.Fatalf("the worst of %v: %v", profile, err)
		}
		for _, got := range depths(profile, fraction) {
			if !(got >= min(d1, d2, d3)) || got > max(d1, d2, d3) {
				t.Fatalf("%v, fraction %v: %v", profile, fraction, got)
			}
		}
	})
}
