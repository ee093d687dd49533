package journal

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/dgraph-io/badger/v4"

	"bayround/internal/fault"
)

// project reads events of the form "key=value key=value ..."; a key without
// "=" is gone.
func project(_ uint64, event []byte) ([]Row, error) {
	var rows []Row
	for field := range strings.FieldsSeq(string(event)) {
		key, value, present := strings.Cut(field, "=")
		r := Row{Key: key}
		if present {
			r.Value = []byte(value)
		}
		rows = append(rows, r)
	}
	return rows, nil
}

// putProjected appends events together with the rows they make.
func putProjected(t testing.TB, j *Journal, id string, events ...string) {
	t.Helper()
	var rows []Row
	for _, event := range events {
		more, _ := project(0, []byte(event))
		rows = append(rows, more...)
	}
	put(t, j, id, events, rows...)
}

// versions returns every stored version of every row, byte for byte.
func versions(t testing.TB, j *Journal) []string {
	t.Helper()
	var all []string
	err := j.view(func(txn *badger.Txn) error {
		it := txn.NewIterator(badger.IteratorOptions{Prefix: []byte(rowPrefix)})
		defer it.Close()
		for it.Rewind(); it.Valid(); it.Next() {
			value, err := it.Item().ValueCopy(nil)
			if err != nil {
				return err
			}
			all = append(all, fmt.Sprintf("%q=%q", it.Item().Key(), value))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// someRows fills j with entries of one and of several events.
func someRows(t testing.TB, j *Journal) {
	t.Helper()
	for n := range 200 {
		switch id := fmt.Sprint(n); n % 4 {
		case 0:
			putProjected(t, j, id, fmt.Sprintf("v/%d=%d", n%7, n))
		case 1:
			putProjected(t, j, id, fmt.Sprintf("v/%d=%d w=%d", n%5, n, n), fmt.Sprintf("v/%d=%d", n%5, -n), "x")
		case 2:
			putProjected(t, j, id, fmt.Sprintf("v/%d", n%3), fmt.Sprintf("x=%d", n))
		case 3:
			putProjected(t, j, id)
		}
	}
}

func TestRebuild_MakesTheSameRows(t *testing.T) {
	dir := t.TempDir()
	j := open(t, dir)
	someRows(t, j)
	want := versions(t, j)
	if len(want) < 200 {
		t.Fatalf("only %d versions of rows to compare", len(want))
	}
	if err := j.Rebuild(context.Background(), project); err != nil {
		t.Fatal(err)
	}
	wantEqual(t, "after rebuilding", versions(t, j), want)
	mustClose(t, j)
	j = open(t, dir)
	wantEqual(t, "after reopening", versions(t, j), want)
	if !j.RowsComplete() {
		t.Error("rows are not complete after Rebuild")
	}
}

// More rows than one transaction holds.
func TestRebuild_InSeveralTransactions(t *testing.T) {
	j := open(t, t.TempDir())
	for n := range 9 {
		put(t, j, fmt.Sprint(n), make([]string, 1000), row("a", fmt.Sprint(n)))
	}
	commits := 0
	j.commit = func(txn *badger.Txn) error { commits++; return txn.Commit() }
	value := make([]byte, 400)
	err := j.Rebuild(context.Background(), func(seq uint64, _ []byte) ([]Row, error) {
		return []Row{{Key: fmt.Sprintf("row/%05d", seq), Value: value}}, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if rows := rowsAt(t, j, "", 0); len(rows) != 9000 || commits < 5 {
		t.Errorf("%d rows in %d transactions", len(rows), commits)
	}
}

func TestRebuild_DropsRowsWithoutEvent(t *testing.T) {
	j := open(t, t.TempDir())
	putProjected(t, j, "1", "a=1")
	put(t, j, "2", nil, row("b", "2"))
	if err := j.Rebuild(context.Background(), project); err != nil {
		t.Fatal(err)
	}
	wantEqual(t, "rows", rowsAt(t, j, "", 0), []string{"a=1"})
}

func TestRebuild_BrokenOffIsNoticed(t *testing.T) {
	refusal := errors.New("cannot read this event")
	for name, rebuild := range map[string]func(j *Journal) error{
		"project errs": func(j *Journal) error {
			return j.Rebuild(context.Background(), func(seq uint64, event []byte) ([]Row, error) {
				if seq == 3 {
					return nil, refusal
				}
				return project(seq, event)
			})
		},
		"context ends": func(j *Journal) error {
			ctx, cancel := context.WithCancelCause(context.Background())
			err := j.Rebuild(ctx, func(seq uint64, event []byte) ([]Row, error) {
				cancel(refusal)
				return project(seq, event)
			})
			if errors.Is(err, context.Canceled) {
				return refusal
			}
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			j := open(t, dir)
			someRows(t, j)
			want := versions(t, j)
			if err := rebuild(j); !errors.Is(err, refusal) {
				t.Fatalf("Rebuild = %v", err)
			}
			if j.RowsComplete() {
				t.Error("rows are called complete though Rebuild broke off")
			}
			mustClose(t, j)
			if j = open(t, dir); j.RowsComplete() {
				t.Error("rows are called complete after reopening")
			}
			if err := j.Rebuild(context.Background(), project); err != nil || !j.RowsComplete() {
				t.Errorf("second Rebuild: %v, complete %v", err, j.RowsComplete())
			}
			wantEqual(t, "rows", versions(t, j), want)
		})
	}
}

func TestRebuild_RefusesARowThatCannotBe(t *testing.T) {
	j := open(t, t.TempDir())
	put(t, j, "1", []string{"e"})
	err := j.Rebuild(context.Background(), func(uint64, []byte) ([]Row, error) { return []Row{{}}, nil })
	wantFault(t, err, fault.Invalid, "ROW_KEY_INVALID")
	put(t, j, "2", []string{"the journal goes on"})
}

func TestRowsVersion_AnotherOneCallsForRebuild(t *testing.T) {
	dir := t.TempDir()
	version := func(v string) func(*Options) { return func(o *Options) { o.RowsVersion = v } }
	j := open(t, dir, version("rows 1"))
	putProjected(t, j, "1", "a=1")
	if j.RowsVersion() != "rows 1" || !j.RowsComplete() {
		t.Errorf("new journal: version %q, complete %v", j.RowsVersion(), j.RowsComplete())
	}
	mustClose(t, j)
	j = open(t, dir, version("rows 2"))
	if j.RowsVersion() != "rows 1" || j.RowsComplete() {
		t.Errorf("under new code: version %q, complete %v", j.RowsVersion(), j.RowsComplete())
	}
	if err := j.Rebuild(context.Background(), project); err != nil {
		t.Fatal(err)
	}
	mustClose(t, j)
	j = open(t, dir, version("rows 2"))
	if j.RowsVersion() != "rows 2" || !j.RowsComplete() {
		t.Errorf("after Rebuild: version %q, complete %v", j.RowsVersion(), j.RowsComplete())
	}
	_, err := tryOpen(t.TempDir(), version(strings.Repeat("x", 300)))
	wantFault(t, err, fault.Invalid, "ROWS_VERSION_INVALID")
}
