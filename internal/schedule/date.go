package schedule

import (
	"fmt"
	"slices"
	"time"

	"bayround/internal/fault"
)

const secondsPerDay = 24 * 60 * 60

// Date is a day of the local (Gregorian) calendar, without a zone.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// DateAt returns the day that the clocks of a place show at an instant.
func DateAt(t time.Time, in *time.Location) Date {
	year, month, day := t.In(in).Date()
	return Date{year, month, day}
}

// number counts the days from 1 January 1970 to d; it is negative before.
func (d Date) number() int {
	seconds := time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC).Unix()
	return int(seconds / secondsPerDay) // midnights divide without a rest
}

func dateNumbered(n int) Date {
	return DateAt(time.Unix(int64(n)*secondsPerDay, 0), time.UTC)
}

// Plus returns the day so many days later, or earlier when days is negative.
func (d Date) Plus(days int) Date { return dateNumbered(d.number() + days) }

// DaysSince returns how many days d lies after other; negative when before.
func (d Date) DaysSince(other Date) int { return d.number() - other.number() }

// Weekday returns the day of the week.
func (d Date) Weekday() time.Weekday {
	return time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC).Weekday()
}

// String returns the day as ISO 8601 has it, 2026-03-29.
func (d Date) String() string { return fmt.Sprintf("%04d-%02d-%02d", d.Year, d.Month, d.Day) }

// exists says that d is written as the calendar has it, not 31 April.
func (d Date) exists() bool { return d.Year >= 1 && d.Year <= 9999 && d.Plus(0) == d }

// TimeOfDay is what a wall clock shows, 00:00 to 23:59.
type TimeOfDay struct {
	Hour   int // 0 to 23
	Minute int // 0 to 59
}

// String returns the time as 08:00.
func (t TimeOfDay) String() string { return fmt.Sprintf("%02d:%02d", t.Hour, t.Minute) }

func (t TimeOfDay) minutes() int { return t.Hour*60 + t.Minute }

func (t TimeOfDay) check() error {
	if t.Hour < 0 || t.Hour > 23 || t.Minute < 0 || t.Minute > 59 {
		return fault.New(fault.Invalid, "NO_TIME_OF_DAY", "%d:%02d is no time of day; give one from 00:00 to 23:59", t.Hour, t.Minute)
	}
	return nil
}

// At returns the instant at which the clocks of a place show a time on a day, as RFC 5545,
// section 3.3.5, reads it: the first, if they show it twice; if they skip it, what they
// would have shown had they not been put forward.
func (d Date) At(t TimeOfDay, in *time.Location) time.Time {
	// The wall clock's reading, as if it were UTC; less an offset it is an instant.
	wall := time.Date(d.Year, d.Month, d.Day, t.Hour, t.Minute, 0, 0, time.UTC)
	first, gap := time.Time{}, time.Time{}
	for _, offset := range offsetsAround(wall, in) {
		at := wall.Add(-offset)
		if _, seconds := at.In(in).Zone(); time.Duration(seconds)*time.Second != offset {
			// Nothing shows this reading at this offset. In a gap the offset from before it
			// is the smaller one, and so leads to the later instant.
			if gap.IsZero() || at.After(gap) {
				gap = at
			}
		} else if first.IsZero() || at.Before(first) {
			first = at
		}
	}
	if first.IsZero() {
		return gap.In(in)
	}
	return first.In(in)
}

// twice tells that the clocks of a place show at another instant what they show at this one.
func twice(t time.Time, in *time.Location) bool {
	_, seconds := t.In(in).Zone()
	wall := t.UTC().Add(time.Duration(seconds) * time.Second)
	return slices.ContainsFunc(offsetsAround(wall, in), func(offset time.Duration) bool {
		other := wall.Add(-offset)
		_, seconds := other.In(in).Zone()
		return !other.Equal(t) && time.Duration(seconds)*time.Second == offset
	})
}

// offsetsAround returns the offsets from UTC that may hold when the clocks of a place read
// wall: those of the stretches without a change round it, at most three. Offsets lie within
// a day of UTC, so nothing farther away than a day can matter.
func offsetsAround(wall time.Time, in *time.Location) (offsets []time.Duration) {
	for t := wall.Add(-24 * time.Hour).In(in); ; {
		_, seconds := t.Zone()
		offsets = append(offsets, time.Duration(seconds)*time.Second)
		_, end := t.ZoneBounds()
		if end.IsZero() || end.After(wall.Add(24*time.Hour)) {
			return offsets
		}
		t = end.In(in)
	}
}
