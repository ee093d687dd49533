package trend_test

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"bayround/internal/trend"

	"pgregory.net/rapid"
)

// leaking is a wheel that loses perWeek on a gauge of 0.1 with a noise of 0.03, topped up by
// 0.5 every sixth week.
func leaking(seed uint64, weeks int, perWeek float64) trend.Series {
	random := rand.New(rand.NewPCG(seed, 7))
	s := make(trend.Series, weeks)
	truth := 8.0
	for i := range s {
		s[i].At = begins.AddDate(0, 0, 7*i)
		if i > 0 && i%6 == 0 {
			truth += 0.5
			s[i].Added = 0.5
		}
		s[i].Value = math.Round((truth+0.03*random.NormFloat64())*10) / 10
		truth -= perWeek
	}
	return s
}

func TestSummarise_TopUpsHideNothing(t *testing.T) {
	got := trend.Summarise(leaking(1, 26, 0.09), trend.Options{Resolution: 0.1})
	// Thirteen readings that all fall have P = 2.6e-6 (normal deviate 77 / √268.7).
	if !got.HasSlope || got.SlopeHigh > -0.08 || got.SlopeLow < -0.10-1e-9 || got.PNoTrend > 1e-5 || !got.Falling || got.Rising {
		t.Errorf("a loss of 0.09 a week is summarised as %+v", got)
	}
	blind := leaking(1, 26, 0.09)
	for i := range blind {
		blind[i].Added = 0
	}
	if got := trend.Summarise(blind, trend.Options{Resolution: 0.1}); got.SlopePerWeek < -0.03 {
		t.Errorf("the series does not test the balance: without it the slope is %v", got.SlopePerWeek)
	}
}

func TestSummarise_TooLittleIsAResult(t *testing.T) {
	for name, s := range map[string]trend.Series{
		"nothing":        nil,
		"four readings":  weekly(8, 7.9, 7.8, 7.7),
		"twenty days":    {{At: begins}, {At: begins.AddDate(0, 0, 5)}, {At: begins.AddDate(0, 0, 10)}, {At: begins.AddDate(0, 0, 15)}, {At: begins.AddDate(0, 0, 20)}},
		"after a change": append(weekly(8, 8, 8, 8, 8, 8), trend.Point{At: begins.AddDate(0, 0, 60), Value: 7, Reset: true}),
	} {
		got := trend.Summarise(s, trend.Options{Limit: &trend.Limit{Value: 1}})
		if got.HasSlope || got.PNoTrend != 1 || got.Forecast.Outlook != trend.TooLittle || got.Falling {
			t.Errorf("%s: %+v", name, got)
		}
	}
	if got := trend.Summarise(weekly(8, 7.9, 7.8, 7.7, 7.6), trend.Options{}); !got.HasSlope || math.Abs(got.SlopePerWeek+0.1) > 1e-12 {
		t.Errorf("five weekly readings are enough: %+v", got)
	}
}

func TestSummarise_OneWrongReadingIsIgnored(t *testing.T) {
	s := leaking(3, 30, 0.05)
	clean := trend.Summarise(s, trend.Options{})
	for _, at := range []int{4, 15, 28, 29} {
		wrong := append(trend.Series(nil), s...)
		wrong[at].Value = 3.8 // 8.3 mistyped
		got := trend.Summarise(wrong, trend.Options{})
		if got.Ignored != clean.Ignored+1 || math.Abs(got.SlopePerWeek-clean.SlopePerWeek) > 0.005 {
			t.Errorf("reading %d wrong: %d ignored, slope %.4f instead of %.4f", at, got.Ignored, got.SlopePerWeek, clean.SlopePerWeek)
		}
	}
}

// A drop that the next reading confirms is no wrong reading.
func TestSummarise_ConfirmedDropIsBelieved(t *testing.T) {
	s := weekly(8, 8.1, 8, 7.9, 8, 8, 8.1, 8, 8, 7.9, 6)
	if got := trend.Summarise(s, trend.Options{Resolution: 0.1}); got.Ignored != 1 || got.Falling {
		t.Errorf("a lone low reading: %+v", got)
	}
	s = append(s, trend.Point{At: begins.AddDate(0, 0, 77), Value: 6})
	got := trend.Summarise(s, trend.Options{Resolution: 0.1})
	if got.Ignored != 0 || !got.Falling || got.ShiftedDaysAgo < 7 || got.ShiftedDaysAgo > 14 {
		t.Errorf("two low readings: %+v", got)
	}
}

func TestSummarise_FallsFasterThanItUsedTo(t *testing.T) {
	s := make(trend.Series, 36)
	level := 10.0
	random := rand.New(rand.NewPCG(5, 5))
	for i := range s {
		s[i] = trend.Point{At: begins.AddDate(0, 0, 7*i), Value: level + 0.02*random.NormFloat64()}
		if level -= 0.05; i >= 24 {
			level -= 0.10
		}
	}
	if got := trend.Summarise(s, trend.Options{}); math.Abs(got.TimesFaster-3) > 0.5 {
		t.Errorf("three times as fast is taken for %.2f times", got.TimesFaster)
	}
	if got := trend.Summarise(leaking(2, 36, 0.09), trend.Options{}); got.TimesFaster != 0 {
		t.Errorf("an even loss is said to be %.2f times as fast", got.TimesFaster)
	}
}

func TestSummarise_LongHistoriesAreThinned(t *testing.T) {
	var s trend.Series
	for day := range 456 {
		s = append(s, trend.Point{At: begins.AddDate(0, 0, day), Value: 5 - 0.01*float64(day)})
	}
	got := trend.Summarise(s, trend.Options{})
	if math.Abs(got.SlopePerWeek+0.07) > 1e-9 || got.Points < 80 || got.Points > 90 || got.Days > 84 || got.ShiftedDaysAgo < 400 {
		t.Errorf("15 months of days: %+v", got)
	}
}

// A tyre that lost nothing for a year and 40 kPa in eight weeks loses air, and what is
// said of that rests on the newest twelve weeks.
func TestSummarise_LooksBackTwelveWeeks(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 6))
	s := make(trend.Series, 60)
	for i := range s {
		lost := 5 * max(0, float64(i-51))
		s[i] = trend.Point{At: begins.AddDate(0, 0, 7*i), Value: math.Round(850 - lost + random.NormFloat64())}
	}
	got := trend.Summarise(s, trend.Options{})
	if got.Points != 13 || got.Days != 84 || got.SlopePerWeek > -3 || got.SlopeHigh > -2 || got.PNoTrend > 0.001 {
		t.Errorf("40 kPa in eight weeks: %+v", got)
	}
	if off := got.Level - 810; math.Abs(off) > 5 {
		t.Errorf("the level is %v, want about 810", got.Level)
	}
	year := trend.Summarise(s[:52], trend.Options{})
	if year.SlopeLow > 0 || year.SlopeHigh < 0 || year.PNoTrend < 0.05 {
		t.Errorf("a year in which nothing was lost: %+v", year)
	}
}

// What is read too seldom for that is looked at as a whole: treads, every fourth week.
func TestSummarise_LooksAtAllWhereTwelveWeeksAreTooLittle(t *testing.T) {
	var s trend.Series
	for i := range 15 {
		s = append(s, trend.Point{At: begins.AddDate(0, 0, 28*i), Value: 12 - 0.4*float64(i)})
	}
	got := trend.Summarise(s, trend.Options{})
	if got.Points != 15 || got.Days != 392 || math.Abs(got.SlopePerWeek+0.1) > 1e-9 {
		t.Errorf("0.4 mm in four weeks: %+v", got)
	}
	s[3].Value = 2 // misread, and long ago
	if got := trend.Summarise(s, trend.Options{}); got.Points != 14 || got.Ignored != 1 {
		t.Errorf("with a wrong one: %+v", got)
	}
}

// A unit of another size changes the numbers with it and nothing else.
func TestSummarise_UnitsDoNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSeries(t)
		scaled := make(trend.Series, len(s))
		for i, p := range s { // a power of two, so that not one digit is lost
			p.Value, p.Added = 128*p.Value, 128*p.Added
			scaled[i] = p
		}
		a := trend.Summarise(s, trend.Options{Resolution: 0.1, Limit: &trend.Limit{Value: 5}, Now: begins})
		b := trend.Summarise(scaled, trend.Options{Resolution: 12.8, Limit: &trend.Limit{Value: 640}, Now: begins})
		if a.SlopePerWeek*128 != b.SlopePerWeek || a.PNoTrend != b.PNoTrend || a.Falling != b.Falling ||
			!a.Forecast.Earliest.Equal(b.Forecast.Earliest) || a.TimesFaster != b.TimesFaster || a.Ignored != b.Ignored {
			t.Fatalf("in one unit %+v\nin another %+v", a, b)
		}
	})
}

// failer is a test, a fuzz target or a law.
type failer interface {
	Helper()
	Fatalf(format string, args ...any)
}

// finite fails when any number inside v is not.
func finite(t failer, v reflect.Value, path string) {
	t.Helper()
	switch v.Kind() {
	case reflect.Float64:
		if f := v.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
			t.Fatalf("%s is %v", path, f)
		}
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			return
		}
		for i := range v.NumField() {
			finite(t, v.Field(i), path+"."+v.Type().Field(i).Name)
		}
	}
}

// FuzzSummarise reads points from bytes: whatever they say, the answer is finite.
func FuzzSummarise(f *testing.F) {
	f.Add([]byte{}, 0.1, 7.0)
	f.Add(bytesOf(leaking(1, 12, 0.1)), 0.1, 7.0)
	f.Add(bytesOf(weekly(math.NaN(), math.Inf(1), 1e308, -1e9, 1e9, 0, 5e-324)), math.NaN(), math.Inf(-1))
	f.Fuzz(func(t *testing.T, raw []byte, resolution, limit float64) {
		s := seriesOf(raw)
		o := trend.Options{Resolution: resolution, Limit: &trend.Limit{Value: limit, Above: len(raw)%2 == 0}, LitresPerUnit: 6, Now: begins}
		got := trend.Summarise(s, o)
		finite(t, reflect.ValueOf(got), "summary")
		if got.PNoTrend < 0 || got.PNoTrend > 1 || got.Repeats.P < 0 || got.Repeats.P > 1 || got.SlopeLow > got.SlopeHigh {
			t.Fatalf("impossible: %+v", got)
		}
		third := len(s) / 3
		loss := trend.PeerLoss(s[:third], []trend.Series{s[third : 2*third], s[2*third:], s}, resolution)
		finite(t, reflect.ValueOf(loss), "loss")
	})
}

// Values and times at the ends of what there is, more of them than bytes at random hit.
func TestSummarise_ExtremesAreFinite(t *testing.T) {
	values := []float64{0, 1, -1, 8.1, 8.2, 1e9, -1e9, 2e9, 5e-324, 1e-300, -1e-160, math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64}
	gaps := []time.Duration{0, 1, time.Second, 24 * time.Hour, 7 * 24 * time.Hour, math.MaxInt64}
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) float64 { return rapid.SampledFrom(values).Draw(t, name) }
		wheels := make([]trend.Series, 4)
		for w := range wheels {
			at := begins
			for range rapid.IntRange(0, 20).Draw(t, "points") {
				at = at.Add(rapid.SampledFrom(gaps).Draw(t, "gap"))
				wheels[w] = append(wheels[w], trend.Point{
					At: at, Value: draw("value"), AsRead: draw("as read"), Added: draw("added"), Km: draw("km"), Hours: draw("hours"),
				})
			}
		}
		o := trend.Options{Resolution: draw("step"), Limit: &trend.Limit{Value: draw("limit")}, LitresPerUnit: draw("litres"), Now: begins}
		finite(t, reflect.ValueOf(trend.Summarise(wheels[0], o)), "summary")
		finite(t, reflect.ValueOf(trend.PeerLoss(wheels[0], wheels[1:], o.Resolution)), "loss")
	})
}
