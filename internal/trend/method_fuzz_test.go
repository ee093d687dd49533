package trend_test

import (
	"math"
	"reflect"
	"testing"

	"bayround/internal/trend"
)

// FuzzMethods gives every method values that a station could hold; none may panic, and what
// it says of them is finite.
func FuzzMethods(f *testing.F) {
	f.Add(bytesOf(leaking(1, 12, 0.1)), 0.1)
	f.Add(bytesOf(weekly(1, 1, 1, 1, 1, 1)), 0.0)
	f.Add(bytesOf(weekly(-1e9, 1e9, 0, 1e-300, 1)), 1e300)
	f.Fuzz(func(t *testing.T, raw []byte, step float64) {
		s := seriesOf(raw).Current()
		s = s[:min(len(s), trend.MostPoints)]
		days, values := s.Balanced()
		finite(t, reflect.ValueOf(trend.UseOf(s, 3)), "use")
		finite(t, reflect.ValueOf(trend.Repeats(values, step)), "repeats")
		finite(t, reflect.ValueOf(trend.Heaping(values, step)), "heaping")
		finite(t, reflect.ValueOf(trend.Pettitt(values)), "pettitt")
		finite(t, reflect.ValueOf(trend.Break(values, 2)), "break")
		finite(t, reflect.ValueOf(trend.Grubbs(values, 0.05)), "grubbs")
		finite(t, reflect.ValueOf(trend.MannKendall(days, values)), "kendall")
		if chart := trend.FitIndividuals(values); len(values) > 1 && !(chart.Lower <= chart.Centre && chart.Centre <= chart.Upper) {
			t.Fatalf("individuals: %+v", chart)
		}
		for i, score := range trend.Scores(values, math.Abs(step)) {
			if math.IsNaN(score) || math.IsInf(score, 0) {
				t.Fatalf("score %d of %v is %v", i, values, score)
			}
		}
		if line, ok := trend.FitLine(days, values); ok && !(line.ResidualSD >= 0) {
			t.Fatalf("line: %+v", line)
		}
		trend.Regress([][]float64{days, values}, values)
	})
}
