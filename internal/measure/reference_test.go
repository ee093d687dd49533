package measure_test

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// row is one line of a reference table by column name; every table has its
// source in a column or in the name of its file.
type row map[string]string

// rows reads a table of testdata/reference and fails when it holds fewer lines
// than the test was written for.
func rows(t testing.TB, name string, least int) []row {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "..", "testdata", "reference", name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	lines, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatalf("reading %s: %v", name, err)
	}
	var table []row
	for _, line := range lines[1:] {
		r := row{}
		for i, column := range lines[0] {
			r[column] = line[i]
		}
		table = append(table, r)
	}
	if len(table) < least {
		t.Fatalf("%s has %d rows, want at least %d", name, len(table), least)
	}
	return table
}

// number reads one figure of a row.
func (r row) number(t testing.TB, column string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(r[column], 64)
	if err != nil {
		t.Fatalf("column %s: %v", column, err)
	}
	return x
}

// near says whether got is want to within a share of want.
func near(got, want, share float64) bool {
	return math.Abs(got-want) <= share*math.Abs(want)
}
