package measure_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"bayround/internal/measure"

	"pgregory.net/rapid"
)

// steady is taps on every cycle of that many seconds.
func steady(cycle float64, taps int) []float64 {
	at := make([]float64, taps)
	for i := range at {
		at[i] = 100 + cycle*float64(i)
	}
	return at
}

// without drops the taps with those numbers, counted from 0.
func without(taps []float64, missed ...int) []float64 {
	var kept []float64
	for i, at := range taps {
		if !slices.Contains(missed, i) {
			kept = append(kept, at)
		}
	}
	return kept
}

// with adds a tap in its place.
func with(taps []float64, extra float64) []float64 {
	all := append(slices.Clone(taps), extra)
	slices.Sort(all)
	return all
}

// flash-rates.csv: lamps at both ends of every published range are read as what
// they are.
func TestTapRate_AtPublishedLimits(t *testing.T) {
	seen := 0
	for _, r := range rows(t, "flash-rates.csv", 12) {
		if r["min_per_minute"] == "" {
			continue
		}
		for _, column := range []string{"min_per_minute", "max_per_minute"} {
			want := r.number(t, column)
			got, err := measure.TapRate(steady(60/want, 10))
			if err != nil || math.Abs(got.PerMinute-want) > 1e-9 || got.Mended != 0 {
				t.Errorf("%s: %+v (%v), want %v per minute (%s)", r["device"], got, err, want, r["source"])
			}
			seen++
		}
	}
	if seen < 20 {
		t.Errorf("only %d limits were tapped", seen)
	}
}

func TestTapRate_Mends(t *testing.T) {
	beat := steady(0.75, 12) // 80 per minute
	for _, tc := range []struct {
		why    string
		taps   []float64
		mended int
	}{
		{"nothing to mend", beat, 0},
		{"one missed", without(beat, 4), 1},
		{"two missed in a row", without(beat, 4, 5), 2},
		{"two missed apart", without(beat, 3, 8), 2},
		{"tapped twice, the second at once after", with(beat, beat[5]+0.1), 1},
		{"tapped twice, the first just before", with(beat, beat[5]-0.1), 1},
		{"half-way between two", with(beat, beat[5]+0.375), 1},
		{"at the same instant", with(beat, beat[5]), 1},
		{"twice at the start", with(beat, beat[0]-0.2), 1},
		{"twice at the end", with(beat, beat[11]+0.2), 1},
		{"one missed and one tapped twice", with(without(beat, 8), beat[3]+0.15), 2},
	} {
		got, err := measure.TapRate(tc.taps)
		if err != nil || math.Abs(got.PerMinute-80) > 1e-9 || got.Mended != tc.mended {
			t.Errorf("%s: %+v (%v), want 80 per minute and %d mended", tc.why, got, err, tc.mended)
		}
	}
}

func TestTapRate_RefusesAndSaysWhy(t *testing.T) {
	beat := steady(0.75, 12)
	for _, tc := range []struct {
		why  string
		taps []float64
		says string
	}{
		{"none", nil, "too few"},
		{"seven", steady(0.75, 7), "too few"},
		{"a tap at no time", append(steady(0.75, 8), nan), "no time"},
		{"a tap without end", append(steady(0.75, 8), inf), "no time"},
		{"backwards", []float64{8, 7, 6, 5, 4, 3, 2, 1}, "order"},
		{"all at once", make([]float64, 9), "irregular"},
		{"tapped twice, twice over", with(with(beat, beat[3]+0.1), beat[7]+0.1), "irregular"},
		{"three missed in a row", without(steady(0.75, 20), 4, 5, 6), "irregular"},
		{"4 of 14 cycles missed: who says the rest was each flash", without(steady(0.75, 15), 3, 6, 9, 12), "irregular"},
		{"every other one missed, but for one", without(beat, 2, 5, 8, 10), "irregular"},
		{"a faltering hand", []float64{0, 0.5, 1.4, 1.8, 2.9, 3.3, 4.1, 5.2, 5.5, 6.6}, "irregular"},
		{"beyond all numbers", []float64{-1e308, 0, 1e308, 1.1e308, 1.2e308, 1.3e308, 1.4e308, 1.5e308}, "irregular"},
	} {
		got, err := measure.TapRate(tc.taps)
		if err == nil || !strings.Contains(err.Error(), tc.says) || got != (measure.FlashRate{}) {
			t.Errorf("%s: %+v and %v, want an error with %q", tc.why, got, err, tc.says)
		}
	}
}

// Played taps of a hand that is off by up to 3 % of a cycle, misses some and
// once taps twice: the rate comes out, and what was mended is counted.
func TestTapRate_FindsTheRateOfAPlayedLamp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cycle := rapid.Float64Range(0.25, 1.2).Draw(t, "cycle")
		flashes := rapid.IntRange(14, 40).Draw(t, "flashes")
		var missed []int
		for at := 2; at < flashes-1; at += rapid.IntRange(6, 12).Draw(t, "gap") {
			missed = append(missed, at)
		}
		taps := without(steady(cycle, flashes), missed...)
		for i := range taps {
			taps[i] += cycle * rapid.Float64Range(-0.03, 0.03).Draw(t, "hand")
		}
		mended := len(missed)
		if rapid.Bool().Draw(t, "twice") {
			again := rapid.IntRange(0, len(taps)-1).Draw(t, "which")
			taps = with(taps, taps[again]+cycle*rapid.Float64Range(0, 0.5).Draw(t, "after"))
			mended++
		}
		got, err := measure.TapRate(taps)
		if err != nil {
			t.Fatal(err)
		}
		// Fourteen taps off by 3 % tilt the line by 0.7 % at worst: Σ|x-x̄|·0.03/Σ(x-x̄)².
		if !near(got.PerMinute, 60/cycle, 0.012) || got.Mended != mended {
			t.Fatalf("%+v, want %v per minute and %d mended", got, 60/cycle, mended)
		}
		if !(got.Low <= got.PerMinute && got.PerMinute <= got.High) {
			t.Fatalf("%v lies outside %v…%v", got.PerMinute, got.Low, got.High)
		}
	})
}

// The interval keeps its promise: over many played hands it holds the true rate
// in 95 % of cases, within three deviations of what so many hands can show. The
// draws are the same in each run.
func TestTapRate_IntervalHoldsTheRate(t *testing.T) {
	const hands, cycle = 8000, 0.7
	random := rand.New(rand.NewPCG(8, 3))
	held := 0
	for range hands {
		taps := steady(cycle, 10)
		for i := range taps {
			taps[i] += 0.02 * cycle * random.NormFloat64()
		}
		got, err := measure.TapRate(taps)
		if err != nil {
			t.Fatal(err)
		}
		if got.Low <= 60/cycle && 60/cycle <= got.High {
			held++
		}
	}
	if share := float64(held) / hands; math.Abs(share-0.95) > 3*math.Sqrt(0.95*0.05/hands) {
		t.Errorf("the interval held the rate in %.2f %% of cases, want 95", 100*share)
	}
}

func TestTapRate_DoesNotDependOnTheClock(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		taps := steady(0.5, 12)
		for i := range taps {
			taps[i] += rapid.Float64Range(-0.02, 0.02).Draw(t, "hand")
		}
		got, err := measure.TapRate(taps)
		if err != nil {
			t.Fatal(err)
		}
		later := rapid.Float64Range(-1e4, 1e4).Draw(t, "later")
		for i := range taps {
			taps[i] = 2 * (taps[i] + later)
		}
		slower, err := measure.TapRate(taps)
		if err != nil || !near(2*slower.PerMinute, got.PerMinute, 1e-9) || !near(2*slower.High, got.High, 1e-6) {
			t.Fatalf("%+v, by a clock at half the speed %+v (%v)", got, slower, err)
		}
	})
}

// cyclesOf reads "160/200 160/620" in milliseconds.
func cyclesOf(t *testing.T, text string) []measure.FlashCycle {
	var cycles []measure.FlashCycle
	for _, field := range strings.Fields(text) {
		on, off, _ := strings.Cut(field, "/")
		onMS, err := strconv.ParseFloat(on, 64)
		if err != nil {
			t.Fatal(err)
		}
		offMS, err := strconv.ParseFloat(off, 64)
		if err != nil {
			t.Fatal(err)
		}
		cycles = append(cycles, measure.FlashCycle{OnSeconds: onMS / 1000, OffSeconds: offMS / 1000})
	}
	return cycles
}

// flash-rate-examples.csv: the authority averaged the rates of the cycles.
func TestRateOfCycles_AsTheAuthorityAverages(t *testing.T) {
	for _, r := range rows(t, "flash-rate-examples.csv", 4) {
		cycles := cyclesOf(t, r["on_off_ms"])
		got, err := measure.RateOfCycles(cycles)
		want := r.number(t, "mean_of_cycle_rates_per_minute")
		if err != nil || math.Abs(got-want) > 0.05+1e-9 {
			t.Errorf("%s: %.2f per minute (%v), want %v (%s)", r["case"], got, err, want, r["source"])
		}
		whole := 0.0
		for _, c := range cycles {
			whole += c.OnSeconds + c.OffSeconds
		}
		if other := r.number(t, "rate_of_mean_period_per_minute"); math.Abs(60*float64(len(cycles))/whole-other) > 0.05+1e-9 {
			t.Errorf("%s: the table's rate of the mean cycle is %v", r["case"], other)
		}
	}
}

func TestRateOfCycles_RefusesWhatIsNoCycle(t *testing.T) {
	for why, cycles := range map[string][]measure.FlashCycle{
		"none":                  nil,
		"never on":              {{OnSeconds: 0, OffSeconds: 0.4}},
		"never off":             {{OnSeconds: 0.4, OffSeconds: 0}},
		"negative":              {{OnSeconds: -0.4, OffSeconds: 1}},
		"no time":               {{OnSeconds: nan, OffSeconds: 0.4}},
		"without end":           {{OnSeconds: 0.4, OffSeconds: inf}},
		"shorter than a number": {{OnSeconds: 5e-324, OffSeconds: 5e-324}},
		"a good one before":     {{OnSeconds: 0.4, OffSeconds: 0.4}, {}},
	} {
		if got, err := measure.RateOfCycles(cycles); err == nil || got != 0 {
			t.Errorf("%s: %v per minute", why, got)
		}
	}
}

// By the harmonic mean: the mean of rates is never below the rate of the mean.
func TestRateOfCycles_NeverBelowTheRateOfTheMeanCycle(t *testing.T) {
	part := rapid.Float64Range(0.05, 2)
	rapid.Check(t, func(t *rapid.T) {
		cycles := make([]measure.FlashCycle, rapid.IntRange(1, 10).Draw(t, "cycles"))
		whole := 0.0
		for i := range cycles {
			cycles[i] = measure.FlashCycle{OnSeconds: part.Draw(t, "on"), OffSeconds: part.Draw(t, "off")}
			whole += cycles[i].OnSeconds + cycles[i].OffSeconds
		}
		got, err := measure.RateOfCycles(cycles)
		if least := 60 * float64(len(cycles)) / whole; err != nil || got < least*(1-1e-12) {
			t.Fatalf("%v per minute (%v), want at least %v", got, err, least)
		}
	})
}

func FuzzTapRate(f *testing.F) {
	f.Add(0.0, 0.7, 0.01, 0.5, 0.4)
	f.Add(nan, inf, -1.0, 0.0, 5e-324)
	f.Add(-1e308, 2e307, 1e300, 1e-300, 1e308)
	f.Add(1e15, 0.5, 0.1, 0.2, 0.2)
	f.Fuzz(func(t *testing.T, start, cycle, hand, on, off float64) {
		taps := make([]float64, 10)
		for i := range taps {
			taps[i] = start + cycle*float64(i) + hand*float64(i%3)
		}
		got, err := measure.TapRate(taps)
		if err == nil && !(got.Low > 0 && got.Low <= got.PerMinute && got.PerMinute <= got.High && !math.IsInf(got.High, 1)) {
			t.Fatalf("%+v of %v", got, taps)
		}
		rate, err := measure.RateOfCycles([]measure.FlashCycle{{OnSeconds: on, OffSeconds: off}, {OnSeconds: off, OffSeconds: hand}})
		if err == nil && !(rate > 0 && !math.IsInf(rate, 1)) {
			t.Fatalf("%v per minute", rate)
		}
	})
}
