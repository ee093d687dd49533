package measure_test

import (
	"math"
	"strings"
	"testing"

	"bayround/internal/measure"

	"pgregory.net/rapid"
)

// The reference data set Norris of NIST, with its certified values, taken for a
// pressure in kPa by minutes.
func TestRateOfAir_CertifiedLine(t *testing.T) {
	var samples []measure.AirSample
	for _, r := range rows(t, "nist-strd-norris.csv", 36) {
		samples = append(samples, measure.AirSample{Seconds: 60 * r.number(t, "x"), Pressure: measure.Kilopascals(r.number(t, "y"))})
	}
	got, err := measure.RateOfAir(samples)
	if err != nil {
		t.Fatal(err)
	}
	ours := map[string]float64{"b1_slope": got.KPaPerMinute, "sd_b1": got.StandardError, "df_residual": float64(got.DegreesOfFreedom)}
	seen := 0
	for _, r := range rows(t, "nist-strd-norris.expected.csv", 11) {
		value, asked := ours[r["quantity"]]
		if !asked {
			continue
		}
		seen++
		if want := r.number(t, "value"); !near(value, want, 1e-9) {
			t.Errorf("%s: %.15g, want %.15g (%s)", r["quantity"], value, want, r["source"])
		}
	}
	if seen != len(ours) {
		t.Errorf("%d certified values were found, want %d", seen, len(ours))
	}
}

// air-brake-limits.csv: a leak played at each published limit is read as it.
func TestRateOfAir_AtPublishedLimits(t *testing.T) {
	seen := 0
	for _, r := range rows(t, "air-brake-limits.csv", 34) {
		perMinute := map[string]string{"psi per minute": "psi/min", "kPa per minute": "kPa/min"}[r["unit"]]
		if perMinute == "" {
			continue
		}
		seen++
		limit := convert(t, r.number(t, "value"), perMinute, "kPa/min")
		from := measure.Kilopascals(850)
		got, err := measure.RateOfAir([]measure.AirSample{{Seconds: 30, Pressure: from}, {Seconds: 150, Pressure: from - measure.Kilopascals(2*limit)}})
		if err != nil || math.Abs(got.Leak()-limit) > 1e-9 || got.DegreesOfFreedom != 0 || got.StandardError != 0 {
			t.Errorf("%s, %s: %+v (%v), want a leak of %v kPa/min (%s)", r["check"], r["applies_to"], got, err, limit, r["source"])
		}
		if want := r.number(t, "value_kpa_or_kpa_per_minute"); math.Abs(got.Leak()-want) > 0.05+1e-9 {
			t.Errorf("%s: %v kPa/min, the table says %v", r["check"], got.Leak(), want)
		}
	}
	if seen < 12 {
		t.Errorf("only %d limits were held to the table", seen)
	}
}

func TestRateOfAir_BuildingIsNoLeak(t *testing.T) {
	got, err := measure.RateOfAir([]measure.AirSample{{Seconds: 0, Pressure: 500}, {Seconds: 30, Pressure: 560}})
	if err != nil || math.Abs(got.KPaPerMinute-120) > 1e-9 || got.Leak() != 0 {
		t.Errorf("%+v (%v), want 120 kPa/min and no leak", got, err)
	}
}

func TestRateOfAir_RefusesAndSaysWhy(t *testing.T) {
	for _, tc := range []struct {
		why     string
		samples []measure.AirSample
		says    string
	}{
		{"none", nil, "no two different times"},
		{"one", []measure.AirSample{{Seconds: 0, Pressure: 800}}, "no two different times"},
		{"twice at once", []measure.AirSample{{Seconds: 5, Pressure: 800}, {Seconds: 5, Pressure: 790}}, "no two different times"},
		{"no pressure", []measure.AirSample{{Seconds: 0, Pressure: measure.Kilopascals(nan)}, {Seconds: 60, Pressure: 790}}, "sample 1"},
		{"no time", []measure.AirSample{{Seconds: 0, Pressure: 800}, {Seconds: inf, Pressure: 790}}, "sample 2"},
	} {
		if got, err := measure.RateOfAir(tc.samples); err == nil || !strings.Contains(err.Error(), tc.says) || got != (measure.AirRate{}) {
			t.Errorf("%s: %+v and %v, want an error with %q", tc.why, got, err, tc.says)
		}
	}
}

func TestRateOfAir_Laws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		samples := make([]measure.AirSample, rapid.IntRange(3, 12).Draw(t, "samples"))
		for i := range samples {
			samples[i] = measure.AirSample{Seconds: float64(15 * i), Pressure: measure.Kilopascals(rapid.IntRange(0, 1200).Draw(t, "kPa"))}
		}
		got, err := measure.RateOfAir(samples)
		if err != nil {
			t.Fatal(err)
		}
		leak := float64(rapid.IntRange(-100, 100).Draw(t, "leak"))
		for i := range samples {
			samples[i].Pressure += 50 - measure.Kilopascals(leak*samples[i].Seconds/60)
		}
		more, err := measure.RateOfAir(samples)
		if err != nil || math.Abs(got.KPaPerMinute-leak-more.KPaPerMinute) > 1e-8 || math.Abs(got.StandardError-more.StandardError) > 1e-8 {
			t.Fatalf("%+v became %+v (%v) by another %v kPa/min", got, more, err, leak)
		}
	})
}

func TestSecondsToBuild(t *testing.T) {
	rising := []measure.AirSample{{0, 500}, {10, 560}, {20, 600}, {40, 700}, {60, 760}}
	for _, tc := range []struct {
		why      string
		samples  []measure.AirSample
		from, to measure.Kilopascals
		want     float64
	}{
		{"between samples", []measure.AirSample{{0, 560}, {60, 680}}, 580, 660, 40},
		{"at samples", rising, 500, 700, 40},
		{"from one stretch into another", rising, 530, 650, 25},
		{"an application in between does not start it anew", []measure.AirSample{{0, 580}, {20, 640}, {25, 610}, {40, 700}}, 580, 700, 40},
		{"a fall below the start does", []measure.AirSample{{0, 580}, {20, 640}, {25, 560}, {35, 580}, {40, 700}}, 580, 700, 5},
		{"it stood before it rose", []measure.AirSample{{0, 500}, {100, 500}, {110, 600}}, 500, 600, 10},
		{"in one leap", []measure.AirSample{{0, 0}, {10, 1000}}, 0, 1000, 10},
	} {
		if got, err := measure.SecondsToBuild(tc.samples, tc.from, tc.to); err != nil || math.Abs(got-tc.want) > 1e-9 {
			t.Errorf("%s: %v s (%v), want %v", tc.why, got, err, tc.want)
		}
	}
}

// air-brake-limits.csv, build-up from 85 to 100 psi within 45 seconds: played at
// the limit, sampled every five seconds from well below.
func TestSecondsToBuild_PublishedTest(t *testing.T) {
	for _, r := range rows(t, "air-brake-limits.csv", 34) {
		if r["check"] != "build-up from 85 to 100 psi" {
			continue
		}
		from, to := measure.Kilopascals(convert(t, 85, "psi", "kPa")), measure.Kilopascals(convert(t, 100, "psi", "kPa"))
		limit := r.number(t, "value")
		var samples []measure.AirSample
		for s := 0.0; s <= 100; s += 5 {
			samples = append(samples, measure.AirSample{Seconds: s, Pressure: from - 20 + (to-from)*measure.Kilopascals(s/limit)})
		}
		if got, err := measure.SecondsToBuild(samples, from, to); err != nil || math.Abs(got-limit) > 1e-9 {
			t.Errorf("%v s (%v), want %v (%s)", got, err, limit, r["source"])
		}
		return
	}
	t.Error("the table has no such test")
}

func TestSecondsToBuild_RefusesAndSaysWhy(t *testing.T) {
	rising := []measure.AirSample{{0, 500}, {60, 760}}
	for _, tc := range []struct {
		why      string
		samples  []measure.AirSample
		from, to measure.Kilopascals
		says     string
	}{
		{"none", nil, 500, 700, "begin"},
		{"begun too high", rising, 499, 700, "begin"},
		{"not reached", rising, 500, 761, "never reached"},
		{"downwards", rising, 700, 500, "greater"},
		{"nowhere", rising, 700, 700, "greater"},
		{"to no number", rising, 500, measure.Kilopascals(nan), "greater"},
		{"from no number", rising, measure.Kilopascals(nan), 700, "greater"},
		{"never to the end of all", rising, 500, measure.Kilopascals(inf), "never reached"},
		{"out of order", []measure.AirSample{{5, 500}, {4, 760}}, 500, 700, "order"},
		{"no pressure", []measure.AirSample{{0, 500}, {4, measure.Kilopascals(nan)}}, 500, 700, "sample 2"},
	} {
		if got, err := measure.SecondsToBuild(tc.samples, tc.from, tc.to); err == nil || !strings.Contains(err.Error(), tc.says) || got != 0 {
			t.Errorf("%s: %v s and %v, want an error with %q", tc.why, got, err, tc.says)
		}
	}
}

func TestSecondsToBuild_LongerWayNeverTakesLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		samples := []measure.AirSample{{0, 0}}
		for range rapid.IntRange(1, 10).Draw(t, "samples") {
			last := samples[len(samples)-1]
			samples = append(samples, measure.AirSample{
				Seconds:  last.Seconds + rapid.Float64Range(0.1, 30).Draw(t, "later"),
				Pressure: max(0, last.Pressure+measure.Kilopascals(rapid.Float64Range(-50, 200).Draw(t, "more"))),
			})
		}
		samples = append(samples, measure.AirSample{Seconds: samples[len(samples)-1].Seconds + 10, Pressure: 2500})
		from := measure.Kilopascals(rapid.Float64Range(0, 800).Draw(t, "from"))
		to := from + measure.Kilopascals(rapid.Float64Range(1, 800).Draw(t, "rise"))
		seconds, err := measure.SecondsToBuild(samples, from, to)
		if err != nil {
			t.Fatal(err)
		}
		farther, err := measure.SecondsToBuild(samples, from, to+100)
		if err != nil {
			t.Fatal(err)
		}
		if all := samples[len(samples)-1].Seconds; seconds <= 0 || seconds > all+1e-9 {
			t.Fatalf("%v s of a test of %v s", seconds, all)
		}
		// The start may only move on, past another fall; the way to the same start
		// cannot shorten. Without a fall below from, farther is longer.
		fell := false
		for _, s := range samples[1:] {
			fell = fell || s.Pressure <= from
		}
		if !fell && farther < seconds-1e-9 {
			t.Fatalf("to %v kPa %v s, to %v kPa only %v s", to, seconds, to+100, farther)
		}
	})
}

func TestWarningPressures(t *testing.T) {
	seen := func(low, high measure.Kilopascals) measure.Bracket {
		return measure.Bracket{Low: low, High: high, Seen: true}
	}
	for _, tc := range []struct {
		why     string
		samples []measure.WarningSample
		on, off measure.Bracket
	}{
		{"let down and built up", []measure.WarningSample{{700, false}, {450, false}, {430, true}, {300, true}, {440, true}, {460, false}, {700, false}}, seen(430, 450), seen(440, 460)},
		{"never came on", []measure.WarningSample{{700, false}, {300, false}}, measure.Bracket{}, measure.Bracket{}},
		{"on from the start", []measure.WarningSample{{0, true}, {420, true}, {450, false}}, measure.Bracket{}, seen(420, 450)},
		{"stays on", []measure.WarningSample{{700, false}, {430, true}, {100, true}}, seen(430, 700), measure.Bracket{}},
		{"flickers: the first time counts", []measure.WarningSample{{500, false}, {450, true}, {440, false}, {430, true}}, seen(450, 500), seen(440, 450)},
		{"nothing read", nil, measure.Bracket{}, measure.Bracket{}},
	} {
		on, off, err := measure.WarningPressures(tc.samples)
		if err != nil || on != tc.on || off != tc.off {
			t.Errorf("%s: on %+v, off %+v (%v); want %+v and %+v", tc.why, on, off, err, tc.on, tc.off)
		}
	}
	if _, _, err := measure.WarningPressures([]measure.WarningSample{{700, false}, {measure.Kilopascals(nan), true}}); err == nil {
		t.Error("a warning at no pressure passed")
	}
}

func FuzzAirTest(f *testing.F) {
	f.Add(0.0, 500.0, 30.0, 600.0, 60.0, 700.0, 550.0, 650.0)
	f.Add(0.0, 5e-324, 5e-324, 1e-323, 1.0, 1.5e-323, 5e-324, 1e-323)
	f.Add(-1e15, -1e15, 0.0, 1e15, 1e15, 1e15, 0.0, 1e14)
	f.Add(0.0, -1e308, 1.0, 1e308, 2.0, 1e308, 0.0, 1e308)
	f.Add(nan, inf, 0.0, 1e308, 1e308, -1e308, nan, inf)
	f.Fuzz(func(t *testing.T, s1, p1, s2, p2, s3, p3, from, to float64) {
		samples := []measure.AirSample{{s1, measure.Kilopascals(p1)}, {s2, measure.Kilopascals(p2)}, {s3, measure.Kilopascals(p3)}}
		rate, err := measure.RateOfAir(samples)
		if err == nil && !(math.Abs(rate.KPaPerMinute) < inf && rate.StandardError >= 0 && rate.StandardError < inf && rate.Leak() >= 0) {
			t.Fatalf("%+v of %v", rate, samples)
		}
		seconds, err := measure.SecondsToBuild(samples, measure.Kilopascals(from), measure.Kilopascals(to))
		if err == nil && !(seconds >= 0 && seconds <= s3-s1+1e-9*math.Abs(s3-s1)) {
			t.Fatalf("%v s of %v", seconds, samples)
		}
		on, off, err := measure.WarningPressures([]measure.WarningSample{{measure.Kilopascals(p1), false}, {measure.Kilopascals(p2), true}, {measure.Kilopascals(p3), false}})
		if err == nil && !(on.Low <= on.High && off.Low <= off.High && on.Seen && off.Seen) {
			t.Fatalf("%+v %+v", on, off)
		}
	})
}
