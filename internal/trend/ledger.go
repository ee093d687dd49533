package trend

import (
	"math"
	"slices"
)

// entry is what stood in a vehicle and on its counters at one time.
type entry struct {
	day    float64
	litres float64 // balanced
	km     float64 // thousands; 0 throughout when the odometer was not read
	hours  float64 // hundreds; 0 throughout when the hours were not read
}

const (
	kmPerUnit    = 1000.0
	hoursPerUnit = 100.0
	// mostEntries is how far back use is looked at: fifteen months of days.
	mostEntries = 512
)

// ledger makes the entries of a series since its newest reset, one for each week, oldest
// first. A counter that most readings lack is not gone by; one that some lack costs those.
func ledger(s Series, litresPerUnit float64) []entry {
	if !(litresPerUnit > 0 && sound(litresPerUnit)) {
		return nil
	}
	current := s.Current()
	current = current[max(0, len(current)-mostEntries):]
	balanced := current.track()
	byKm := counts(current, func(p Point) float64 { return p.Km })
	byHours := counts(current, func(p Point) float64 { return p.Hours })
	if !byKm && !byHours {
		return nil
	}
	var entries []entry
	for i, p := range current {
		e := entry{day: balanced.days[i], litres: balanced.values[i] * litresPerUnit}
		if byKm {
			e.km = p.Km / kmPerUnit
		}
		if byHours {
			e.hours = p.Hours / hoursPerUnit
		}
		if byKm && !counted(p.Km) || byHours && !counted(p.Hours) {
			continue
		}
		entries = append(entries, e)
	}
	return weekly(forwards(entries))
}

// counted says whether a counter was read.
func counted(x float64) bool { return x > 0 && sound(x) }

// counts says whether most readings hold a counter.
func counts(s Series, counter func(Point) float64) bool {
	n := 0
	for _, p := range s {
		if counted(counter(p)) {
			n++
		}
	}
	return 2*n > len(s)
}

// forwards keeps the longest row of entries whose counters never run backwards: one
// mistyped odometer must not throw out all that come after it. Cost n².
func forwards(entries []entry) []entry {
	length, before := make([]int, len(entries)), make([]int, len(entries))
	last := -1
	for i, e := range entries {
		length[i], before[i] = 1, -1
		for j, earlier := range entries[:i] {
			if earlier.km <= e.km && earlier.hours <= e.hours && length[j] >= length[i] {
				length[i], before[i] = length[j]+1, j
			}
		}
		if last < 0 || length[i] >= length[last] {
			last = i
		}
	}
	var kept []entry
	for i := last; i >= 0; i = before[i] {
		kept = append(kept, entries[i])
	}
	slices.Reverse(kept)
	return kept
}

// weekly puts the entries of each week together, counted back from the newest: a
// dipstick read daily knows little more than one read weekly, and errors that
// neighbours share spoil a chart.
func weekly(entries []entry) []entry {
	var weeks []entry
	for end := len(entries); end > 0; {
		newest := entries[end-1].day
		begin := end - 1
		for begin > 0 && newest-entries[begin-1].day < daysPerWeek {
			begin--
		}
		weeks = append(weeks, middleOf(entries[begin:end]))
		end = begin
	}
	slices.Reverse(weeks)
	return weeks
}

// middleOf is the median of entries, number by number.
func middleOf(entries []entry) entry {
	return entry{
		day:    Median(column(entries, func(e entry) float64 { return e.day })),
		litres: Median(column(entries, func(e entry) float64 { return e.litres })),
		km:     Median(column(entries, func(e entry) float64 { return e.km })),
		hours:  Median(column(entries, func(e entry) float64 { return e.hours })),
	}
}

func column(entries []entry, of func(entry) float64) []float64 {
	values := make([]float64, len(entries))
	for i, e := range entries {
		values[i] = of(e)
	}
	return values
}

// recursive foresees each use from those before it (Brown, Durbin and Evans 1975): the
// standardised errors are independent and alike as long as nothing changes. It is the
// regression on distance and hours, through the origin, brought up to date row by row.
type recursive struct {
	rates [2]float64
	doubt [2][2]float64 // of the rates, in units of the variance of one use
}

// anything is the doubt before the first row: any rate at all is possible.
const anything = 1e8

// foresee returns the error of one use against what the rows before let expect, in units of
// the standard deviation of one use, and learns from it.
func (r *recursive) foresee(use float64, by [2]float64) float64 {
	var reach [2]float64 // doubt · by
	for i := range reach {
		reach[i] = r.doubt[i][0]*by[0] + r.doubt[i][1]*by[1]
	}
	variance := 1 + by[0]*reach[0] + by[1]*reach[1]
	off := use - r.rates[0]*by[0] - r.rates[1]*by[1]
	for i := range reach {
		r.rates[i] += reach[i] / variance * off
		for j := range reach {
			r.doubt[i][j] -= reach[i] * reach[j] / variance
		}
	}
	return off / math.Sqrt(variance)
}
