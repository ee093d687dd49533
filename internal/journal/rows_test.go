package journal

import (
	"context"
	"errors"
	"slices"
	"testing"

	"bayround/internal/fault"
)

// rowsAt returns the rows of j as "key=value".
func rowsAt(t testing.TB, j *Journal, prefix string, at uint64) []string {
	t.Helper()
	var rows []string
	err := j.Rows(context.Background(), prefix, at, func(key string, value []byte) error {
		if value == nil {
			t.Errorf("row %q has a nil value", key)
		}
		rows = append(rows, key+"="+string(value))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

func row(key, value string) Row { return Row{Key: key, Value: []byte(value)} }

func TestRows_AsOfAnyEvent(t *testing.T) {
	dir := t.TempDir()
	j := open(t, dir)
	put(t, j, "1", []string{"e1"}, row("a", "1"), row("b", "1"))
	put(t, j, "2", []string{"e2", "e3"}, row("a", "3"), Row{Key: "b"})
	put(t, j, "3", []string{"e4"}, row("ab", "4"), row("b", ""))
	put(t, j, "4", []string{"e5"}, Row{Key: "a"}, row("c", "5"))
	check := func(j *Journal) {
		t.Helper()
		for _, tc := range []struct {
			prefix string
			at     uint64
			want   []string
		}{
			{"", 1, []string{"a=1", "b=1"}},
			{"", 2, []string{"a=1", "b=1"}}, // inside the second entry: none of its rows
			{"", 3, []string{"a=3"}},
			{"", 4, []string{"a=3", "ab=4", "b="}},
			{"", 5, []string{"ab=4", "b=", "c=5"}},
			{"", 0, []string{"ab=4", "b=", "c=5"}},
			{"", 99, []string{"ab=4", "b=", "c=5"}},
			{"a", 4, []string{"a=3", "ab=4"}},
			{"ab", 4, []string{"ab=4"}},
			{"b", 2, []string{"b=1"}},
			{"d", 0, nil},
		} {
			if got := rowsAt(t, j, tc.prefix, tc.at); !slices.Equal(got, tc.want) {
				t.Errorf("rows %q at %d: got %q, want %q", tc.prefix, tc.at, got, tc.want)
			}
		}
	}
	check(j)
	mustClose(t, j)
	check(open(t, dir))
}

func TestRow_OneOfThem(t *testing.T) {
	j := open(t, t.TempDir())
	put(t, j, "1", []string{"e1"}, row("a", "1"))
	put(t, j, "2", []string{"e2"}, row("a", "2"), row("a\x01", "x"))
	put(t, j, "3", []string{"e3"}, Row{Key: "a"}, row("b", ""))
	for _, tc := range []struct {
		key  string
		at   uint64
		want string
		gone bool
	}{
		{"a", 1, "1", false},
		{"a", 2, "2", false},
		{"a", 3, "", true},
		{"a", 0, "", true},
		{"a\x01", 1, "", true},
		{"a\x01", 0, "x", false},
		{"b", 0, "", false},
		{"b", 2, "", true},
		{"aa", 0, "", true},
	} {
		value, err := j.Row(tc.key, tc.at)
		if err != nil || string(value) != tc.want || (value == nil) != tc.gone {
			t.Errorf("row %q at %d = %q (nil: %v), %v; want %q, gone %v", tc.key, tc.at, value, value == nil, err, tc.want, tc.gone)
		}
	}
	_, err := j.Row("a\x00", 0)
	wantFault(t, err, fault.Invalid, "ROW_KEY_INVALID")
	err = j.Rows(context.Background(), "a\x00", 0, func(string, []byte) error { return nil })
	wantFault(t, err, fault.Invalid, "ROW_KEY_INVALID")
}

// One name may begin with another, and its next byte may be the smallest
// there is; neither may be taken for a version of the other.
func TestRows_KeysThatBeginAlike(t *testing.T) {
	j := open(t, t.TempDir())
	keys := []string{"a", "a\x01", "a\x01\x01", "a\x02", "aa", "a\xff", "a\xff\xff"}
	for round, id := range []string{"1", "2", "3"} {
		var rows []Row
		for _, key := range keys {
			rows = append(rows, row(key, string(rune('1'+round))))
		}
		put(t, j, id, []string{id}, rows...)
	}
	for at := uint64(1); at <= 3; at++ {
		var want []string
		for _, key := range keys {
			want = append(want, key+"="+string(rune('0'+at)))
		}
		wantEqual(t, "rows", rowsAt(t, j, "a", at), want)
		wantEqual(t, "rows", rowsAt(t, j, "a\x01", at), want[1:3])
	}
}

func TestRows_WithoutEventBelongToTheEventBefore(t *testing.T) {
	j := open(t, t.TempDir())
	put(t, j, "0", nil, row("a", "0"))
	wantEqual(t, "before the first event", rowsAt(t, j, "", 0), []string{"a=0"})
	put(t, j, "1", []string{"e1"}, row("b", "1"))
	put(t, j, "2", nil, row("a", "late"), row("b", "late"))
	put(t, j, "3", []string{"e2"}, row("b", "2"))
	wantEqual(t, "at 1", rowsAt(t, j, "", 1), []string{"a=late", "b=late"})
	wantEqual(t, "at 2", rowsAt(t, j, "", 2), []string{"a=late", "b=2"})
}

func TestRows_StopAtTheErrorOfYield(t *testing.T) {
	j := open(t, t.TempDir())
	put(t, j, "1", nil, row("a", "1"), row("b", "1"))
	stop, calls := errors.New("enough"), 0
	err := j.Rows(context.Background(), "", 0, func(string, []byte) error { calls++; return stop })
	if !errors.Is(err, stop) || calls != 1 {
		t.Errorf("Rows = %v after %d calls", err, calls)
	}
}
