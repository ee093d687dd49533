package trend_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"bayround/internal/trend"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// onGauge makes readings of a truth on a gauge with a step of 0.1.
func onGauge(random *rand.Rand, n int, truth, noise float64) []float64 {
	values := make([]float64, n)
	for i := range values {
		values[i] = math.Round((truth+noise*random.NormFloat64())*10) / 10
	}
	return values
}

func TestRepeats_CountsTheRunThatEndsWithTheNewest(t *testing.T) {
	for _, tc := range []struct {
		shown []float64
		want  int
	}{{nil, 0}, {[]float64{8}, 1}, {[]float64{8, 8, 7.9}, 1}, {[]float64{7.9, 8, 8, 8}, 3}, {[]float64{8, 8, 8}, 3}} {
		if got := trend.Repeats(tc.shown, 0.1); got.InARow != tc.want || got.P != 1 {
			t.Errorf("%v: %+v, want %d in a row and nothing said of it", tc.shown, got, tc.want)
		}
	}
}

func TestRepeats_CopiesAreUnlikely(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 8))
	shown := onGauge(random, 30, 8.23, 0.06)
	for range 12 {
		shown = append(shown, 8.5)
	}
	got := trend.Repeats(shown, 0.1)
	// Greatest chance of the same step, derived: P(|z| < 0.05/0.06) = 0.595, to the 11th: 0.0033.
	if got.InARow != 12 || got.P > 0.03 || got.P < 0.0003 {
		t.Errorf("twelve copies after a scatter of 0.06: %+v", got)
	}
	steady := onGauge(random, 42, 8.2, 0.01)
	if got := trend.Repeats(steady, 0.1); got.InARow != 42 || got.P != 1 {
		t.Errorf("a good gauge on a sound tyre: %+v", got)
	}
}

// What is asked alone is what Summarise says of it.
func TestRepeatsOf_SaysWhatSummariseSays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSeries(t)
		for range rapid.IntRange(0, 6).Draw(t, "copies") {
			if n := len(s); n > 0 {
				s = append(s, trend.Point{At: s[n-1].At.AddDate(0, 0, 7), Value: s[n-1].Value, Reset: rapid.IntRange(0, 9).Draw(t, "reset") == 0})
			}
		}
		resolution := rapid.SampledFrom([]float64{0, 0.1}).Draw(t, "resolution")
		if got, want := trend.RepeatsOf(s, resolution), trend.Summarise(s, trend.Options{Resolution: resolution}).Repeats; got != want {
			t.Fatalf("alone %+v, within all %+v", got, want)
		}
	})
}

// P is called the greatest probability: honest readings fall below it no more often.
func TestRepeats_HonestReadingsAreSeldomUnlikely(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 9))
	const histories = 4000
	below := 0
	for range histories {
		if trend.Repeats(onGauge(random, 40, 8+random.Float64(), 0.06), 0.1).P < 0.05 {
			below++
		}
	}
	t.Logf("P below 0.05 in %.2f %% of %d honest histories", 100*float64(below)/histories, histories)
	if below > histories*5/100 {
		t.Errorf("below 0.05 in %d of %d", below, histories)
	}
}

func TestHeaping_LastDigits(t *testing.T) {
	random := rand.New(rand.NewPCG(10, 10))
	honest := onGauge(random, 200, 8, 0.8)
	got := trend.Heaping(honest, 0.1)
	if got.P < 0.01 || math.Abs(got.ZeroFive-1) > 0.4 {
		t.Errorf("honest readings: %+v", got)
	}
	sum := 0
	for _, n := range got.Count {
		sum += n
	}
	if sum != 200 {
		t.Errorf("%d digits of 200 readings", sum)
	}
	rounded := make([]float64, len(honest))
	for i, v := range honest {
		rounded[i] = math.Round(v*2) / 2
	}
	if got := trend.Heaping(rounded, 0.1); got.P > 1e-9 || got.ZeroFive != 5 || got.Count[0]+got.Count[5] != 200 {
		t.Errorf("rounded to the half: %+v", got)
	}
	for name, few := range map[string][]float64{"few": honest[:49], "close together": onGauge(random, 200, 8, 0.2)} {
		if got := trend.Heaping(few, 0.1); got.P != 1 || got.ZeroFive != 0 {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

// Chi-square by hand: 100 readings, twenty ending in 0, ten in 1 to 8, none in 9. Its tail
// is that of nine degrees of freedom; 16.92 is the table's 5 % point (from memory).
func TestHeaping_ByHand(t *testing.T) {
	var shown []float64
	for digit, count := range []int{20, 10, 10, 10, 10, 10, 10, 10, 10, 0} {
		for i := range count {
			shown = append(shown, float64(100+10*(i%9)+digit))
		}
	}
	got := trend.Heaping(shown, 1)
	if got.ChiSquare != 20 || math.Abs(got.P-distuv.ChiSquared{K: 9}.Survival(20)) > 1e-12 || got.P > 0.05 {
		t.Errorf("%+v, want chi-square 20", got)
	}
	if p := (distuv.ChiSquared{K: 9}).Survival(16.92); math.Abs(p-0.05) > 1e-4 {
		t.Errorf("the tail beyond 16.92 is %v", p)
	}
}
