package measure_test

import (
	"slices"
	"strings"
	"testing"

	"bayround/internal/measure"

	"pgregory.net/rapid"
)

// grooves is a section with evenly spaced grooves from the outer shoulder in.
func grooves(depths ...float64) measure.TreadSection {
	section := make(measure.TreadSection, len(depths))
	for i, d := range depths {
		section[i] = measure.TreadPoint{Across: (float64(i) + 0.5) / float64(len(depths)), DepthMM: d}
	}
	return section
}

// The shapes and their thresholds are common practice; each row says what in
// the definition decides it.
func TestShape(t *testing.T) {
	for _, tc := range []struct {
		why        string
		profile    measure.TreadProfile
		resolution float64
		want       measure.Shape
	}{
		{"all alike", measure.TreadProfile{grooves(8, 8, 8, 8)}, 0.1, measure.Even},
		{"a middle 3 mm lower", measure.TreadProfile{grooves(8, 5, 5, 8)}, 0.1, measure.WornCentre},
		{"shoulders 3 mm lower", measure.TreadProfile{grooves(5, 8, 8, 5)}, 0.1, measure.WornShoulders},
		{"the outer shoulder alone", measure.TreadProfile{grooves(5, 8, 8, 8)}, 0.1, measure.WornOuter},
		{"the inner shoulder alone", measure.TreadProfile{grooves(8, 8, 8, 5)}, 0.1, measure.WornInner},
		{"a wedge", measure.TreadProfile{grooves(5, 6, 7, 8)}, 0.1, measure.WornOuter},
		{"both shoulders, one much more", measure.TreadProfile{grooves(3, 7, 7, 5.5)}, 0.1, measure.WornOuter},
		{"both shoulders, nearly alike", measure.TreadProfile{grooves(4, 8, 8, 5)}, 0.1, measure.WornShoulders},
		{"three grooves", measure.TreadProfile{grooves(8, 5, 8)}, 0.1, measure.WornCentre},
		{"two shoulders, no centre: one can be told", measure.TreadProfile{grooves(4, 8)}, 0.1, measure.WornOuter},
		{"two shoulders alike, no centre: nobody knows", measure.TreadProfile{grooves(8, 8)}, 0.1, measure.ShapeUnknown},
		{"one depth", measure.TreadProfile{grooves(8)}, 0.1, measure.ShapeUnknown},
		{"no inner shoulder", measure.TreadProfile{{{0.1, 3}, {0.5, 8}}}, 0.1, measure.ShapeUnknown},
		{"one place round it 3 mm lower", measure.TreadProfile{grooves(8, 8, 8), grooves(5, 5, 5), grooves(8, 8, 8)}, 0.1, measure.WornPatches},
		{"a patch on one shoulder", measure.TreadProfile{grooves(8, 8, 8), grooves(4, 8, 8)}, 0.1, measure.WornPatches},
		{"the same shoulder all round", measure.TreadProfile{grooves(4, 8, 8), grooves(4.2, 8, 8), grooves(4, 8, 7.9)}, 0.1, measure.WornOuter},
		{"patches without a centre", measure.TreadProfile{grooves(8, 8), grooves(4, 4)}, 0.1, measure.WornPatches},
		{"a fifth of 8 mm is a shape", measure.TreadProfile{grooves(6.4, 8, 8)}, 0.1, measure.WornOuter},
		{"a little less is not", measure.TreadProfile{grooves(6.5, 8, 8)}, 0.1, measure.Even},
		{"a little less by a fine gauge is not, either", measure.TreadProfile{grooves(6.45, 8, 8)}, 0.01, measure.Even},
		{"a centre as low as one shoulder is not the centre", measure.TreadProfile{grooves(5, 4.5, 7)}, 0.1, measure.WornOuter},
		{"worn down, the same fifth is less", measure.TreadProfile{grooves(2.4, 3, 3)}, 0.1, measure.WornOuter},
		{"three steps of the gauge are a shape", measure.TreadProfile{grooves(0.5, 0.8, 0.8)}, 0.1, measure.WornOuter},
		{"two are noise, though a quarter of the depth", measure.TreadProfile{grooves(0.6, 0.8, 0.8)}, 0.1, measure.Even},
		{"a coarse gauge cannot tell 2.5 mm", measure.TreadProfile{grooves(5.5, 8, 8)}, 1, measure.Even},
		{"bald", measure.TreadProfile{grooves(0, 0, 0)}, 0.1, measure.Even},
		{"a gauge of no resolution", measure.TreadProfile{grooves(5, 8, 8)}, 0, measure.ShapeUnknown},
		{"an unknown resolution", measure.TreadProfile{grooves(5, 8, 8)}, nan, measure.ShapeUnknown},
		{"a resolution without end", measure.TreadProfile{grooves(5, 8, 8)}, inf, measure.ShapeUnknown},
	} {
		if got := tc.profile.Shape(tc.resolution); got != tc.want {
			t.Errorf("%s: %v, want %v", tc.why, got, tc.want)
		}
	}
}

// Readings of an even tyre that are each off by a step, up or down, are never
// taken for a shape, whatever the depth and however many places.
func TestShape_NoiseOfTheGaugeIsNone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		resolution := rapid.SampledFrom([]float64{0.01, 0.1, 0.5, 1}).Draw(t, "resolution")
		depth := rapid.Float64Range(1, 20).Draw(t, "depth")
		profile := drawProfile(t)
		for _, s := range profile {
			for i := range s {
				s[i].DepthMM = max(0, depth+resolution*float64(rapid.IntRange(-1, 1).Draw(t, "off")))
			}
		}
		if got := profile.Shape(resolution); got != measure.Even && got != measure.ShapeUnknown {
			t.Fatalf("%v, of noise: %v", got, profile)
		}
	})
}

// However much one shoulder has lost, it is the one shoulder that is named.
func TestShape_OneShoulderStaysOneShoulder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		depth := rapid.Float64Range(2, 15).Draw(t, "depth")
		lost := rapid.Float64Range(max(0.21*depth, 0.31), depth).Draw(t, "lost")
		section := grooves(depth-lost, depth, depth, depth)
		if got := (measure.TreadProfile{section}).Shape(0.1); got != measure.WornOuter {
			t.Fatalf("%v of %v mm lost on the outer shoulder: %v", lost, depth, got)
		}
		slices.Reverse(section)
		section = grooves(section[0].DepthMM, section[1].DepthMM, section[2].DepthMM, section[3].DepthMM)
		if got := (measure.TreadProfile{section}).Shape(0.1); got != measure.WornInner {
			t.Fatalf("%v of %v mm lost on the inner shoulder: %v", lost, depth, got)
		}
	})
}

// In other units, thicker and thinner by the same factor, the shape is the same.
func TestShape_DoesNotDependOnTheUnit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		profile := drawProfile(t)
		want := profile.Shape(0.1)
		for _, s := range profile {
			for i := range s {
				s[i].DepthMM *= 4 // exact in binary
			}
		}
		if got := profile.Shape(0.4); got != want {
			t.Fatalf("%v, four times as large %v", want, got)
		}
	})
}

func TestShape_Words(t *testing.T) {
	seen := map[string]bool{}
	for shape := measure.ShapeUnknown; shape <= measure.WornPatches; shape++ {
		if words := shape.String(); words == "" || seen[words] {
			t.Errorf("shape %d is %q, as another is", int(shape), words)
		}
		seen[shape.String()] = true
		if told := shape > measure.Even; told != (shape.Cause() != "") {
			t.Errorf("%v has the cause %q", shape, shape.Cause())
		}
	}
	if got := measure.WornCentre.Cause(); !strings.Contains(got, "over-inflated") {
		t.Errorf("a worn centre is put down to %q", got)
	}
	if got := measure.WornShoulders.Cause(); !strings.Contains(got, "under-inflated") {
		t.Errorf("worn shoulders are put down to %q", got)
	}
}
