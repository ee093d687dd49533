package measure_test

import (
	"math"
	"testing"

	"bayround/internal/measure"

	"pgregory.net/rapid"
)

const seaLevel measure.Kilopascals = 101.325

func TestAt_PublishedTyre(t *testing.T) {
	for _, r := range rows(t, "openstax-tyre.csv", 1) {
		read := measure.Kilopascals(r.number(t, "gauge_kpa_1"))
		got := read.At(measure.Celsius(r.number(t, "celsius_2")), measure.Celsius(r.number(t, "celsius_1")), seaLevel)
		if want := r.number(t, "gauge_kpa_2"); math.Abs(float64(got)-want) > r.number(t, "within_kpa") {
			t.Errorf("%s: %.3f kPa, want %v (%s)", r["case"], got, want, r["source"])
		}
	}
}

// tyre-pressure-temperature.csv: ideal gas, absolute pressures (derived there).
func TestAt_TemperatureAndAltitude(t *testing.T) {
	for _, r := range rows(t, "tyre-pressure-temperature.csv", 10) {
		before := measure.Kilopascals(r.number(t, "atmosphere_kpa_1"))
		after := measure.Kilopascals(r.number(t, "atmosphere_kpa_2"))
		cold := measure.Kilopascals(r.number(t, "gauge_kpa_1")).
			At(measure.Celsius(r.number(t, "celsius_2")), measure.Celsius(r.number(t, "celsius_1")), before)
		got := float64(cold.Moved(before, after))
		if want := r.number(t, "gauge_kpa_2"); math.Abs(got-want) > 2e-6 {
			t.Errorf("%s: %.6f kPa, want %.6f", r["case"], got, want)
		}
	}
}

// psi-per-10F.csv: the workshop's "1 psi for 10 °F" made exact (derived there).
func TestAt_PsiPerTenFahrenheit(t *testing.T) {
	for _, r := range rows(t, "psi-per-10F.csv", 7) {
		psi := r.number(t, "gauge_psi_at_68F")
		warm := measure.Kilopascals(convert(t, psi, "psi", "kPa")).
			At(measure.Celsius(convert(t, 78, "degF", "degC")), measure.Celsius(convert(t, 68, "degF", "degC")), seaLevel)
		got := convert(t, float64(warm), "kPa", "psi") - psi
		if want := r.number(t, "change_psi_per_10F"); math.Abs(got-want) > 1e-6 {
			t.Errorf("%v psi gains %.7f psi in 10 degF, want %v", psi, got, want)
		}
		if want := r.number(t, "change_percent_of_gauge_per_10F"); math.Abs(got/psi*100-want) > 1e-4 {
			t.Errorf("%v psi gains %.5f %% in 10 degF, want %v", psi, got/psi*100, want)
		}
	}
}

func convert(t *testing.T, value float64, from, to string) float64 {
	t.Helper()
	got, err := measure.Convert(value, from, to)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// isa-pressure.csv: ISO 2533, geometric height, nine rows checked against print.
func TestAtmosphericKPa_StandardAtmosphere(t *testing.T) {
	for _, r := range rows(t, "isa-pressure.csv", 19) {
		got := float64(measure.AtmosphericKPa(r.number(t, "altitude_m"))) * 10
		if want := r.number(t, "pressure_hpa_if_geometric"); math.Abs(got-want) > 0.0001 {
			t.Errorf("%s m: %.5f hPa, want %v (%s)", r["altitude_m"], got, want, r["status"])
		}
	}
}

func TestAtmosphericKPa_StandsAtTheEndsOfItsRange(t *testing.T) {
	for _, tc := range []struct{ asked, as float64 }{
		{math.NaN(), 0},
		{math.Inf(-1), -2000},
		{-9000, -2000},
		{60_000, 11_000},
		{math.Inf(1), 11_000},
	} {
		if got, want := measure.AtmosphericKPa(tc.asked), measure.AtmosphericKPa(tc.as); got != want || math.IsNaN(float64(got)) {
			t.Errorf("at %v m: %v kPa, want %v as at %v m", tc.asked, got, want, tc.as)
		}
	}
	if low, high := measure.AtmosphericKPa(-2000), measure.AtmosphericKPa(11_000); low <= seaLevel || high >= seaLevel/4 {
		t.Errorf("%v kPa below the sea and %v kPa at the stratosphere", low, high)
	}
}

func TestAt_LeavesImpossibleTemperatures(t *testing.T) {
	for _, bad := range []measure.Celsius{-273.15, -300, measure.Celsius(math.NaN()), measure.Celsius(math.Inf(1))} {
		if got := measure.Kilopascals(800).At(20, bad, seaLevel); got != 800 {
			t.Errorf("read at %v C: %v kPa, want the 800 that were read", bad, got)
		}
		if got := measure.Kilopascals(800).At(bad, 20, seaLevel); got != 800 {
			t.Errorf("referred to %v C: %v kPa, want the 800 that were read", bad, got)
		}
	}
}

func TestAt_Laws(t *testing.T) {
	celsius := rapid.Float64Range(-60, 120)
	rapid.Check(t, func(t *rapid.T) {
		p := measure.Kilopascals(rapid.Float64Range(0, 1500).Draw(t, "kPa"))
		cold := measure.Celsius(celsius.Draw(t, "cold"))
		warm := measure.Celsius(celsius.Draw(t, "warm"))
		air := measure.AtmosphericKPa(rapid.Float64Range(-500, 4000).Draw(t, "altitude"))
		there := p.At(warm, cold, air)
		if (warm > cold && there < p-1e-9) || (warm < cold && there > p+1e-9) {
			t.Fatalf("%v kPa at %v C became %v at %v C", p, cold, there, warm)
		}
		if back := there.At(cold, warm, air); math.Abs(float64(back-p)) > 1e-9 {
			t.Fatalf("%v kPa came back as %v", p, back)
		}
	})
}

func BenchmarkAt(b *testing.B) {
	b.ReportAllocs()
	var sum measure.Kilopascals
	for b.Loop() {
		sum += measure.Kilopascals(806).At(20, -4, seaLevel)
	}
	if math.IsNaN(float64(sum)) {
		b.Fatal("no pressure came out")
	}
}
