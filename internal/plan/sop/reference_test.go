package sop_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"bayround/internal/plan/sop"
)

// folder holds published instances with their best known values; it stands beside the clone and is never
// part of it.
const folder = "../../../../shared/reference/sop"

// instance is one row of the published table.
type instance struct {
	name    string
	nodes   int
	best    int64
	problem *sop.Problem
}

// instances reads the table and the problems it names. Sources, by row: the column "source" of best-known.csv;
// the problems are those of TSPLIB.
func instances(tb testing.TB) []instance {
	tb.Helper()
	rows := table(tb, "best-known.csv")
	at := func(row []string, column string) string { return row[slices.Index(rows[0], column)] }
	var found []instance
	for _, row := range rows[1:] {
		name := at(row, "instance")
		text, err := os.ReadFile(filepath.Join(folder, name+".sop"))
		if err != nil {
			tb.Fatal(err)
		}
		p, err := sop.Parse(text)
		if err != nil {
			tb.Fatalf("%s: %v", name, err)
		}
		nodes, err := strconv.Atoi(at(row, "nodes"))
		if err != nil || nodes != p.Nodes() {
			tb.Fatalf("%s: read %d nodes, the table says %s", name, p.Nodes(), at(row, "nodes"))
		}
		best, err := strconv.ParseInt(at(row, "upper"), 10, 64)
		if err != nil {
			tb.Fatal(err)
		}
		found = append(found, instance{name, nodes, best, p})
	}
	if len(found) == 0 {
		tb.Fatal("the table of best known values is empty")
	}
	return found
}

func table(tb testing.TB, name string) [][]string {
	tb.Helper()
	f, err := os.Open(filepath.Join(folder, name))
	if os.IsNotExist(err) {
		tb.Skip("skipped: needs ../shared/reference/sop beside the clone")
	}
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 2 {
		tb.Fatalf("%s: %v, %d rows", name, err, len(rows))
	}
	return rows
}

// The published sequences cost what is published: reader and measure are those of TSPLIB.
func TestCost_PublishedSequencesCostWhatIsPublished(t *testing.T) {
	problems := map[string]*sop.Problem{}
	for _, i := range instances(t) {
		problems[i.name] = i.problem
	}
	checked := 0
	for _, row := range table(t, "best-sequences.csv")[1:] {
		var order []int
		for word := range strings.FieldsSeq(row[3]) {
			node, err := strconv.Atoi(word)
			if err != nil {
				t.Fatal(err)
			}
			order = append(order, node-1)
		}
		cost, err := problems[row[0]].Cost(order)
		if err != nil || strconv.FormatInt(cost, 10) != row[1] {
			t.Errorf("%s: the published sequence costs %d (%v), published is %s", row[0], cost, err, row[1])
		}
		checked++
	}
	if checked < len(problems) {
		t.Errorf("%d sequences for %d instances", checked, len(problems))
	}
}

// unproven are the instances whose best known value is reached, but not proven, within the test's budget.
var unproven = []string{"ft53.1", "p43.1"}

func TestSolve_PublishedInstances(t *testing.T) {
	for _, i := range instances(t) {
		t.Run(i.name, func(t *testing.T) {
			s := i.problem.Solve(testBudget(i), nil)
			cost, err := i.problem.Cost(s.Order)
			if err != nil || cost != s.Cost {
				t.Fatalf("the order costs %d (%v), the solution says %d", cost, err, s.Cost)
			}
			if s.Cost != i.best {
				t.Errorf("cost %d, best known is %d", s.Cost, i.best)
			}
			if s.Bound > i.best {
				t.Errorf("the bound %d lies above the best known value %d", s.Bound, i.best)
			}
			if want := !slices.Contains(unproven, i.name); s.Proven != want {
				t.Errorf("proven %v, expected %v", s.Proven, want)
			}
			t.Logf("| %s | %d | %d | %d | %.2f %% | %d |", i.name, i.nodes, s.Cost, s.Bound, 100*s.Gap(), s.Operations)
		})
	}
}

// testBudget is enough for the best known value, and for the proof where one is expected.
func testBudget(i instance) sop.Budget {
	b := sop.Budget{Search: 3_000_000, Proof: 500_000_000, States: 500_000}
	if slices.Contains(unproven, i.name) {
		b = sop.Budget{Search: 80_000_000, Proof: 80_000_000, States: 50_000}
	}
	return b
}

func BenchmarkSolve(b *testing.B) {
	for _, i := range instances(b) {
		b.Run(i.name, func(b *testing.B) {
			for b.Loop() {
				i.problem.Solve(testBudget(i), nil)
			}
		})
	}
}
