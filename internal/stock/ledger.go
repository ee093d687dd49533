// Package stock keeps what a station has of a material: what was delivered, what was used
// on vehicles, and what somebody counted. Amounts are whole numbers of the material's unit
// (millilitres, or pieces), so that nothing is lost in sums.
//
// What happened counts by when it happened, not by when it became known: a tablet that was
// away tells late. The same movements give the same balance in whatever order they come.
// A count says what is there at its instant, whatever is written down; the difference is a
// correction, and it follows from the movements: one that is told late changes it, and the
// balance after the count stays what was counted. The sum of all amounts, corrections
// among them, is the balance.
package stock

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"time"
)

// Kind is what a movement is. Written out: rows keep it.
type Kind int

// The kinds.
const (
	Delivered Kind = 1 // came to the station
	Used      Kind = 2 // went onto a vehicle
	Counted   Kind = 3 // somebody counted what is there
)

// Movement is one thing that happened to a material.
type Movement struct {
	Sequence int64 // of its event: its name, and what comes later of two at the same instant
	Kind     Kind
	At       time.Time // when it happened
	Amount   int64     // delivered, used or counted; not negative
}

// Line is a movement with what it did.
type Line struct {
	Movement
	Change  int64 // to the balance: of a count the correction, of something used below 0
	Balance int64 // after it
	First   bool  // nothing is known from before it
}

// Ledger is all movements of one material at one station, by when they happened. The zero
// value is empty. It is never changed: With gives another one.
type Ledger struct{ movements []Movement }

// With is the ledger with a movement more. One that it has already changes nothing.
func (l Ledger) With(m Movement) Ledger {
	at, known := slices.BinarySearchFunc(l.movements, m, compare)
	if known {
		return l
	}
	all := make([]Movement, 0, len(l.movements)+1)
	all = append(append(append(all, l.movements[:at]...), m), l.movements[at:]...)
	return Ledger{all}
}

func compare(a, b Movement) int {
	return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Sequence, b.Sequence))
}

// Lines are all movements with what each did, oldest first.
func (l Ledger) Lines() []Line {
	lines := make([]Line, 0, len(l.movements))
	balance := int64(0)
	for i, m := range l.movements {
		change := m.Amount
		switch m.Kind {
		case Used:
			change = -m.Amount
		case Counted:
			change = m.Amount - balance
		}
		balance += change
		lines = append(lines, Line{m, change, balance, i == 0})
	}
	return lines
}

// Line is what one movement did; of one that is not there nothing.
func (l Ledger) Line(sequence int64) Line {
	for _, line := range l.Lines() {
		if line.Sequence == sequence {
			return line
		}
	}
	return Line{}
}

// Balance is what is there by what is written down. Below 0 more was used than was
// delivered or counted: somebody should count.
func (l Ledger) Balance() int64 {
	if lines := l.Lines(); len(lines) > 0 {
		return lines[len(lines)-1].Balance
	}
	return 0
}

// LastCount is the newest count; false when nobody has counted.
func (l Ledger) LastCount() (Movement, bool) {
	for _, m := range slices.Backward(l.movements) {
		if m.Kind == Counted {
			return m, true
		}
	}
	return Movement{}, false
}

// Most is the greatest amount that one movement may have: a thousand cubic metres in
// millilitres. Sums of as many as a journal can hold stay far below the largest integer.
const Most = 1_000_000_000

// Units turns an amount in litres or pieces into whole units, rounded to the nearest; false
// when it is no amount of that unit. perUnit is 1000 for litres in millilitres, 1 for pieces.
func Units(amount, perUnit float64) (int64, bool) {
	units := math.Round(amount * perUnit)
	if math.IsNaN(units) || units < 1 || units > Most {
		return 0, false
	}
	return int64(units), true
}

// Newest is when something last happened; zero when nothing did.
func (l Ledger) Newest() time.Time {
	if len(l.movements) == 0 {
		return time.Time{}
	}
	return l.movements[len(l.movements)-1].At
}

// Amount says an amount in words: litres for millilitres, or pieces.
func Amount(units int64, millilitres bool) string {
	if !millilitres {
		return strconv.FormatInt(units, 10)
	}
	return strconv.FormatFloat(float64(units)/1000, 'f', -1, 64) + " l" // exact up to 2^53 ml
}
