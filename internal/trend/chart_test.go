package trend_test

import (
	"math"
	"slices"
	"testing"

	"bayround/internal/trend"
)

func TestCUSUM_SignalSaysWhenAndSince(t *testing.T) {
	c := trend.CUSUM{K: 0.5, H: 5}
	values := []float64{0, 0.3, -0.2, 0, -2, -2, -2, -2, -2}
	run := c.Run(values)
	want := &trend.Signal{At: 7, Onset: 4} // 1.5 each from the fifth on: beyond 5 with the eighth
	if run.First == nil || *run.First != *want || run.Standing == nil || *run.Standing != *want {
		t.Errorf("first %+v, standing %+v, want %+v", run.First, run.Standing, want)
	}
}

// A sum without a ceiling remembers a long fault for as long again; with one it forgets.
func TestCUSUM_CeilingLetsASignalEnd(t *testing.T) {
	values := append(slices.Repeat([]float64{3}, 50), slices.Repeat([]float64{0}, 20)...)
	endless := trend.CUSUM{K: 0.5, H: 5}
	capped := trend.CUSUM{K: 0.5, H: 5, Ceiling: 10}
	if endless.Run(values).Standing == nil {
		t.Error("the sum of fifty forgets within twenty: the values do not test the ceiling")
	}
	run := capped.Run(values)
	if run.First == nil || run.Standing != nil {
		t.Errorf("first %+v, standing %+v; want a signal that has ended", run.First, run.Standing)
	}
}

func TestEWMA_SignalSaysWhenAndSince(t *testing.T) {
	e := trend.RecommendedEWMA()
	run := e.Run([]float64{0.1, -0.1, 0.2, -0.4, 2, 2, 2, 2, 2})
	if run.First == nil || !run.First.Up || run.First.Onset != 4 || run.First.At < 5 || run.First.At > 8 {
		t.Errorf("%+v, want a rise since the fifth value", run.First)
	}
}

// The variance of S is an average over all orders of the values: counted here, ties in
// both rows included.
func TestMannKendall_VarianceIsThatOfAllOrders(t *testing.T) {
	for _, tc := range []struct{ days, values []float64 }{
		{[]float64{0, 7, 14, 21, 28, 35}, []float64{1, 2, 3, 4, 5, 6}},
		{[]float64{0, 7, 14, 21, 28, 35}, []float64{1, 1, 2, 2, 2, 3}},
		{[]float64{0, 7, 7, 21, 28, 28}, []float64{1, 1, 2, 2, 2, 3}},
		{[]float64{0, 0, 0, 21, 28}, []float64{1, 1, 1, 2, 3}},
	} {
		sum, squares, n := 0.0, 0.0, 0.0
		orders(slices.Clone(tc.values), 0, func(values []float64) {
			s := float64(trend.MannKendall(tc.days, values).S)
			sum, squares, n = sum+s, squares+s*s, n+1
		})
		want := squares/n - sum/n*(sum/n)
		if got := trend.MannKendall(tc.days, tc.values).Variance; math.Abs(got-want) > 1e-9 {
			t.Errorf("%v at %v: %v, over all orders %v", tc.values, tc.days, got, want)
		}
	}
}

// orders visits every order of values.
func orders(values []float64, from int, visit func([]float64)) {
	if from == len(values) {
		visit(values)
		return
	}
	for i := from; i < len(values); i++ {
		values[from], values[i] = values[i], values[from]
		orders(values, from+1, visit)
		values[from], values[i] = values[i], values[from]
	}
}
