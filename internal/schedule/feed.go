package schedule

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strconv"
	"time"

	"bayround/internal/fault"
)

// Feed is a calendar that others subscribe to: the coming dues, one event each.
//
// Instants are written in UTC (RFC 5545, section 3.3.5, form 2), with no VTIMEZONE: readers
// show them in their own zone, and the station, which knows its zone, has worked out each
// due by itself. A zone would be needed only for a rule of recurrence that the reader had
// to carry on; there is none, because what is due next depends on what was done.
type Feed struct {
	Name   string    // what readers call the calendar
	Domain string    // end of every UID, a host or other name that nobody else uses: not empty
	Stamp  time.Time // DTSTAMP: when the feed was made
	Events []FeedEvent
}

// FeedEvent is one due in a feed. Times are whole seconds, in the years 1 to 9999; parts of
// a second are cut off.
type FeedEvent struct {
	// Key names the due for ever, say vehicle, routine and day; not empty. The UID is made
	// of it, so the same due keeps its UID when its time or words change.
	Key         string
	Sequence    int       // how often what the event says was changed; see Revise
	Starts      time.Time // when it falls due
	Ends        time.Time // when it is overdue; zero or not after Starts means an event without length
	Summary     string
	Description string // may have several lines; empty for none
	Cancelled   bool   // it is due no more; readers that keep events take it out
}

// UID returns the identifier of the event under a key: 32 hexadecimal digits, the beginning
// of the key's SHA-256, and the feed's domain. It tells nobody what the key says.
func (f Feed) UID(key string) string {
	sum := sha256.Sum256([]byte(key))
	return hex.EncodeToString(sum[:16]) + "@" + Writable(f.Domain)
}

// Revise returns the events with the sequences they must have after those of the feed
// before (RFC 5545, section 3.8.7.4): one that says something else than before gets the next
// number, and one that is gone is cancelled, under the next number. Cancelled ones are kept;
// the caller drops them when no reader can have them any more. Keys must not repeat.
func Revise(before, now []FeedEvent) []FeedEvent {
	old := map[string]FeedEvent{}
	for _, e := range before {
		old[e.Key] = e
	}
	revised := slices.Clone(now)
	for i, e := range revised {
		was, known := old[e.Key]
		delete(old, e.Key)
		revised[i].Sequence = was.Sequence
		if known && !e.says(was) {
			revised[i].Sequence++
		}
	}
	for _, e := range before { // in their order
		if _, gone := old[e.Key]; !gone {
			continue
		}
		if !e.Cancelled {
			e.Cancelled = true
			e.Sequence++
		}
		revised = append(revised, e)
	}
	return revised
}

func (e FeedEvent) says(what FeedEvent) bool {
	return dateTime(e.Starts) == dateTime(what.Starts) && dateTime(e.Ends) == dateTime(what.Ends) && e.Cancelled == what.Cancelled &&
		Writable(e.Summary) == Writable(what.Summary) && Writable(e.Description) == Writable(what.Description)
}

// Write returns the feed as a VCALENDAR, RFC 5545, its events in the order of their starts.
// It refuses, as a fault of the kind Invalid, a feed without a domain, a key that is empty or
// stands twice, a negative sequence, and times that four digits of year cannot say. A feed
// without events is refused with the kind NotFound: RFC 5545, section 3.6, wants at least one.
func (f Feed) Write() (string, error) {
	if err := f.check(); err != nil {
		return "", err
	}
	events := slices.Clone(f.Events)
	slices.SortFunc(events, func(a, b FeedEvent) int { return cmp.Or(a.Starts.Compare(b.Starts), cmp.Compare(a.Key, b.Key)) })
	var l contentLines
	l.add("BEGIN", "VCALENDAR")
	l.add("VERSION", "2.0")
	l.add("PRODID", "-//Bayround//Station calendar//EN")
	l.addText("NAME", f.Name) // RFC 7986, section 5.1
	for _, e := range events {
		f.writeEvent(&l, e)
	}
	l.add("END", "VCALENDAR")
	return l.b.String(), nil
}

func (f Feed) writeEvent(l *contentLines, e FeedEvent) {
	l.add("BEGIN", "VEVENT")
	l.addText("UID", f.UID(e.Key))
	l.add("DTSTAMP", dateTime(f.Stamp))
	l.add("SEQUENCE", strconv.Itoa(e.Sequence))
	l.add("DTSTART", dateTime(e.Starts))
	if dateTime(e.Ends) > dateTime(e.Starts) { // DTEND must be later, section 3.8.2.2
		l.add("DTEND", dateTime(e.Ends))
	}
	l.addText("SUMMARY", e.Summary)
	if e.Description != "" {
		l.addText("DESCRIPTION", e.Description)
	}
	if e.Cancelled {
		l.add("STATUS", "CANCELLED")
	}
	l.add("TRANSP", "TRANSPARENT") // a due keeps nobody from other appointments
	l.add("END", "VEVENT")
}

func (f Feed) check() error {
	if f.Domain == "" {
		return fault.New(fault.Invalid, "NO_DOMAIN", "a feed needs a domain, which makes its UIDs its own")
	}
	if len(f.Events) == 0 {
		return fault.New(fault.NotFound, "NOTHING_DUE", "nothing is due in that time, and a calendar holds at least one event")
	}
	if !writes(f.Stamp) {
		return fault.New(fault.Invalid, "NO_SUCH_TIME", "the feed has no stamp in the years 1 to 9999")
	}
	keys := map[string]bool{}
	for _, e := range f.Events {
		switch {
		case e.Key == "" || keys[e.Key]:
			return fault.New(fault.Invalid, "KEY_NOT_UNIQUE", "the key %q is empty or stands twice; each event needs its own", e.Key)
		case e.Sequence < 0:
			return fault.New(fault.Invalid, "NEGATIVE_SEQUENCE", "the sequence of %q is %d; it counts from 0", e.Key, e.Sequence)
		case !writes(e.Starts), !e.Ends.IsZero() && !writes(e.Ends):
			return fault.New(fault.Invalid, "NO_SUCH_TIME", "%q has no start, or lies outside the years 1 to 9999", e.Key)
		}
		keys[e.Key] = true
	}
	return nil
}

func writes(t time.Time) bool { return !t.IsZero() && t.UTC().Year() >= 1 && t.UTC().Year() <= 9999 }

// dateTime writes an instant as RFC 5545, section 3.3.5, form 2.
func dateTime(t time.Time) string {
	t = t.UTC()
	return fmt.Sprintf("%04d%02d%02dT%02d%02d%02dZ", t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second())
}
