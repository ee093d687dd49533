package schedule

import (
	"cmp"
	"slices"
	"time"

	"bayround/internal/fault"
)

const longestGapDays = 3660

// Item is a thing that must be done again and again, with at most so many days between:
// done on a Monday with a longest gap of 7 days, it must be done on the next Monday at the
// latest. Days are those on which the watches began that do it.
type Item struct {
	ID             string // not empty, and each only once
	LongestGapDays int    // 1 to 3660
	Seconds        int    // the work it makes, 0 to 86400
	Only           string // the name of the watches that may do it; empty for any
	// Since is the day on which the item came on the list; the zero Date for those that were
	// on it from the first. An item moves none that came on an earlier day.
	Since Date
	// LastDone is the day of the watch that did it last; the zero Date when it was never
	// done. Its first turn then comes within a gap of the first day of the plan. A day that
	// has not come proves nothing and counts as never.
	LastDone Date
}

// Load is what one watch does of the items.
type Load struct {
	Watch   Watch
	Items   []string // ids, ascending
	Seconds int      // their work
}

// Late is an item that no watch can do in time: it is over its longest gap already, or will
// be before a watch comes that may do it. It stands in the load of the first that may.
type Late struct {
	ID        string
	Since     Date // when it was done before
	Done      Date // when it will be done
	GapDays   int  // the days between
	AllowDays int  // the days that were allowed
}

// Spread is which watch does which items.
type Spread struct {
	Loads []Load // of each coming watch, in order, also those with nothing to do
	Late  []Late // in the order of ids, then of days; empty when every gap is kept
}

// Spread shares the items out over the watches of which some part lies in [from, until).
// An item is done whenever its turn comes on a ring of 48 weeks: every day, some days of
// the week, or every week, 2, 4, 12, 24 or 48 weeks on the same weekday, whichever is the
// longest that its gap allows. The same items have the same turns on every day on which
// this is asked. One that was done early or late keeps its turns where its gap allows.
//
// When all items came on one day, have a longest gap of one day, or of a week and more, and
// any watch may do them, then no watch of the ring has more work than another by more than
// four thirds of the longest item.
func (c Calendar) Spread(items []Item, from, until time.Time) (Spread, error) {
	r, err := c.Ring(items)
	if err != nil {
		return Spread{}, err
	}
	return r.Over(from, until, func(i Item) Date { return i.LastDone }), nil
}

// Ring is items with their turns, which do not hang on when they were done. Make one with
// Calendar.Ring; it is never changed.
type Ring struct {
	calendar Calendar
	items    []Item // ascending by id
	turns    map[string]turns
}

// Ring gives items their turns. What is wrong with them is returned as a fault of the
// kind Invalid.
func (c Calendar) Ring(items []Item) (Ring, error) {
	if err := c.checkItems(items); err != nil {
		return Ring{}, err
	}
	sorted := slices.Clone(items)
	slices.SortFunc(sorted, func(a, b Item) int { return cmp.Compare(a.ID, b.ID) })
	return Ring{c, sorted, c.turns(sorted)}, nil
}

// Over is Calendar.Spread for the items of the ring; lastDone says of each what its
// LastDone is now.
func (r Ring) Over(from, until time.Time, lastDone func(Item) Date) Spread {
	c := r.calendar
	planned := len(c.Watches(from, until))
	if planned == 0 {
		return Spread{}
	}
	// The plan is made beyond its end, and cut, lest the end make a difference to it.
	var s Spread
	for _, w := range c.Watches(from, until.AddDate(0, 0, 4)) {
		s.Loads = append(s.Loads, Load{Watch: w})
	}
	over := c.over(from, s.Loads[0].Watch.On)
	for _, item := range r.items {
		item.LastDone = lastDone(item)
		if item.LastDone != (Date{}) && item.LastDone.DaysSince(DateAt(from, c.location)) > 1 {
			item.LastDone = Date{}
		}
		t := r.turns[item.ID]
		favourite := c.changes[t.change].Watch
		s.assign(item, planned, t, favourite, over[favourite])
	}
	s.Loads = s.Loads[:planned]
	return s
}

// turns gives each item its place on the ring: those that came first before later
// ones, for which they do not move; then shorter periods, since the longer ones find room between
// them; then longer work, since the short fills up what is uneven.
func (c Calendar) turns(items []Item) map[string]turns {
	order := slices.Clone(items)
	period := func(i Item) int { p, _ := patterns(i.LongestGapDays); return p }
	slices.SortFunc(order, func(a, b Item) int {
		return cmp.Or(cmp.Compare(a.Since.number(), b.Since.number()), cmp.Compare(period(a), period(b)),
			cmp.Compare(b.Seconds, a.Seconds), cmp.Compare(liking(a.ID, 0, -1), liking(b.ID, 0, -1)), cmp.Compare(a.ID, b.ID))
	})
	r, all := newRing(len(c.changes)), map[string]turns{}
	for _, item := range order {
		all[item.ID] = r.place(item, c.changesFor(item))
	}
	return all
}

func (c Calendar) changesFor(i Item) (which []int) {
	for n, change := range c.changes {
		if i.Only == "" || i.Only == change.Watch {
			which = append(which, n)
		}
	}
	return which
}

// anyWatch stands for whichever watch comes first.
const anyWatch = ""

// assign walks an item's turns from when it was last done to the end of the plan; over
// tells that the favourite watch of the plan's first day has been.
func (s *Spread) assign(item Item, planned int, t turns, favourite string, over bool) {
	first := s.Loads[0].Watch.On
	done, known := item.LastDone, item.LastDone != (Date{})
	if !known {
		done = first.Plus(-1)
	}
	for next := 0; ; next++ {
		turn, watch := t.firstFrom(first.number()), favourite
		if known {
			// Half a period beside its place it takes the nearest turn, if its gap allows;
			// for what comes round more often than weekly the gap decides alone. A turn that
			// was missed is made up for by the first watch that may.
			turn = t.lastUntil(done.number() + min(item.LongestGapDays, t.period*3/2))
			if turn < first.number() || turn == first.number() && over {
				turn, watch = first.number(), anyWatch
			}
		}
		if next = s.pick(next, item, done, turn, watch); next < 0 || next >= planned {
			return
		}
		load := &s.Loads[next]
		gap := load.Watch.On.DaysSince(done)
		if known && gap > item.LongestGapDays {
			s.Late = append(s.Late, Late{item.ID, done, load.Watch.On, gap, item.LongestGapDays})
		}
		load.Items = append(load.Items, item.ID)
		load.Seconds += item.Seconds
		done, known = load.Watch.On, true
	}
}

// over names the watches of a day that have ended by an instant. One that the clocks left
// no time for is not among them: nobody missed it.
func (c Calendar) over(by time.Time, on Date) map[string]bool {
	names := map[string]bool{}
	for _, w := range c.Watches(by.AddDate(0, 0, -3), by) {
		if w.On == on && !w.Ends.After(by) {
			names[w.Name] = true
		}
	}
	return names
}

// pick returns which of the loads, none before next, does an item at its turn: that of the
// watch of the day and the name; or else, when clocks or the beginning of the plan have
// left none, the latest until the turn and after it was done, or else the first one later.
// anyWatch is the first of all.
// It is negative when the turn lies beyond the plan.
func (s *Spread) pick(next int, item Item, done Date, turn int, watch string) int {
	if turn > s.Loads[len(s.Loads)-1].Watch.On.number() {
		return -1
	}
	found := -1
	for ; next < len(s.Loads); next++ {
		w := s.Loads[next].Watch
		if w.On.number() > turn && found >= 0 {
			return found
		}
		if w.On.number() <= done.number() || item.Only != "" && item.Only != w.Name {
			continue
		}
		found = next
		if watch == anyWatch || w.On.number() == turn && w.Name == watch {
			return found
		}
	}
	return found
}

func (c Calendar) checkItems(items []Item) error {
	seen := map[string]bool{}
	for _, i := range items {
		switch {
		case i.ID == "" || seen[i.ID]:
			return fault.New(fault.Invalid, "ITEM_NOT_UNIQUE", "the item id %q is empty or stands twice; each item needs its own", i.ID)
		case i.LongestGapDays < 1 || i.LongestGapDays > longestGapDays:
			return fault.New(fault.Invalid, "GAP_OUT_OF_RANGE", "%s may wait %d days at the longest; give 1 to 3660", i.ID, i.LongestGapDays)
		case i.Seconds < 0 || i.Seconds > secondsPerDay:
			return fault.New(fault.Invalid, "SECONDS_OUT_OF_RANGE", "%s takes %d s; give 0 to %d", i.ID, i.Seconds, secondsPerDay)
		case i.Since != (Date{}) && !i.Since.exists():
			return fault.New(fault.Invalid, "NO_SUCH_DAY", "%s came on the list on %s, which is no day of the calendar", i.ID, i.Since)
		case i.LastDone != (Date{}) && !i.LastDone.exists():
			return fault.New(fault.Invalid, "NO_SUCH_DAY", "%s was last done on %s, which is no day of the calendar", i.ID, i.LastDone)
		}
		if err := (EachWatch{Only: i.Only}).check(c); err != nil {
			return err
		}
		seen[i.ID] = true
	}
	return nil
}
