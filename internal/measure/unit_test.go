package measure_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"bayround/internal/measure"

	"pgregory.net/rapid"
)

// spelt is how we spell the units that the table of factors writes out.
var spelt = map[string]string{
	"inHg (conventional)": "inHg", "inch": "in", "1/32 inch": "in/32", "foot": "ft", "mile": "mi",
	"mile per hour": "mi/h", "pound": "lb", "pound-force foot": "lbf.ft", "N m": "N.m",
	"US gallon": "gal_us", "UK gallon": "gal_uk", "US quart": "qt_us", "UK pint": "pt_uk", "litre": "L",
	"degree Fahrenheit (difference)": "degF-diff", "kelvin": "K",
}

func ourUnit(published string) string {
	if ours, ok := spelt[published]; ok {
		return ours
	}
	return published
}

func TestConvert_PublishedFactors(t *testing.T) {
	for _, r := range rows(t, "unit-factors.csv", 20) {
		from, to := ourUnit(r["from_unit"]), ourUnit(r["to_unit"])
		t.Run(from+" to "+to, func(t *testing.T) {
			share := 1e-13 // the table gives up to sixteen figures
			if r["exactness"] == "7 figures" {
				share = 5e-7 / 3.386389
			}
			got, err := measure.Convert(1, from, to)
			if err != nil || !near(got, r.number(t, "factor"), share) {
				t.Errorf("1 %s = %v %s (%v), want %s by %s", from, got, to, err, r["factor"], r["source"])
			}
		})
	}
}

func TestConvert_WorkedValues(t *testing.T) {
	for _, tc := range []struct {
		source   string
		value    float64
		from, to string
		want     float64
	}{
		{"49 CFR 393.75(b): 4/32 inch (tread-limits.csv)", 4, "in/32", "mm", 3.175},
		{"49 CFR 393.75(c): 2/32 inch (tread-limits.csv)", 2, "in/32", "mm", 1.5875},
		{"SD Adm. Rule 61:31:01:16(2): 3/32 inch (tread-limits.csv)", 3, "in/32", "mm", 2.38125},
		{"definition of the bar; 8.2*100 misses 820 in binary", 8.2, "bar", "kPa", 820},
		{"definition of the bar", 850, "kPa", "bar", 8.5},
		{"steam point, definition of the Fahrenheit scale", 212, "degF", "degC", 100},
		{"ice point, definition of the Fahrenheit scale", 0, "degC", "degF", 32},
		{"both scales meet at -40, definition", -40, "degC", "degF", -40},
		{"ice point, SI brochure", 273.15, "K(abs)", "degC", 0},
		{"a day, SI brochure", 1, "d", "h", 24},
		{"the Julian year of 365.25 days, IAU style manual", 1, "a", "d", 365.25},
		{"a hundredth, SI brochure", 55, "%", "1", 0.55},
		{"psi per minute as psi, definition", 3, "psi/min", "kPa/min", 20.6842718795051},
		{"the tonne, SI brochure", 18, "t", "kg", 18000},
		{"the hertz is one a second, SI brochure", 1.5, "Hz", "1/min", 90},
		{"identity", 7.3, "L/min", "L/min", 7.3},
	} {
		got, err := measure.Convert(tc.value, tc.from, tc.to)
		if err != nil || got != tc.want {
			t.Errorf("%s: %v %s = %v %s (%v), want %v", tc.source, tc.value, tc.from, got, tc.to, err, tc.want)
		}
	}
}

// The limits that laws print in 1/32 inch are those that the table gives in mm.
func TestConvert_TreadLimitsAsPublished(t *testing.T) {
	seen := 0
	for _, r := range rows(t, "tread-limits.csv", 15) {
		figure, unit, found := strings.Cut(r["as_published"], " ")
		if !found {
			continue // "visible" and the like
		}
		thirtySeconds, inch := strings.CutSuffix(figure, "/32")
		if !inch && unit != "mm" {
			continue // words, not a figure: "wear indicator exposed"
		}
		from := "mm"
		if inch {
			from = "in/32"
		}
		asTyped := row{"depth": thirtySeconds}.number(t, "depth")
		seen++
		got, err := measure.Convert(asTyped, from, "mm")
		if err != nil || got != r.number(t, "min_depth_mm") {
			t.Errorf("%s (%s): %s is %v mm (%v), want %s", r["source"], r["clause"], r["as_published"], got, err, r["min_depth_mm"])
		}
	}
	if seen < 11 {
		t.Errorf("only %d limits with a figure were seen", seen)
	}
}

func TestConvert_SaysWhatWouldFit(t *testing.T) {
	for _, tc := range []struct {
		from, to string
		unknown  string
		fit      []string
	}{
		{"in/32", "kPa", "", []string{"kPa", "bar", "psi", "mbar", "kgf/cm2", "atm", "inHg"}},
		{"km", "mm", "", []string{"mm", "cm", "in", "in/32", "m", "ft"}},
		{"degC", "K", "", []string{"K", "degC-diff", "degF-diff"}},
		{"PSI", "kPa/min", "PSI", []string{"kPa/min", "bar/min", "psi/min"}},
		{"V", "volt", "volt", []string{"V", "mV"}},
		{"", "deg", "", []string{"deg"}},
	} {
		_, err := measure.Convert(1, tc.from, tc.to)
		var wrong *measure.UnitError
		if !errors.As(err, &wrong) {
			t.Fatalf("%s to %s: %v, want a UnitError", tc.from, tc.to, err)
		}
		if wrong.Unknown != tc.unknown || !slices.Equal(wrong.Fit, tc.fit) {
			t.Errorf("%s to %s: unknown %q, fit %q; want %q, %q", tc.from, tc.to, wrong.Unknown, wrong.Fit, tc.unknown, tc.fit)
		}
		for _, name := range tc.fit {
			if !strings.Contains(err.Error(), name) {
				t.Errorf("%q does not name %s", err, name)
			}
		}
	}
}

func TestConvert_RefusesWhatIsNoNumber(t *testing.T) {
	for _, value := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		for _, to := range []string{"bar", "kPa"} {
			if got, err := measure.Convert(value, "bar", to); err == nil {
				t.Errorf("%v bar became %v %s", value, got, to)
			}
		}
	}
	for _, value := range []float64{math.MaxFloat64, -math.MaxFloat64} {
		if got, err := measure.Convert(value, "bar", "kPa"); err == nil {
			t.Errorf("%v bar became %v kPa", value, got)
		}
	}
}

func TestUnits(t *testing.T) {
	if got, want := measure.Units("psi/min"), []string{"kPa/min", "bar/min", "psi/min"}; !slices.Equal(got, want) {
		t.Errorf("units like psi/min are %q, want %q", got, want)
	}
	if got := measure.Units("furlong"); got != nil {
		t.Errorf("units like furlong are %q, want none", got)
	}
}

// kinds has one unit of every kind.
var kinds = []string{
	"kPa", "kPa/min", "mm", "V", "degC", "K", "s", "1", "km", "kg", "L", "L/min", "deg", "A", "N.m", "km/h", "1/min",
}

func drawUnits(t *rapid.T) (from, to string) {
	fit := measure.Units(rapid.SampledFrom(kinds).Draw(t, "kind"))
	return rapid.SampledFrom(fit).Draw(t, "from"), rapid.SampledFrom(fit).Draw(t, "to")
}

func TestConvert_RoundTrips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from, to := drawUnits(t)
		// As people type: up to seven digits.
		value := float64(rapid.IntRange(-9_999_999, 9_999_999).Draw(t, "digits")) / 1000
		there, err := measure.Convert(value, from, to)
		if err != nil {
			t.Fatal(err)
		}
		back, err := measure.Convert(there, to, from)
		if err != nil {
			t.Fatal(err)
		}
		// The shift of a temperature scale costs digits of what is near its zero.
		if math.Abs(back-value) > 1e-11+1e-13*math.Abs(value) {
			t.Fatalf("%v %s = %v %s = %v %s", value, from, there, to, back, from)
		}
	})
}

func TestConvert_KeepsOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from, to := drawUnits(t)
		low := float64(rapid.IntRange(-1_000_000, 1_000_000).Draw(t, "low")) / 100
		high := low + float64(rapid.IntRange(1, 1000).Draw(t, "more"))/100
		a, err := measure.Convert(low, from, to)
		if err != nil {
			t.Fatal(err)
		}
		b, err := measure.Convert(high, from, to)
		if err != nil {
			t.Fatal(err)
		}
		if a >= b {
			t.Fatalf("%v %s = %v %s, but more, %v %s, = %v %s", low, from, a, to, high, from, b, to)
		}
	})
}

func TestUnits_EveryoneOfAKindFindsTheOthers(t *testing.T) {
	total := 0
	for _, like := range kinds {
		fit := measure.Units(like)
		total += len(fit)
		for _, other := range fit {
			if got := measure.Units(other); !slices.Equal(got, fit) {
				t.Errorf("units like %s are %q, like %s %q", like, fit, other, got)
			}
		}
	}
	var wrong *measure.UnitError
	if _, err := measure.Convert(1, "no", "unit"); !errors.As(err, &wrong) || len(wrong.Fit) != total {
		t.Errorf("with both units unknown the error offers %d units, want all %d", len(wrong.Fit), total)
	}
}

func FuzzConvert(f *testing.F) {
	f.Add(8.2, "bar", "kPa")
	f.Add(-40.0, "degF", "degC")
	f.Add(math.MaxFloat64, "a", "s")
	f.Add(math.NaN(), "psi", "psi")
	f.Add(5e-324, "mV", "V")
	f.Add(1.0, "in/32", "PSI")
	f.Fuzz(func(t *testing.T, value float64, from, to string) {
		got, err := measure.Convert(value, from, to)
		if err != nil {
			if got != 0 || err.Error() == "" {
				t.Fatalf("an error came with %v and the words %q", got, err)
			}
			return
		}
		if math.IsNaN(got) || math.IsInf(got, 0) {
			t.Fatalf("%v %s = %v %s", value, from, got, to)
		}
		if !slices.Contains(measure.Units(from), to) {
			t.Fatalf("%s was converted to %s, which is not among the units that fit", from, to)
		}
	})
}

func BenchmarkConvert(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := measure.Convert(8.2, "bar", "kPa"); err != nil {
			b.Fatal(err)
		}
	}
}
