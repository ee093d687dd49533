package measure_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"bayround/internal/measure"

	"pgregory.net/rapid"
)

// tyre-pressure-temperature.csv: the values are those of At; what is exact stays
// exact.
func TestNormalised_Values(t *testing.T) {
	seen := 0
	for _, r := range rows(t, "tyre-pressure-temperature.csv", 10) {
		if r["altitude_m_1"] != r["altitude_m_2"] {
			continue // the gauge moved as well
		}
		seen++
		reading := measure.PressureReading{
			Gauge:       measure.Measured{Value: r.number(t, "gauge_kpa_1")},
			Inside:      measure.Measured{Value: r.number(t, "celsius_1")},
			Atmospheric: measure.Measured{Value: r.number(t, "atmosphere_kpa_1")},
		}
		got := reading.Normalised(measure.Celsius(r.number(t, "celsius_2")))
		if want := r.number(t, "gauge_kpa_2"); math.Abs(got.Value-want) > 2e-6 || got.Uncertainty != 0 {
			t.Errorf("%s: %v, want %v and no uncertainty", r["case"], got, want)
		}
	}
	if seen < 8 {
		t.Errorf("only %d rows were held to the table", seen)
	}
}

// The uncertainty is checked against a play: errors of gauge, thermometer and
// barometer are drawn, and what they do to the normalised pressure is counted.
func TestNormalised_AgreesWithPlayedErrors(t *testing.T) {
	const readings = 40_000 // good to 0.4 % (1/√(2N))
	for _, tc := range []struct {
		why                            string
		gauge, inside, air             float64
		uGauge, uInside, uAir, referTo float64
	}{
		{"gauge alone", 806, -4, 101.325, 9.7, 0, 0, 20},
		{"thermometer alone", 850, 35, 101.325, 0, 2, 0, 15},
		{"barometer alone, which matters little", 850, -10, 95, 0, 0, 1.5, 20},
		{"all three", 700, 5, 98, 9.7, 3, 1.2, 20},
	} {
		reading := measure.PressureReading{
			Gauge:       measure.Measured{Value: tc.gauge, Uncertainty: tc.uGauge},
			Inside:      measure.Measured{Value: tc.inside, Uncertainty: tc.uInside},
			Atmospheric: measure.Measured{Value: tc.air, Uncertainty: tc.uAir},
		}
		reference := measure.Celsius(tc.referTo)
		got := reading.Normalised(reference)
		random := rand.New(rand.NewPCG(5, 1))
		sum := 0.0
		for range readings {
			p := measure.Kilopascals(tc.gauge + tc.uGauge*random.NormFloat64())
			inside := measure.Celsius(tc.inside + tc.uInside*random.NormFloat64())
			air := measure.Kilopascals(tc.air + tc.uAir*random.NormFloat64())
			off := float64(p.At(reference, inside, air)) - got.Value
			sum += off * off
		}
		if played := math.Sqrt(sum / readings); !near(got.Uncertainty, played, 0.015) {
			t.Errorf("%s: u = %.4f kPa, played %.4f", tc.why, got.Uncertainty, played)
		}
	}
}

// By hand: (850+101.325)/293.15 = 3.2452 kPa for each kelvin, referred to the
// temperature it was read at.
func TestNormalised_AKelvinOfDoubt(t *testing.T) {
	got := measure.PressureReading{
		Gauge:       measure.Measured{Value: 850},
		Inside:      measure.Measured{Value: 20, Uncertainty: 1},
		Atmospheric: measure.Measured{Value: 101.325},
	}.Normalised(20)
	if math.Abs(got.Value-850) > 1e-9 || math.Abs(got.Uncertainty-3.2452) > 5e-5 {
		t.Errorf("%v, want 850 kPa and 3.2452 kPa", got)
	}
}

func TestNormalised_DoubtOnlyGrows(t *testing.T) {
	u := rapid.Float64Range(0, 20)
	rapid.Check(t, func(t *rapid.T) {
		reading := measure.PressureReading{
			Gauge:       measure.Measured{Value: rapid.Float64Range(0, 1500).Draw(t, "kPa"), Uncertainty: u.Draw(t, "u gauge")},
			Inside:      measure.Measured{Value: rapid.Float64Range(-40, 90).Draw(t, "inside"), Uncertainty: u.Draw(t, "u inside")},
			Atmospheric: measure.Measured{Value: rapid.Float64Range(60, 105).Draw(t, "air"), Uncertainty: u.Draw(t, "u air")},
		}
		reference := measure.Celsius(rapid.Float64Range(-40, 60).Draw(t, "reference"))
		before := reading.Normalised(reference)
		more := []*float64{&reading.Gauge.Uncertainty, &reading.Inside.Uncertainty, &reading.Atmospheric.Uncertainty}
		*more[rapid.IntRange(0, 2).Draw(t, "which")] += u.Draw(t, "more")
		after := reading.Normalised(reference)
		if after.Uncertainty < before.Uncertainty || after.Value != before.Value {
			t.Fatalf("%v became %v", before, after)
		}
	})
}

func TestNormalised_WhatIsNotKnownProvesNothing(t *testing.T) {
	sound := measure.PressureReading{
		Gauge: measure.Measured{Value: 850, Uncertainty: 5}, Inside: measure.Measured{Value: 20}, Atmospheric: measure.Measured{Value: 101.325},
	}
	for why, spoil := range map[string]func(*measure.PressureReading){
		"colder than cold":     func(r *measure.PressureReading) { r.Inside.Value = -300 },
		"no temperature":       func(r *measure.PressureReading) { r.Inside.Value = nan },
		"no thermometer":       func(r *measure.PressureReading) { r.Inside.Uncertainty = inf },
		"no air outside":       func(r *measure.PressureReading) { r.Atmospheric.Value = inf },
		"a negative deviation": func(r *measure.PressureReading) { r.Atmospheric.Uncertainty = -1 },
	} {
		spoilt := sound
		spoil(&spoilt)
		if got := spoilt.Normalised(15); got.Value != 850 || !math.IsInf(got.Uncertainty, 1) {
			t.Errorf("%s: %v, want 850 as read and nothing known", why, got)
		}
	}
	if got := sound.Normalised(-273.15); got.Value != 850 || !math.IsInf(got.Uncertainty, 1) {
		t.Errorf("referred to absolute zero: %v", got)
	}
	sound.Gauge.Value = nan
	if got := sound.Normalised(15); got.Value != 0 || !math.IsInf(got.Uncertainty, 1) {
		t.Errorf("no pressure: %v", got)
	}
}

// tyre-pressure-limits.csv has the share from memory.
func TestRunFlatShare(t *testing.T) {
	for _, r := range rows(t, "tyre-pressure-limits.csv", 8) {
		if r["quantity"] == "tyre treated as run flat if below target by" {
			if below := 100 - r.number(t, "value"); math.Abs(measure.RunFlatShare*100-below) > 1e-9 {
				t.Errorf("run flat below %v of the target, want %v %% (%s, %s)", measure.RunFlatShare, below, r["source"], r["status"])
			}
			return
		}
	}
	t.Error("the table says nothing of a tyre that ran flat")
}

func FuzzNormalised(f *testing.F) {
	f.Add(806.0, 9.7, -4.0, 2.0, 101.325, 1.0, 20.0)
	f.Add(nan, inf, -273.15, -1.0, 0.0, nan, 20.0)
	f.Add(math.MaxFloat64, math.MaxFloat64, -273.1499, 1e300, math.MaxFloat64, 1e300, 1e300)
	f.Fuzz(func(t *testing.T, p, up, c, uc, a, ua, reference float64) {
		got := measure.PressureReading{
			Gauge: measure.Measured{Value: p, Uncertainty: up}, Inside: measure.Measured{Value: c, Uncertainty: uc}, Atmospheric: measure.Measured{Value: a, Uncertainty: ua},
		}.Normalised(measure.Celsius(reference))
		if math.IsNaN(got.Value) || math.IsInf(got.Value, 0) || !(got.Uncertainty >= 0) {
			t.Fatalf("%v", got)
		}
	})
}
