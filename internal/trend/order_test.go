package trend_test

import (
	"math"
	"slices"
	"testing"

	"bayround/internal/trend"

	"pgregory.net/rapid"
)

// sortedSlopes is the plain way: all slopes, sorted.
func sortedSlopes(days, values []float64) (slopes []float64) {
	for i := range days {
		for j := range i {
			slopes = append(slopes, (values[i]-values[j])/(days[i]-days[j]))
		}
	}
	slices.Sort(slopes)
	return slopes
}

// Selection must give what sorting gives, for readings with ties as well as without.
func TestTheilSen_AgreesWithSorting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 60).Draw(t, "n")
		steps := rapid.SampledFrom([]int{2, 10, 100000}).Draw(t, "steps")
		days, values := make([]float64, n), make([]float64, n)
		for i := range n {
			days[i] = float64(7 * i)
			values[i] = float64(rapid.IntRange(0, steps).Draw(t, "value")) / 8
		}
		slopes := sortedSlopes(days, values)
		got, ok := trend.TheilSen(days, values, 0.95)
		if !ok || got.PerDay != trend.Median(slopes) || got.Pairs != len(slopes) {
			t.Fatalf("%+v, the median of the sorted slopes is %v", got, trend.Median(slopes))
		}
		pairs := float64(len(slopes))
		reach := 1.959963984540054 * math.Sqrt(trend.MannKendall(days, values).Variance) // the 97.5 % point of the normal
		low := max(0, int(math.RoundToEven((pairs-reach)/2))-1)
		high := min(len(slopes)-1, int(math.RoundToEven((pairs+reach)/2)))
		if got.Low != slopes[low] || got.High != slopes[high] {
			t.Fatalf("interval %v to %v, by sorting %v to %v", got.Low, got.High, slopes[low], slopes[high])
		}
		all, _ := trend.TheilSen(days, values, 1-1e-15)
		if all.Low < slopes[0] || all.High > slopes[len(slopes)-1] {
			t.Fatalf("%+v reaches beyond the slopes", all)
		}
	})
}

func TestMedian_AgreesWithSorting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64Range(-5, 5), 1, 300).Draw(t, "values")
		if rapid.Bool().Draw(t, "coarse") {
			for i := range values {
				values[i] = float64(int(values[i]))
			}
		}
		before := slices.Clone(values)
		got := trend.Median(values)
		if !slices.Equal(before, values) {
			t.Fatal("the values were moved")
		}
		slices.Sort(before)
		n := len(before)
		if want := (before[(n-1)/2] + before[n/2]) / 2; got != want {
			t.Fatalf("%v, want %v", got, want)
		}
	})
}
