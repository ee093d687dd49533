// Package schedule is a fire station's calendar: when watches change, when a routine is
// due and from when it is overdue, which watch does which of the weekly and monthly
// items, and the feed that other calendars read. It also holds the timer of a wheel that
// was off.
//
//	Calendar, Watch      when watches change, in the station's zone
//	Routine, Due         Calendar.Next: due since, overdue from
//	Item, Ring, Spread   Calendar.Spread: items over the coming watches, evenly
//	Calendar.GapDays     the longest gap of an item, in days of watches
//	Feed                 the coming dues as iCalendar, RFC 5545
//	WheelFitted          the re-torque timer
//
// # What it promises
//
// The same input gives the same answer on every machine: no clock, no random number, no
// map is walked, and the zone is handed in. Nothing gets better by waiting: what is due
// becomes overdue, and only doing it, later than it fell due, clears it. Where something
// cannot be known (an odometer, when a thing was last done) the stricter answer is given
// and says so.
//
// # Local times that do not exist, or exist twice
//
// A wall clock's time is read as RFC 5545, section 3.3.5, reads it: one that occurs twice
// (autumn) means the first; one that does not occur (spring) is taken with the offset from
// before the gap, so 02:30 in a gap from 02:00 to 03:00 is what the clocks call 03:30.
// Lengths are elapsed time: a night watch from 18:00 to 09:00 lasts 14 h over the spring
// change and 16 h over the autumn one. Days ("every 7 days", "within 2 days") are days of
// the local calendar.
package schedule
