package measure_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"bayround/internal/measure"

	"pgregory.net/rapid"
)

func TestStandardUncertainty_PublishedInstruments(t *testing.T) {
	for _, r := range rows(t, "instrument-uncertainty.csv", 7) {
		u := measure.StandardUncertainty(r.number(t, "mpe_half_width"), r.number(t, "resolution"), r.number(t, "repeatability_sd"))
		if want := r.number(t, "standard_uncertainty"); math.Abs(u-want) > 5e-11 {
			t.Errorf("%s: u = %.10f %s, want %.10f (%s)", r["instrument"], u, r["unit"], want, r["source"])
		}
		if got, want := measure.Expanded(u), r.number(t, "expanded_uncertainty_k2"); math.Abs(got-want) > 5e-11 {
			t.Errorf("%s: U = %.10f %s, want %.10f (%s)", r["instrument"], got, r["unit"], want, r["source"])
		}
	}
}

func TestStandardUncertainty_NothingIsKnownOfNonsense(t *testing.T) {
	for why, u := range map[string]float64{
		"negative error":           measure.StandardUncertainty(-0.1, 0.1),
		"unknown error":            measure.StandardUncertainty(math.NaN(), 0.1),
		"negative resolution":      measure.StandardUncertainty(0.1, -0.1),
		"unknown repeatability":    measure.StandardUncertainty(0.1, 0.1, math.NaN()),
		"no reading":               measure.MeanUncertainty(0, 0.1, 0.1, 0.1),
		"negative count":           measure.MeanUncertainty(-3, 0.1, 0.1, 0.1),
		"negative scatter":         measure.MeanUncertainty(3, 0.1, 0.1, -0.1),
		"expanded from nothing":    measure.Expanded(math.NaN()),
		"combined without freedom": measure.Combine(measure.Component{StandardUncertainty: 1}).StandardUncertainty,
	} {
		if !math.IsInf(u, 1) {
			t.Errorf("%s: u = %v, want infinite", why, u)
		}
	}
}

// JCGM 100:2008, H.1: the end-gauge budget, by its components and by the two
// steps of the printed calculation.
func TestCombine_EndGauge(t *testing.T) {
	budget := map[string]measure.Component{}
	for _, r := range rows(t, "gum-h1-budget.csv", 9) {
		c := measure.Component{StandardUncertainty: r.number(t, "standard_uncertainty_nm")}
		if r["degrees_of_freedom"] != "" {
			c.DegreesOfFreedom = r.number(t, "degrees_of_freedom")
		}
		budget[r["component"]] = c
	}
	difference := measure.Combine(budget["d_repeat"], budget["d_random"], budget["d_systematic"])
	whole := measure.Combine(budget["l_s"], difference, budget["delta_alpha"], budget["delta_theta"])
	for _, tc := range []struct {
		name string
		got  measure.Component
	}{{"u_d_combined", difference}, {"u_c_first_order", whole}} {
		want := budget[tc.name]
		if math.Abs(tc.got.StandardUncertainty-want.StandardUncertainty) > 5e-6 {
			t.Errorf("%s: %.6f nm, want %.6f", tc.name, tc.got.StandardUncertainty, want.StandardUncertainty)
		}
		if math.Abs(tc.got.DegreesOfFreedom-want.DegreesOfFreedom) > 1e-3 {
			t.Errorf("%s: %.4f degrees of freedom, want %.4f", tc.name, tc.got.DegreesOfFreedom, want.DegreesOfFreedom)
		}
	}
}

func TestCombine_Laws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		parts := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) measure.Component {
			return measure.Component{
				StandardUncertainty: rapid.Float64Range(0, 1e3).Draw(t, "u"),
				DegreesOfFreedom:    float64(rapid.IntRange(1, 100).Draw(t, "freedom")),
			}
		}), 1, 8).Draw(t, "parts")
		sum := measure.Combine(parts...)
		least, all := math.Inf(1), 0.0
		for _, p := range parts {
			if sum.StandardUncertainty < p.StandardUncertainty-1e-9 {
				t.Fatalf("the sum %v is less than one part, %v", sum.StandardUncertainty, p.StandardUncertainty)
			}
			least, all = min(least, p.DegreesOfFreedom), all+p.DegreesOfFreedom
		}
		// GUM G.4.1 note 1: not more than the sum of the parts' degrees of freedom.
		if sum.StandardUncertainty > 0 && (sum.DegreesOfFreedom < least-1e-6 || sum.DegreesOfFreedom > all+1e-6) {
			t.Fatalf("%v degrees of freedom out of %v", sum.DegreesOfFreedom, parts)
		}
	})
}

// A gauge is played: its own error drawn once for all its readings, chance drawn
// for each, and each shown rounded. The scatter of the mean's error over many
// gauges is what MeanUncertainty foretells. The draws are the same in each run.
func TestMeanUncertainty_AgreesWithPlayedGauges(t *testing.T) {
	const gauges = 40_000 // the standard deviation is then good to 0.4 % (1/√(2N))
	for _, tc := range []struct {
		why                           string
		readings                      int
		mpe, resolution, repeatabilty float64
	}{
		{"one reading", 1, 0.16, 0.1, 0.03},
		{"chance falls, the gauge's own error does not", 9, 0.02, 0.01, 0.1},
		{"a steady value is rounded alike each time", 9, 0.0, 0.1, 0.0},
		{"half a step of scatter makes rounding independent", 16, 0.0, 0.1, 0.05},
		{"the gauge's own error is all that stays", 25, 0.16, 0.01, 0.02},
	} {
		random := rand.New(rand.NewPCG(12, uint64(tc.readings)))
		sum := 0.0
		for range gauges {
			truth := 8 + random.Float64()
			own := tc.mpe * (2*random.Float64() - 1)
			mean := 0.0
			for range tc.readings {
				read := truth + own + tc.repeatabilty*random.NormFloat64()
				mean += math.Round(read/tc.resolution) * tc.resolution / float64(tc.readings)
			}
			sum += (mean - truth) * (mean - truth)
		}
		got := measure.MeanUncertainty(tc.readings, tc.mpe, tc.resolution, tc.repeatabilty)
		if played := math.Sqrt(sum / gauges); !near(got, played, 0.015) {
			t.Errorf("%s: u = %.5f, played %.5f", tc.why, got, played)
		}
	}
}

func TestMeanUncertainty_Laws(t *testing.T) {
	part := rapid.Float64Range(0, 10)
	rapid.Check(t, func(t *rapid.T) {
		a, d, s := part.Draw(t, "mpe"), part.Draw(t, "resolution"), part.Draw(t, "scatter")
		n := rapid.IntRange(1, 50).Draw(t, "readings")
		once, often := measure.MeanUncertainty(n, a, d, s), measure.MeanUncertainty(n+1, a, d, s)
		if often > once*(1+1e-12) {
			t.Fatalf("one more reading raised u from %v to %v", once, often)
		}
		if own := a / math.Sqrt(3); often < own*(1-1e-12) {
			t.Fatalf("%d readings brought u to %v, below the gauge's own %v", n+1, often, own)
		}
		if n == 1 && (once < measure.StandardUncertainty(a, d, s)*(1-1e-12) || once > measure.StandardUncertainty(a, d, s)*(1+1e-12)) {
			t.Fatalf("the mean of one reading has u = %v, one reading %v", once, measure.StandardUncertainty(a, d, s))
		}
	})
}

// gauge-limits.csv has the classes of EN 12645 from memory; the test holds the
// code to that table and rests on nothing better.
func TestTyreGaugeMPE_Classes(t *testing.T) {
	inClass := map[string][]measure.Kilopascals{
		"up to 4 bar":          {0, 250, 400},
		"above 4 up to 10 bar": {400.1, 850, 1000},
		"above 10 bar":         {1000.1, 1300, measure.Kilopascals(math.NaN())},
	}
	seen := 0
	for _, r := range rows(t, "gauge-limits.csv", 10) {
		for _, p := range inClass[r["range"]] {
			seen++
			if got, want := float64(measure.TyreGaugeMPE(p)), convert(t, r.number(t, "max_permissible_error"), r["unit"], "kPa"); got != want {
				t.Errorf("at %v kPa the gauge may be %v kPa off, want %v (%s, %s)", p, got, want, r["source"], r["status"])
			}
		}
	}
	if seen != 9 {
		t.Errorf("%d pressures were held to the table, want 9", seen)
	}
}

func FuzzUncertainty(f *testing.F) {
	f.Add(5, 0.16, 0.1, 0.02)
	f.Add(-1, -0.16, math.NaN(), math.Inf(1))
	f.Add(1, math.MaxFloat64, 5e-324, math.MaxFloat64)
	f.Fuzz(func(t *testing.T, n int, a, d, s float64) {
		sum := measure.Combine(measure.Component{StandardUncertainty: a, DegreesOfFreedom: d}, measure.Component{StandardUncertainty: s, DegreesOfFreedom: float64(n)})
		for name, u := range map[string]float64{
			"one reading": measure.StandardUncertainty(a, d, s), "mean": measure.MeanUncertainty(n, a, d, s),
			"expanded": measure.Expanded(a), "combined": sum.StandardUncertainty, "freedom": sum.DegreesOfFreedom,
			"class": float64(measure.TyreGaugeMPE(measure.Kilopascals(a))), "band": measure.GuardBand(a, d),
		} {
			if !(u >= 0) {
				t.Fatalf("%s: %v from %v, %v, %v, %v", name, u, n, a, d, s)
			}
		}
	})
}
