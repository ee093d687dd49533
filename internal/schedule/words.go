package schedule

import (
	"time"
)

// Words says how a routine stands, with the times of the station's clocks and with the day,
// of what is overdue with the year, so that the words stay true until the state changes: "weekly check due Tue 3 Feb 18:00",
// "shift check due since Tue 3 Feb 07:30", "monthly check overdue, never done".
func (c Calendar) Words(title string, d Due) string {
	switch {
	case d.State == Quiet:
		return title + " not due"
	case d.At.IsZero():
		return title + " overdue, never done or nobody knows when" + because(d)
	case d.State == Coming:
		return title + " due " + c.clock(d.At)
	case d.State == InGrace:
		return title + " due since " + c.clock(d.At) + because(d) + ", overdue from " + c.clock(d.OverdueFrom)
	}
	return title + " overdue since " + c.shown(d.OverdueFrom, "Mon 2 Jan 2006 15:04") + because(d)
}

// clock writes an instant as the station's clocks show it.
func (c Calendar) clock(t time.Time) string { return c.shown(t, "Mon 2 Jan 15:04") }

// shown adds which time is meant where the clocks show it twice: 01:30 BST.
func (c Calendar) shown(t time.Time, layout string) string {
	if twice(t, c.location) {
		layout += " MST"
	}
	return t.In(c.location).Format(layout)
}

func because(d Due) string {
	words := map[EventKind]string{
		Repaired: " (after a repair)", Incident: " (after an incident)", Changed: " (after a change)", TakenFor: " (taken over)",
		Fitted: " (after a wheel was off)",
	}
	return words[d.Because]
}
