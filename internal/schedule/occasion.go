package schedule

import (
	"iter"
	"slices"
	"time"

	"bayround/internal/fault"
)

// Occasion is what makes a routine due. There are eight: EachWatch, Daily, Weekly,
// MonthlyOnDay, MonthlyOnWeekday, EveryDays, AfterEvent and AfterStanding.
type Occasion interface {
	check(c Calendar) error
	// due returns when the routine is due, and what made it so if that was an event; no
	// instant when nothing makes it due, or when nobody knows when the event was.
	due(c Calendar, h history) (time.Time, EventKind)
}

// recurring is an occasion that the calendar alone brings back.
type recurring interface {
	Occasion
	// next returns the first time the occasion comes after an instant.
	next(c Calendar, after time.Time) time.Time
}

// ByWatch tells that the beginning of a watch makes it due.
func (r Routine) ByWatch() bool {
	_, by := r.On.(EachWatch)
	return by
}

// ByCalendar tells that the calendar makes it due, and not what happens to the vehicle.
func (r Routine) ByCalendar() bool {
	_, comesRound := r.On.(recurring)
	_, counted := r.On.(EveryDays)
	return comesRound || counted
}

// EachWatch makes a routine due when a watch begins.
type EachWatch struct {
	Only string // the name of a watch; empty for each
}

// Daily makes a routine due at a time of every day.
type Daily struct{ At TimeOfDay }

// Weekly makes a routine due at a time of one day of the week.
type Weekly struct {
	On time.Weekday
	At TimeOfDay
}

// MonthlyOnDay makes a routine due on a day of every month. In a month that is too short
// for it, it is due on the last day: RFC 5545 would leave such a month out (section
// 3.3.10), but a check may not miss a month.
type MonthlyOnDay struct {
	Day int // 1 to 31, or -1 to -28 counted from the month's end, -1 the last
	At  TimeOfDay
}

// MonthlyOnWeekday makes a routine due on, say, the second Monday of every month.
type MonthlyOnWeekday struct {
	Nth int // 1 to 4, or -1 to -4 counted from the month's end; not every month has a fifth
	On  time.Weekday
	At  TimeOfDay
}

// EveryDays makes a routine due so many days after the day on which it was last done, and
// at once if it never was.
type EveryDays struct {
	Days int // 1 to 3660
	At   TimeOfDay
}

// AfterEvent makes a routine due when one of the kinds of event happens. One doing covers
// all events before it; an event of the same instant counts as later.
type AfterEvent struct{ Kinds []EventKind }

// AfterStanding makes a routine due when the vehicle has stood for longer, counted from
// when it last ran or the routine was last done. A run afterwards does not clear it.
type AfterStanding struct {
	Longer time.Duration // elapsed time, more than none
}

func (o EachWatch) next(c Calendar, after time.Time) time.Time {
	for t := after; ; {
		w := c.WatchAt(t)
		if w.Begins.After(after) && (o.Only == "" || w.Name == o.Only) {
			return w.Begins
		}
		t = w.Ends
	}
}

func (o EachWatch) check(c Calendar) error {
	for _, change := range c.changes {
		if o.Only == "" || o.Only == change.Watch {
			return nil
		}
	}
	return fault.New(fault.Invalid, "NO_SUCH_WATCH", "no watch is called %q; the calendar says which there are", o.Only)
}

func (o Daily) next(c Calendar, after time.Time) time.Time {
	return c.firstAfter(after, o.At, func(yield func(Date) bool) {
		for d := DateAt(after, c.location).Plus(-1); yield(d); {
			d = d.Plus(1)
		}
	})
}

func (o Daily) check(Calendar) error { return o.At.check() }

func (o Weekly) next(c Calendar, after time.Time) time.Time {
	return c.firstAfter(after, o.At, func(yield func(Date) bool) {
		d := DateAt(after, c.location).Plus(-7)
		for d = d.Plus(daysUntil(d.Weekday(), o.On)); yield(d); {
			d = d.Plus(7)
		}
	})
}

func (o Weekly) check(Calendar) error { return checkWeekday(o.On, o.At) }

func (o MonthlyOnDay) next(c Calendar, after time.Time) time.Time {
	return c.firstAfter(after, o.At, monthly(DateAt(after, c.location), func(first, last Date) Date {
		if o.Day < 0 {
			return last.Plus(o.Day + 1)
		}
		return first.Plus(min(o.Day, last.Day) - 1)
	}))
}

func (o MonthlyOnDay) check(Calendar) error {
	if o.Day == 0 || o.Day > 31 || o.Day < -28 {
		return fault.New(fault.Invalid, "NO_DAY_OF_MONTH", "no month has a day %d; give 1 to 31, or -1 to -28 from its end", o.Day)
	}
	return o.At.check()
}

func (o MonthlyOnWeekday) next(c Calendar, after time.Time) time.Time {
	return c.firstAfter(after, o.At, monthly(DateAt(after, c.location), func(first, last Date) Date {
		if o.Nth < 0 {
			return last.Plus(7*(o.Nth+1) - daysUntil(o.On, last.Weekday()))
		}
		return first.Plus(7*(o.Nth-1) + daysUntil(first.Weekday(), o.On))
	}))
}

func (o MonthlyOnWeekday) check(Calendar) error {
	if o.Nth == 0 || o.Nth > 4 || o.Nth < -4 {
		return fault.New(fault.Invalid, "NO_NTH_WEEKDAY", "not every month has weekday number %d; give 1 to 4, or -1 to -4 from its end", o.Nth)
	}
	return checkWeekday(o.On, o.At)
}

func (o EveryDays) check(Calendar) error {
	if o.Days < 1 || o.Days > 3660 {
		return fault.New(fault.Invalid, "DAYS_OUT_OF_RANGE", "every %d days is out of range; give 1 to 3660", o.Days)
	}
	return o.At.check()
}

func (o AfterEvent) check(Calendar) error {
	if len(o.Kinds) == 0 || slices.Contains(o.Kinds, "") {
		return fault.New(fault.Invalid, "NO_EVENT_KIND", "a routine that events make due names the kinds of event, at least one, none of them empty")
	}
	return nil
}

func (o AfterStanding) check(Calendar) error {
	if o.Longer <= 0 {
		return fault.New(fault.Invalid, "NO_STANDING", "a routine that standing makes due says for how long, more than none")
	}
	return nil
}

func checkWeekday(on time.Weekday, at TimeOfDay) error {
	if on < time.Sunday || on > time.Saturday {
		return fault.New(fault.Invalid, "NO_WEEKDAY", "%d is no day of the week; 0 is Sunday, 6 is Saturday", int(on))
	}
	return at.check()
}

// firstAfter returns the first of the days' instants after one; days ascend for ever.
func (c Calendar) firstAfter(after time.Time, at TimeOfDay, days iter.Seq[Date]) time.Time {
	for d := range days {
		if t := d.At(at, c.location); t.After(after) {
			return t
		}
	}
	panic("schedule: the days ended")
}

// monthly returns the day that pick chooses of every month, from the month before d's on.
func monthly(d Date, pick func(first, last Date) Date) iter.Seq[Date] {
	return func(yield func(Date) bool) {
		for month := (Date{d.Year, d.Month - 1, 1}); ; month.Month++ {
			first := month.Plus(0)
			last := Date{month.Year, month.Month + 1, 1}.Plus(-1)
			if !yield(pick(first, last)) {
				return
			}
		}
	}
}

// daysUntil returns how many days after one weekday another comes, 0 to 6.
func daysUntil(from, to time.Weekday) int { return int(to-from+7) % 7 }
