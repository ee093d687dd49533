package stock_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"bayround/internal/stock"
)

var monday = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

func movements(t *rapid.T) (all []stock.Movement) {
	n := rapid.IntRange(0, 30).Draw(t, "movements")
	for i := range n {
		all = append(all, stock.Movement{
			Sequence: int64(i + 1), Kind: stock.Kind(rapid.IntRange(1, 3).Draw(t, "kind")),
			At:     monday.Add(time.Duration(rapid.IntRange(0, 12).Draw(t, "hour")) * time.Hour), // several at once
			Amount: rapid.Int64Range(0, 20_000).Draw(t, "amount"),
		})
	}
	return all
}

func ledgerOf(all []stock.Movement) (l stock.Ledger) {
	for _, m := range all {
		l = l.With(m)
	}
	return l
}

// Offline top-ups come late and out of order, some twice: the balance is the same, and it
// is what a plain model says that knows them all: the newest count, and what was delivered
// less what was used since. Source: conservation, as in any stock account.
func TestLedger_TheSameInAnyOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := movements(t)
		want := int64(0)
		known := slices.Clone(all)
		slices.SortStableFunc(known, func(a, b stock.Movement) int { return a.At.Compare(b.At) }) // stable: by sequence
		for _, m := range known {
			want = map[stock.Kind]int64{stock.Delivered: want + m.Amount, stock.Used: want - m.Amount, stock.Counted: m.Amount}[m.Kind]
		}
		shuffled := rapid.Permutation(append(slices.Clone(all), all[:len(all)/2]...)).Draw(t, "order")
		l := ledgerOf(shuffled)
		if got := l.Balance(); got != want {
			t.Fatalf("balance %d, want %d", got, want)
		}
		sum, lines := int64(0), l.Lines()
		for _, line := range lines {
			if sum += line.Change; sum != line.Balance {
				t.Fatalf("the changes up to %+v make %d", line, sum)
			}
		}
		if sum != want || len(lines) != len(all) {
			t.Fatalf("all changes make %d in %d lines, want %d in %d", sum, len(lines), want, len(all))
		}
	})
}

// What was used before a count and told after it changes the correction, not the balance:
// it was out of the store when somebody counted.
func TestLedger_AMovementBeforeACountToldLate(t *testing.T) {
	l := ledgerOf([]stock.Movement{{1, stock.Delivered, monday, 20_000}, {2, stock.Counted, monday.Add(4 * time.Hour), 18_000}})
	late := l.With(stock.Movement{Sequence: 3, Kind: stock.Used, At: monday.Add(time.Hour), Amount: 2_000})
	if l.Balance() != 18_000 || late.Balance() != 18_000 || l.Lines()[1].Change != -2_000 || late.Lines()[2].Change != 0 {
		t.Errorf("before %+v, after %+v", l.Lines(), late.Lines())
	}
	if after := late.With(stock.Movement{Sequence: 4, Kind: stock.Used, At: monday.Add(5 * time.Hour), Amount: 20_000}); after.Balance() != -2_000 {
		t.Errorf("more used than there was: %d", after.Balance())
	}
	if m, ok := late.LastCount(); !ok || m.Sequence != 2 {
		t.Errorf("counted last: %+v %t", m, ok)
	}
}

func TestUnits(t *testing.T) {
	for _, row := range []struct {
		amount, per float64
		want        int64
		is          bool
	}{
		{0.5, 1000, 500, true},
		{0.3, 1000, 300, true}, // SI: a litre is 1000 ml
		{2, 1, 2, true},
		{0.0004, 1000, 0, false},
		{0, 1, 0, false},
		{-1, 1, 0, false},
		{math.NaN(), 1, 0, false},
		{math.Inf(1), 1, 0, false},
		{1e7, 1000, 0, false},
	} {
		if got, is := stock.Units(row.amount, row.per); got != row.want || is != row.is {
			t.Errorf("%v × %v: %d %t, want %d %t", row.amount, row.per, got, is, row.want, row.is)
		}
	}
}
