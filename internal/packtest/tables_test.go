package packtest

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	pb "bayround/proto/bayround/v1"
)

// row is one line of a reference table by column name; every table carries its
// sources in its own columns.
type row map[string]string

// table reads a table of testdata/reference and fails when it holds fewer lines
// than the test was written for.
func table(t testing.TB, name string, least int) []row {
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
	var rows []row
	for _, line := range lines[1:] {
		r := row{}
		for i, column := range lines[0] {
			r[column] = line[i]
		}
		rows = append(rows, r)
	}
	if len(rows) < least {
		t.Fatalf("%s has %d rows, want at least %d", name, len(rows), least)
	}
	return rows
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

// find gives the one row in which every column has the wanted text.
func find(t testing.TB, rows []row, wanted row) row {
	t.Helper()
	var found []row
	for _, r := range rows {
		if r.has(wanted) {
			found = append(found, r)
		}
	}
	if len(found) != 1 {
		t.Fatalf("%d rows have %v, want one", len(found), wanted)
	}
	return found[0]
}

func (r row) has(wanted row) bool {
	for column, text := range wanted {
		if r[column] != text {
			return false
		}
	}
	return true
}

// gradeNamed reads a grade as the tables spell it.
func gradeNamed(t testing.TB, name string) pb.Grade {
	t.Helper()
	grade, ok := map[string]pb.Grade{
		"minor": pb.Grade_GRADE_MINOR, "major": pb.Grade_GRADE_MAJOR, "dangerous": pb.Grade_GRADE_DANGEROUS,
	}[name]
	if !ok {
		t.Fatalf("%q is no grade", name)
	}
	return grade
}

// annexGrade is the one grade a row of the annex marks with 1.
func annexGrade(t testing.TB, r row) pb.Grade {
	t.Helper()
	marked := ""
	for _, name := range []string{"minor", "major", "dangerous"} {
		if r[name] == "1" {
			if marked != "" {
				t.Fatalf("row %s is both %s and %s", r["code"], marked, name)
			}
			marked = name
		}
	}
	return gradeNamed(t, marked)
}
