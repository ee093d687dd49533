package schedule

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// clocksChange is the most by which a change of the clocks makes a day longer. The zones
// in use change by an hour at the most (IANA time zone database, release 2025b).
const clocksChange = time.Hour

// GapDays is the longest gap of an item, in days of watches, whose look is good for a
// time, when each watch does its share before the grace after its beginning is over: the
// time less what of a day the watches' beginnings lie apart, grace and a change of the
// clocks; at least 1.
func (c Calendar) GapDays(goodFor, grace time.Duration) int {
	apart := time.Duration(c.changes[len(c.changes)-1].At.minutes()-c.changes[0].At.minutes()) * time.Minute
	days := int((goodFor - apart - grace - clocksChange) / (24 * time.Hour))
	return min(max(days, 1), longestGapDays)
}

// DayOf returns on which day the watch began to which each instant belongs. It is quicker
// than WatchAt for many instants of the last 40 days before now.
func (c Calendar) DayOf(now time.Time) func(time.Time) Date {
	const back = 40
	all := c.Watches(now.AddDate(0, 0, -back), now.Add(ClockSkew))
	return func(t time.Time) Date {
		if t.Before(all[0].Begins) || !t.Before(all[len(all)-1].Ends) {
			return c.WatchAt(t).On
		}
		at, found := slices.BinarySearchFunc(all, t, func(w Watch, t time.Time) int { return w.Begins.Compare(t) })
		if !found {
			at--
		}
		return all[at].On
	}
}

// ShareWords says how a routine stands that is shared out over the watches, and how many
// of its items this watch has left of its share.
func (c Calendar) ShareWords(title string, d Due, items int) string {
	left := fmt.Sprintf("%d items of it this watch", items)
	if items == 1 {
		left = "1 item of it this watch"
	}
	switch {
	case d.State == Overdue && items > 0:
		return c.Words(title, d) + ", " + left
	case d.State == InGrace && items > 0:
		return title + ": " + left + ", overdue from " + c.clock(d.OverdueFrom)
	case d.State == Coming:
		return strings.Replace(c.Words(title, d), " due ", " goes on ", 1)
	}
	return c.Words(title, d)
}
