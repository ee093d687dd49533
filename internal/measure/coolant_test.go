package measure_test

import (
	"math"
	"testing"

	"bayround/internal/measure"

	"pgregory.net/rapid"
)

func glycolBasis(r row) measure.GlycolBasis {
	if r["basis"] == "mass" {
		return measure.GlycolByMass
	}
	return measure.GlycolByVolume
}

// glycol-freeze-point.csv: the verified lines within their own agreement, and
// those from memory within what the answer says of itself.
func TestGlycolFreezePoint_Tables(t *testing.T) {
	seen, widest := map[string]int{}, map[measure.GlycolBasis]float64{}
	for _, r := range rows(t, "glycol-freeze-point.csv", 48) {
		seen[r["status"]]++
		got, err := measure.GlycolFreezePoint(glycolBasis(r), r.number(t, "ethylene_glycol_percent"))
		if err != nil {
			t.Fatal(err)
		}
		off := r.number(t, "freeze_point_celsius") - float64(got.Celsius)
		widest[glycolBasis(r)] = max(widest[glycolBasis(r)], off)
		within := r.number(t, "agreement_k")
		if r["status"] != "VERIFIED" {
			within = got.WithinK
		}
		if math.Abs(off) > within+1e-9 {
			t.Errorf("%s %% by %s: %v C, want %s within %v K (%s)", r["ethylene_glycol_percent"], r["basis"], got.Celsius, r["freeze_point_celsius"], within, r["source"])
		}
	}
	if seen["VERIFIED"] != 24 || seen["MEMORY"] != 24 {
		t.Errorf("%v lines were held to, want 24 of each", seen)
	}
	// What is said of the sources' disagreement is not said without need.
	if widest[measure.GlycolByMass] < 2 || widest[measure.GlycolByVolume] > 0.6 {
		t.Errorf("by mass and volume the sources lie %v K apart", widest)
	}
}

func TestGlycolFreezePoint_Refuses(t *testing.T) {
	for _, tc := range []struct {
		why     string
		basis   measure.GlycolBasis
		percent float64
	}{
		{"stronger than tabled", measure.GlycolByVolume, 60.5},
		{"pure", measure.GlycolByMass, 100},
		{"negative", measure.GlycolByMass, -1},
		{"no number", measure.GlycolByVolume, nan},
		{"no basis", 0, 40},
		{"another basis", 3, 40},
	} {
		if got, err := measure.GlycolFreezePoint(tc.basis, tc.percent); err == nil || got != (measure.FreezePoint{}) {
			t.Errorf("%s: %+v", tc.why, got)
		}
	}
}

func TestFreezePoint_Margin(t *testing.T) {
	half, err := measure.GlycolFreezePoint(measure.GlycolByVolume, 50)
	if err != nil {
		t.Fatal(err)
	}
	// -37.1 °C within 0.6 K (glycol-freeze-point.csv): liquid for sure down to -36.5.
	for design, want := range map[measure.Celsius]float64{-25: 11.5, -36.5: 0, -40: -3.5} {
		if got := half.MarginK(design); math.Abs(got-want) > 1e-9 {
			t.Errorf("made for %v C: %v K of margin, want %v", design, got, want)
		}
	}
	for _, none := range []measure.Celsius{-300, measure.Celsius(nan), measure.Celsius(inf)} {
		if got := half.MarginK(none); !math.IsInf(got, -1) {
			t.Errorf("made for %v C: %v K of margin", none, got)
		}
		if got := (measure.FreezePoint{Celsius: none}).MarginK(-20); !math.IsInf(got, -1) {
			t.Errorf("freezing at %v C: %v K of margin", none, got)
		}
	}
	if got := (measure.FreezePoint{Celsius: -30, WithinK: nan}).MarginK(-20); !math.IsInf(got, -1) {
		t.Errorf("sources nobody knows how far apart: %v K of margin", got)
	}
}

func TestGlycolFreezePoint_StrongerFreezesLater(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		basis := rapid.SampledFrom([]measure.GlycolBasis{measure.GlycolByVolume, measure.GlycolByMass}).Draw(t, "basis")
		weak := rapid.Float64Range(0, 59).Draw(t, "percent")
		strong := weak + rapid.Float64Range(0.01, 1).Draw(t, "more")
		a, err := measure.GlycolFreezePoint(basis, weak)
		if err != nil {
			t.Fatal(err)
		}
		b, err := measure.GlycolFreezePoint(basis, strong)
		if err != nil || b.Celsius >= a.Celsius || b.MarginK(-30) <= a.MarginK(-30) {
			t.Fatalf("%v %% freezes at %v, %v %% at %v (%v)", weak, a, strong, b, err)
		}
	})
}

func FuzzGlycol(f *testing.F) {
	f.Add(1, 40.0, -25.0)
	f.Add(2, nan, inf)
	f.Add(1, 5e-324, -273.15)
	f.Fuzz(func(t *testing.T, basis int, percent, design float64) {
		point, err := measure.GlycolFreezePoint(measure.GlycolBasis(basis), percent)
		if !(point.Celsius <= 0 && point.Celsius >= -52 && point.WithinK >= 0) || (err != nil && point != measure.FreezePoint{}) {
			t.Fatalf("%+v (%v)", point, err)
		}
		if margin := point.MarginK(measure.Celsius(design)); math.IsNaN(margin) || math.IsInf(margin, 1) {
			t.Fatalf("%v K of margin", margin)
		}
	})
}
