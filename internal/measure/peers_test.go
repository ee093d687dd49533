package measure_test

import (
	"math"
	"slices"
	"testing"

	"bayround/internal/measure"

	"pgregory.net/rapid"
)

func TestLossAgainstPeers(t *testing.T) {
	for _, tc := range []struct {
		why     string // how it follows from the median of the others
		changes []float64
		want    []float64
	}{
		{"a cold night and no leak", []float64{-35, -35, -35, -35}, []float64{0, 0, 0, 0}},
		{"a cold night and one leak", []float64{-35, -35, -44, -35, -35, -35}, []float64{0, 0, -9, 0, 0, 0}},
		{"one wheel topped up", []float64{-5, 45, -5, -5}, []float64{0, 50, 0, 0}},
		{"an even number of others: half-way", []float64{1, 2, 4}, []float64{1 - 3, 2 - 2.5, 4 - 1.5}},
		{"two wheels: each against the other", []float64{-3, -10}, []float64{7, -7}},
		{"one wheel has no peers", []float64{-3}, nil},
		{"no wheel", nil, nil},
		{"a reading missing", []float64{-3, nan, -3, -3}, nil},
		{"a change without end", []float64{-3, inf, -3, -3}, nil},
	} {
		given := slices.Clone(tc.changes)
		if got := measure.LossAgainstPeers(tc.changes); !slices.Equal(got, tc.want) {
			t.Errorf("%s: %v, want %v", tc.why, got, tc.want)
		}
		for i, change := range tc.changes {
			if change != given[i] && !math.IsNaN(change) {
				t.Errorf("%s: the changes given were changed", tc.why)
			}
		}
	}
}

func TestLossAgainstPeers_Laws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tenths := rapid.SliceOfN(rapid.IntRange(-500, 500), 2, 14).Draw(t, "changes")
		changes := make([]float64, len(tenths))
		for i, v := range tenths {
			changes[i] = float64(v) / 8 // exact in binary
		}
		losses := measure.LossAgainstPeers(changes)
		weather := float64(rapid.IntRange(-800, 800).Draw(t, "weather")) / 8
		for i := range changes {
			changes[i] += weather
		}
		if got := measure.LossAgainstPeers(changes); !slices.Equal(got, losses) {
			t.Fatalf("weather of %v kPa turned %v into %v", weather, losses, got)
		}
		slices.Reverse(changes)
		slices.Reverse(losses)
		if got := measure.LossAgainstPeers(changes); !slices.Equal(got, losses) {
			t.Fatalf("walked the other way round %v became %v", losses, got)
		}
	})
}

// With at least four wheels one leak is wholly the leaking wheel's, and the
// others' figures do not move.
func TestLossAgainstPeers_OneLeakIsOneWheels(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		changes := make([]float64, rapid.IntRange(4, 14).Draw(t, "wheels"))
		leaking := rapid.IntRange(0, len(changes)-1).Draw(t, "leaking")
		leak := float64(rapid.IntRange(1, 800).Draw(t, "leak"))
		changes[leaking] = -leak
		for i, loss := range measure.LossAgainstPeers(changes) {
			if want := changes[i]; loss != want {
				t.Fatalf("wheel %d lost %v against its peers, want %v", i+1, loss, want)
			}
		}
	})
}

func FuzzLossAgainstPeers(f *testing.F) {
	f.Add(1.0, 2.0, 3.0)
	f.Add(nan, inf, 0.0)
	f.Add(math.MaxFloat64, -math.MaxFloat64, math.MaxFloat64)
	f.Fuzz(func(t *testing.T, a, b, c float64) {
		for _, loss := range measure.LossAgainstPeers([]float64{a, b, c}) {
			if math.IsNaN(loss) || math.IsInf(loss, 0) {
				t.Fatalf("%v of %v, %v, %v", loss, a, b, c)
			}
		}
	})
}
