package trend_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// published is one example of testdata/reference/stats: its data by column, and what
// others have found, row by row with source and status.
type published struct {
	t        *testing.T
	name     string
	data     map[string][]float64
	expected map[string]expectation
	used     map[string]bool
}

type expectation struct {
	value             float64
	tolerance, source string
}

// example is a check of one published example: it computes what it can, by quantity.
type example func(p *published) map[string]float64

// examples name every file; excused rows are not computed, each for its reason.
var (
	examples = map[string]example{
		"grubbs-uranium":            grubbsUranium,
		"gum-h3-thermometer":        gumThermometer,
		"hampel-derived":            hampelDerived,
		"mann-kendall-by-hand":      mannKendallByHand,
		"montgomery-runger-cusum":   montgomeryCUSUM,
		"nile":                      nile,
		"nist-handbook-ewma":        handbookEWMA,
		"nist-handbook-individuals": handbookIndividuals,
		"nist-strd-longley":         longley,
		"nist-strd-norris":          norris,
		"oxygen-purity":             oxygenPurity,
		"sen-1968":                  sen1968,
	}
	excused = map[string]string{
		"nile break_ci95_lower_observation": "the interval of a break is not computed: nothing asks for it",
		"nile break_ci95_upper_observation": "the interval of a break is not computed: nothing asks for it",
		"nile page_hinkley_":                "the Page-Hinkley chart is not used: the CUSUM on scores does its work",
	}
)

// Every file of the folder is an example, every row of it is met or excused.
func TestPublishedExamples(t *testing.T) {
	folder := filepath.Join("..", "..", "testdata", "reference", "stats")
	files, err := filepath.Glob(filepath.Join(folder, "*.expected.csv"))
	if err != nil || len(files) < len(examples) {
		t.Fatalf("%d files of published values, want %d: %v", len(files), len(examples), err)
	}
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".expected.csv")
		t.Run(name, func(t *testing.T) {
			check, ok := examples[name]
			if !ok {
				t.Fatalf("no check reads %s", file)
			}
			p := openPublished(t, folder, name)
			p.compare(check(p))
		})
	}
}

func openPublished(t *testing.T, folder, name string) *published {
	p := &published{t: t, name: name, data: map[string][]float64{}, expected: map[string]expectation{}, used: map[string]bool{}}
	data := readTable(t, filepath.Join(folder, name+".csv"))
	for _, line := range data[1:] {
		for i, column := range data[0] {
			p.data[column] = append(p.data[column], number(t, line[i]))
		}
	}
	for _, line := range readTable(t, filepath.Join(folder, name+".expected.csv"))[1:] {
		if line[4] == "" {
			t.Errorf("%s has no source", line[0])
		}
		p.expected[line[0]] = expectation{number(t, line[1]), line[2], line[3] + ", " + line[4]}
	}
	return p
}

func readTable(t *testing.T, name string) [][]string {
	t.Helper()
	file, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	lines, err := csv.NewReader(file).ReadAll()
	if err != nil || len(lines) < 2 {
		t.Fatalf("%s: %d lines, %v", name, len(lines), err)
	}
	return lines
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// given is a setting that the table states, such as a confidence.
func (p *published) given(quantity string) float64 {
	p.t.Helper()
	e, ok := p.expected[quantity]
	if !ok {
		p.t.Fatalf("the table does not give %s", quantity)
	}
	p.used[quantity] = true
	return e.value
}

// compare holds what was computed to what was published, and finds rows that nobody
// looked at as well as computed quantities that the table does not know.
func (p *published) compare(computed map[string]float64) {
	p.t.Helper()
	for quantity, got := range computed {
		want, ok := p.expected[quantity]
		if !ok {
			p.t.Errorf("%s is computed, but not in the table", quantity)
			continue
		}
		p.used[quantity] = true
		if wrong := want.misses(got); wrong != "" {
			p.t.Errorf("%s: %s (%s)", quantity, wrong, want.source)
		}
	}
	for quantity := range p.expected {
		if !p.used[quantity] && !p.isExcused(quantity) {
			p.t.Errorf("%s is in the table, but nothing computes it", quantity)
		}
	}
}

func (p *published) isExcused(quantity string) bool {
	for row, reason := range excused {
		if strings.HasPrefix(p.name+" "+quantity, row) {
			p.t.Logf("%s: %s", quantity, reason)
			return true
		}
	}
	return false
}

// misses says how a value misses the published one; empty when it does not.
func (e expectation) misses(got float64) string {
	off := math.Abs(got - e.value)
	if digits, ok := strings.CutPrefix(e.tolerance, "log relative error >= "); ok {
		least, err := strconv.ParseFloat(digits, 64)
		if reached := -math.Log10(off / math.Abs(e.value)); err != nil || !(reached >= least) {
			return fmt.Sprintf("%.15g, want %.15g: log relative error %.2f, want %s", got, e.value, reached, digits)
		}
		return ""
	}
	within := 0.0
	if e.tolerance != "exact" {
		var err error
		if within, err = strconv.ParseFloat(e.tolerance, 64); err != nil {
			return "unreadable tolerance " + e.tolerance
		}
	}
	// Values are printed in decimals: their last digit may be off by the binary's rounding.
	if !(off <= within*(1+1e-9)) {
		return fmt.Sprintf("%.12g, want %.12g within %s", got, e.value, e.tolerance)
	}
	return ""
}

// The comparison itself must be able to fail.
func TestPublishedExamples_TheComparisonCanFail(t *testing.T) {
	for _, tc := range []struct {
		tolerance string
		got       float64
		ok        bool
	}{
		{"exact", 2, true},
		{"exact", math.Nextafter(2, 3), false},
		{"0.05", 2.05, true},
		{"0.05", 2.051, false},
		{"log relative error >= 9", 2 * (1 + 1e-10), true},
		{"log relative error >= 9", 2 * (1 + 1e-8), false},
		{"log relative error >= 9", math.NaN(), false},
		{"exact", math.NaN(), false},
		{"about", 2, false},
	} {
		wrong := expectation{value: 2, tolerance: tc.tolerance}.misses(tc.got)
		if (wrong == "") != tc.ok {
			t.Errorf("%v against 2, %s: %q", tc.got, tc.tolerance, wrong)
		}
	}
}
