package schedule

import (
	"slices"
	"time"

	"bayround/internal/fault"
)

// Change is a time of day at which a watch begins; it ends where the next one begins.
type Change struct {
	At    TimeOfDay
	Watch string // what the watch is called: day, night; each of a day by another name
}

// Rota says whose turn each watch is. Days are repeated for ever, before the anchor too.
type Rota struct {
	Anchor Date       // a day that has the first row of Days
	Days   [][]string // for each day of the cycle, whose turn each change begins, in the order of changes
}

// Watch is the time from one change to the next.
type Watch struct {
	Name   string    // as the change has it
	Crew   string    // whose turn it is; empty without a rota
	On     Date      // the local day on which it begins by the calendar
	Begins time.Time // the first instant of it
	Ends   time.Time // the first instant that is no longer of it
}

// Length returns how long the watch lasts, elapsed time.
func (w Watch) Length() time.Duration { return w.Ends.Sub(w.Begins) }

// Calendar is when a station's watches change, and the zone its clocks keep. Make one with
// NewCalendar; it is never changed.
type Calendar struct {
	location *time.Location
	changes  []Change
	rota     Rota
}

// NewCalendar returns the calendar of a place: its zone, the changes of each day in
// ascending order (at least one), and a rota, which may be empty. What is wrong is
// returned as a fault of the kind Invalid.
func NewCalendar(in *time.Location, changes []Change, rota Rota) (Calendar, error) {
	if in == nil {
		return Calendar{}, fault.New(fault.Invalid, "NO_ZONE", "a calendar needs a time zone, for instance Europe/London")
	}
	if len(changes) == 0 {
		return Calendar{}, fault.New(fault.Invalid, "NO_CHANGE", "a calendar needs at least one time at which watches change")
	}
	named := map[string]bool{}
	for i, change := range changes {
		if err := change.At.check(); err != nil {
			return Calendar{}, err
		}
		if change.Watch == "" || named[change.Watch] {
			return Calendar{}, fault.New(fault.Invalid, "WATCH_NOT_NAMED",
				"the watch at %s is called %q, which is empty or another's name; call each watch of a day differently", change.At, change.Watch)
		}
		named[change.Watch] = true
		if i > 0 && change.At.minutes() <= changes[i-1].At.minutes() {
			return Calendar{}, fault.New(fault.Invalid, "CHANGES_UNORDERED",
				"the change at %s stands after the one at %s; order changes by time of day, each once", change.At, changes[i-1].At)
		}
	}
	if err := rota.check(len(changes)); err != nil {
		return Calendar{}, err
	}
	days := slices.Clone(rota.Days)
	for i := range days {
		days[i] = slices.Clone(days[i])
	}
	return Calendar{in, slices.Clone(changes), Rota{rota.Anchor, days}}, nil
}

func (r Rota) check(changes int) error {
	if len(r.Days) == 0 {
		return nil
	}
	if !r.Anchor.exists() {
		return fault.New(fault.Invalid, "ROTA_ANCHOR", "%s, the rota's anchor, is no day of the calendar", r.Anchor)
	}
	for i, turns := range r.Days {
		if len(turns) != changes {
			return fault.New(fault.Invalid, "ROTA_ROW",
				"day %d of the rota names %d turns, but watches change %d times a day; name one for each change", i+1, len(turns), changes)
		}
	}
	return nil
}

func (r Rota) crew(on Date, change int) string {
	if len(r.Days) == 0 {
		return ""
	}
	row := on.DaysSince(r.Anchor) % len(r.Days)
	if row < 0 {
		row += len(r.Days)
	}
	return r.Days[row][change]
}

// Location returns the zone the calendar keeps.
func (c Calendar) Location() *time.Location { return c.location }

// Watches returns every watch of which some part lies in [from, until), in order, whole:
// the first may begin before from, the last may end after until. They tile time, each
// begins where the one before ends. There is none when until is not after from. The work
// is in proportion to the days between.
//
// At any instant it is the watch of the last change, in the order of the wall clock, whose
// instant has come. So a watch that the spring change leaves no time for is not there: with
// changes at 01:15 and 02:00 and a gap from 01:00 to 02:00, the one of 01:15.
func (c Calendar) Watches(from, until time.Time) []Watch {
	if !until.After(from) {
		return nil
	}
	const margin = 3 // days; a day can be left out whole: Samoa had no 30 December 2011
	var all []Watch
	last := DateAt(until, c.location).number() + margin
	for n := DateAt(from, c.location).number() - margin; n <= last; n++ {
		on := dateNumbered(n)
		for i, change := range c.changes {
			all = append(all, Watch{Name: change.Watch, Crew: c.rota.crew(on, i), On: on, Begins: on.At(change.At, c.location)})
		}
	}
	for i := len(all) - 2; i >= 0; i-- {
		if all[i].Begins.After(all[i+1].Begins) {
			all[i].Begins = all[i+1].Begins
		}
		all[i].Ends = all[i+1].Begins
	}
	all = all[:len(all)-1] // its end is not known; the margin makes that no loss
	return slices.DeleteFunc(all, func(w Watch) bool {
		return w.Length() == 0 || !w.Ends.After(from) || !w.Begins.Before(until)
	})
}

// WatchAt returns the watch an instant belongs to.
func (c Calendar) WatchAt(t time.Time) Watch { return c.Watches(t, t.Add(1))[0] }
