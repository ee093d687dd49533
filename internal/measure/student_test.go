package measure_test

import (
	"math"
	"testing"

	"bayround/internal/measure"

	"pgregory.net/rapid"
)

// GUM (JCGM 100:2008) Table G.2, 95 per cent, two decimals: from memory, and so
// only beside the closed forms and the integral below.
func TestStudent_Table(t *testing.T) {
	for freedom, want := range map[float64]float64{
		1: 12.71, 2: 4.30, 3: 3.18, 4: 2.78, 5: 2.57, 6: 2.45, 7: 2.36, 8: 2.31, 9: 2.26, 10: 2.23,
		15: 2.13, 20: 2.09, 30: 2.04, 50: 2.01,
	} {
		if got := measure.Student(0.95, freedom); math.Abs(got-want) > 0.0051 {
			t.Errorf("%v degrees of freedom: k = %.4f, want %v", freedom, got, want)
		}
	}
	// GUM H.1.6, from memory: 16.75 effective degrees of freedom count as 16, and
	// t99(16) = 2.92.
	if got := measure.Student(0.99, 16.75); math.Abs(got-2.92) > 0.0051 {
		t.Errorf("the end gauge: k = %.4f, want 2.92", got)
	}
}

func TestStudent_ClosedForms(t *testing.T) {
	for _, p := range []float64{0.01, 0.5, 0.6827, 0.9, 0.95, 0.99, 0.999} {
		for _, tc := range []struct {
			source        string
			freedom, want float64
		}{
			{"one degree of freedom is Cauchy's distribution", 1, math.Tan(math.Pi / 2 * p)},
			{"two degrees: p = t/√(2+t²)", 2, p * math.Sqrt(2/(1-p*p))},
			{"none estimated: normal", inf, math.Sqrt2 * math.Erfinv(p)},
		} {
			if got := measure.Student(p, tc.freedom); !near(got, tc.want, 1e-12) {
				t.Errorf("%s, %v: k = %.12f, want %.12f", tc.source, p, got, tc.want)
			}
		}
	}
}

// The definition: the density integrated from -k to k is the confidence.
func TestStudent_CoversWhatItSays(t *testing.T) {
	for _, freedom := range []float64{1, 2, 3, 4, 7, 8, 33, 34, 199, 200, 201, 202, 1000} {
		above, _ := math.Lgamma((freedom + 1) / 2)
		below, _ := math.Lgamma(freedom / 2)
		scale := math.Exp(above-below) / math.Sqrt(freedom*math.Pi)
		for _, p := range []float64{0.5, 0.95, 0.99} {
			k := measure.Student(p, freedom)
			covered := simpson(-k, k, func(t float64) float64 {
				return scale * math.Pow(1+t*t/freedom, -(freedom+1)/2)
			})
			if math.Abs(covered-p) > 1e-7 {
				t.Errorf("%v degrees of freedom: k = %v covers %.9f, want %v", freedom, k, covered, p)
			}
		}
	}
}

func TestStudent_Laws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.Float64Range(0.01, 0.999).Draw(t, "confidence")
		freedom := float64(rapid.IntRange(1, 400).Draw(t, "freedom"))
		k := measure.Student(p, freedom)
		if more := measure.Student(p, freedom+1); more > k+1e-7 {
			t.Fatalf("one degree of freedom more raised k from %v to %v", k, more)
		}
		if surer := measure.Student(p+(1-p)/2, freedom); surer <= k {
			t.Fatalf("more confidence, but k fell from %v to %v", k, surer)
		}
		if between := measure.Student(p, freedom+0.999); between != k {
			t.Fatalf("%v degrees of freedom: %v, %v: %v", freedom, k, freedom+0.999, between)
		}
	})
}

func FuzzStudent(f *testing.F) {
	f.Add(0.95, 7.0)
	f.Add(1.0, 0.5)
	f.Add(nan, inf)
	f.Add(1-1e-16, 1e308)
	f.Fuzz(func(t *testing.T, confidence, freedom float64) {
		if k := measure.Student(confidence, freedom); !(k >= 0) {
			t.Fatalf("k = %v", k)
		}
	})
}
