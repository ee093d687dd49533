package measure_test

import (
	"math"
	"strings"
	"testing"

	"bayround/internal/measure"

	"pgregory.net/rapid"
)

// battery-rest-voltage.csv, table 7: by the Fahrenheit degrees of its notes it
// is exact; its column in °C is rounded to 0.1, worth 0.22 mV.
func TestRestVoltage_CorrectionTable(t *testing.T) {
	seen := 0
	for _, r := range rows(t, "battery-rest-voltage.csv", 28) {
		if r["clause"] != "table 7" {
			continue
		}
		seen++
		want := 12.5 + r.number(t, "open_circuit_volt")
		fahrenheit := row{"f": strings.TrimSuffix(r["note"], " F")}.number(t, "f")
		for at, within := range map[float64]float64{
			convert(t, fahrenheit, "degF", "degC"): 1e-9,
			r.number(t, "temperature_celsius"):     0.000217,
		} {
			got, err := measure.RestVoltage(12.5, 1, measure.Celsius(at))
			if err != nil || math.Abs(got-want) > within {
				t.Errorf("12.5 V at %v C: %.5f V (%v), want %.3f (%s)", at, got, err, want, r["source"])
			}
		}
	}
	if seen != 14 {
		t.Errorf("%d lines of table 7 were seen, want 14", seen)
	}
	if got, err := measure.RestVoltage(12.5, 1, measure.RestReferenceCelsius); err != nil || math.Abs(got-12.5) > 1e-12 {
		t.Errorf("at the reference 12.5 V became %v (%v)", got, err)
	}
}

// battery-rest-voltage.csv, table 6, for one battery and for two in series.
func TestChargeHint_Table(t *testing.T) {
	seen := 0
	for _, r := range rows(t, "battery-rest-voltage.csv", 28) {
		if r["clause"] != "table 6" {
			continue
		}
		seen++
		for _, batteries := range []int{1, 2} {
			got, err := measure.ChargeHint(r.number(t, "open_circuit_volt")*float64(batteries), batteries)
			if want := r.number(t, "state_of_charge_percent") / 100; err != nil || math.Abs(got-want) > 1e-12 {
				t.Errorf("%s V each, %d in series: %v (%v), want %v (%s)", r["open_circuit_volt"], batteries, got, err, want, r["source"])
			}
		}
	}
	if seen != 5 {
		t.Errorf("%d lines of table 6 were seen, want 5", seen)
	}
}

// The other two published tables differ from ours by at most what the comment of
// ChargeHint says: at 12.15 V ours is 0.375 full, by straight lines between its rows
// (DERIVED), and one of them 0.25.
func TestChargeHint_OtherTablesAreNear(t *testing.T) {
	seen, worst := 0, 0.0
	for _, r := range rows(t, "battery-rest-voltage.csv", 28) {
		if !strings.HasPrefix(r["kind"], "state of charge (") {
			continue
		}
		seen++
		got, err := measure.ChargeHint(r.number(t, "open_circuit_volt"), 1)
		off := math.Abs(got - r.number(t, "state_of_charge_percent")/100)
		worst = max(worst, off)
		if err != nil {
			t.Errorf("%s: %s V is %v full (%v), theirs %s %%", r["kind"], r["open_circuit_volt"], got, err, r["state_of_charge_percent"])
		}
	}
	if seen != 9 || math.Abs(worst-0.125) > 1e-12 {
		t.Errorf("%d lines, %.3f apart at most; the comment of ChargeHint says otherwise", seen, worst)
	}
}

func TestBattery_RefusesWhatTellsNothing(t *testing.T) {
	for _, tc := range []struct {
		why       string
		volt      float64
		batteries int
		at        measure.Celsius
	}{
		{"none", 12, 0, 20},
		{"five in series", 60, 5, 20},
		{"the wrong way round", -12.4, 1, 20},
		{"no voltage", nan, 1, 20},
		{"voltage without end", inf, 1, 20},
	} {
		if got, err := measure.RestVoltage(tc.volt, tc.batteries, tc.at); err == nil || got != 0 {
			t.Errorf("%s: %v V", tc.why, got)
		}
		if got, err := measure.ChargeHint(tc.volt, tc.batteries); err == nil || got != 0 {
			t.Errorf("%s: %v full", tc.why, got)
		}
	}
	for _, at := range []measure.Celsius{-18, 55, measure.Celsius(nan), measure.Celsius(inf)} {
		if got, err := measure.RestVoltage(12.5, 1, at); err == nil || got != 0 {
			t.Errorf("at %v C: %v V, though the table ends before", at, got)
		}
	}
	for volt, want := range map[float64]float64{0: 0, 11: 0, 13: 1} {
		if got, err := measure.ChargeHint(volt, 1); err != nil || got != want {
			t.Errorf("%v V: %v full (%v), want %v", volt, got, err, want)
		}
	}
}

func TestBattery_Laws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		volt := rapid.Float64Range(11, 13.5).Draw(t, "volt")
		at := measure.Celsius(rapid.Float64Range(-17, 53).Draw(t, "at"))
		one, err := measure.RestVoltage(volt, 1, at)
		if err != nil {
			t.Fatal(err)
		}
		if two, err := measure.RestVoltage(2*volt, 2, at); err != nil || math.Abs(two-2*one) > 1e-9 {
			t.Fatalf("one rests at %v, two at %v (%v)", one, two, err)
		}
		// 0.024 V for 10 °F is 4.32 mV for a kelvin, warmer counting for more.
		if warmer, err := measure.RestVoltage(volt, 1, at+1); err != nil || math.Abs(warmer-one-0.00432) > 1e-9 {
			t.Fatalf("a kelvin warmer: from %v to %v V (%v)", one, warmer, err)
		}
		less, err := measure.ChargeHint(volt, 1)
		if err != nil {
			t.Fatal(err)
		}
		if more, err := measure.ChargeHint(volt+0.01, 1); err != nil || more < less {
			t.Fatalf("from %v V %v full, 10 mV more %v (%v)", volt, less, more, err)
		}
	})
}

func FuzzBattery(f *testing.F) {
	f.Add(12.6, 1, 20.0)
	f.Add(25.0, 2, -17.8)
	f.Add(math.MaxFloat64, 4, nan)
	f.Fuzz(func(t *testing.T, volt float64, batteries int, at float64) {
		rest, err := measure.RestVoltage(volt, batteries, measure.Celsius(at))
		if math.IsNaN(rest) || math.IsInf(rest, 0) || (err != nil && rest != 0) {
			t.Fatalf("%v V (%v)", rest, err)
		}
		if full, _ := measure.ChargeHint(volt, batteries); !(full >= 0 && full <= 1) {
			t.Fatalf("%v full", full)
		}
	})
}
