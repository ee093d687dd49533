package trend_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"bayround/internal/trend"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

var begins = time.Date(2024, 1, 1, 7, 30, 0, 0, time.UTC)

// weekly makes a series of one reading a week.
func weekly(values ...float64) trend.Series {
	s := make(trend.Series, len(values))
	for i, v := range values {
		s[i] = trend.Point{At: begins.AddDate(0, 0, 7*i), Value: v}
	}
	return s
}

func TestBalanced_TopUpsAreAddedBack(t *testing.T) {
	s := weekly(8, 7.9, 7.8, 8.2, 8.1) // a loss of 0.1 a week, made good by 0.5 in the fourth
	s[3].Added = 0.5
	days, values := s.Balanced()
	if diff := cmp.Diff([]float64{0, 7, 14, 21, 28}, days); diff != "" {
		t.Errorf("days (-want +got):\n%s", diff)
	}
	for i, want := range []float64{8.5, 8.4, 8.3, 8.2, 8.1} {
		if math.Abs(values[i]-want) > 1e-12 {
			t.Errorf("value %d is %v, want %v", i, values[i], want)
		}
	}
}

func TestCurrent_BeginsAnewAtTheNewestReset(t *testing.T) {
	s := weekly(5, 4, 9, 8, 7)
	s[1].Reset, s[2].Reset = true, true
	s[2].Added = 3 // put into the new tyre before its first reading
	got := s.Current()
	if len(got) != 3 || got[0].Value != 9 || got[0].Added != 0 {
		t.Errorf("the newest part is %+v", got)
	}
	if parts := s.Segments(); len(parts) != 3 || len(parts[0]) != 1 || len(parts[2]) != 3 {
		t.Errorf("the parts are %+v", parts)
	}
}

// A reading that is none is left out; what was done at it still happened.
func TestCurrent_KeepsWhatWasDoneAtALostReading(t *testing.T) {
	s := weekly(8, math.NaN(), 8.1)
	s[1].Added = 0.4
	if _, values := s.Balanced(); len(values) != 2 || math.Abs(values[0]-8.4) > 1e-12 {
		t.Errorf("balanced without the lost reading: %v", values)
	}
	s[1].Reset = true
	if got := s.Current(); len(got) != 1 || got[0].Value != 8.1 {
		t.Errorf("after a reset at the lost reading: %+v", got)
	}
}

func TestSeries_OrderDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSeries(t)
		shuffled := rapid.Permutation(slices.Clone(s)).Draw(t, "shuffled")
		limit := &trend.Limit{Value: 7}
		o := trend.Options{Limit: limit, Now: begins}
		if diff := cmp.Diff(trend.Summarise(s, o), trend.Summarise(trend.Series(shuffled), o)); diff != "" {
			t.Fatalf("another order, another answer:\n%s", diff)
		}
	})
}

// drawSeries draws points of which no two are of the same instant.
func drawSeries(t *rapid.T) trend.Series {
	least := rapid.SampledFrom([]int{0, 4, 12, 40}).Draw(t, "least")
	days := rapid.SliceOfNDistinct(rapid.IntRange(0, 500), least, 60, rapid.ID[int]).Draw(t, "days")
	slices.Sort(days)
	s := make(trend.Series, len(days))
	for i, day := range days {
		s[i] = trend.Point{
			At:    begins.AddDate(0, 0, day),
			Value: float64(rapid.IntRange(60, 90).Draw(t, "tenths")) / 10,
			Added: float64(rapid.SampledFrom([]int{0, 0, 0, 3, 5}).Draw(t, "added")) / 10,
			Reset: rapid.IntRange(0, 29).Draw(t, "reset") == 29,
		}
	}
	return s
}

func TestMedian(t *testing.T) {
	for _, tc := range []struct {
		values []float64
		want   float64
	}{{nil, 0}, {[]float64{3}, 3}, {[]float64{4, 1}, 2.5}, {[]float64{9, 1, 2}, 2}} {
		if got := trend.Median(tc.values); got != tc.want {
			t.Errorf("the median of %v is %v, want %v", tc.values, got, tc.want)
		}
	}
}
