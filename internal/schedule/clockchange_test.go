package schedule_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	emersion "github.com/emersion/go-ical"
	"pgregory.net/rapid"

	"bayround/internal/schedule"
)

// changingZones are places whose clocks were changed in every manner that the IANA time
// zone database knows since 1973: by one hour, half an hour, twenty minutes and a day, at
// midnight, twice a year and four times, backwards in summer, and for good.
var changingZones = []string{
	"Africa/Cairo", "Africa/Casablanca", "Africa/El_Aaiun", "Africa/Johannesburg", "Africa/Juba", "Africa/Tripoli", "Africa/Windhoek",
	"America/Adak", "America/Argentina/San_Luis", "America/Asuncion", "America/Bogota", "America/Caracas", "America/Chicago", "America/Havana",
	"America/Lima", "America/Los_Angeles", "America/Mexico_City", "America/Montevideo", "America/New_York", "America/Nuuk", "America/Phoenix",
	"America/Regina", "America/Santiago", "America/Sao_Paulo", "America/Scoresbysund", "America/St_Johns", "Antarctica/Casey", "Antarctica/Macquarie",
	"Antarctica/Troll", "Asia/Almaty", "Asia/Amman", "Asia/Baghdad", "Asia/Beirut", "Asia/Damascus", "Asia/Dhaka", "Asia/Gaza", "Asia/Jerusalem",
	"Asia/Kabul", "Asia/Kathmandu", "Asia/Kolkata", "Asia/Pyongyang", "Asia/Seoul", "Asia/Tbilisi", "Asia/Tehran", "Asia/Tokyo", "Asia/Ulaanbaatar",
	"Atlantic/Azores", "Atlantic/Canary", "Atlantic/Stanley", "Australia/Adelaide", "Australia/Eucla", "Australia/Lord_Howe", "Australia/Sydney",
	"Europe/Athens", "Europe/Dublin", "Europe/Istanbul", "Europe/Kyiv", "Europe/Lisbon", "Europe/London", "Europe/Moscow", "Europe/Paris",
	"Europe/Volgograd", "Europe/Warsaw", "Indian/Mauritius", "Pacific/Apia", "Pacific/Auckland", "Pacific/Chatham", "Pacific/Easter", "Pacific/Fiji",
	"Pacific/Honolulu", "Pacific/Kiritimati", "Pacific/Kwajalein", "Pacific/Norfolk", "Pacific/Tongatapu", "UTC",
}

// shownOnce is the oracle: it reads the clocks of a place minute by minute in (from, until)
// and notes when each day first shows a time; a time that is leapt over comes as long after
// the leap as it lies behind it (RFC 5545, section 3.3.5). Days that are leapt over whole
// fall together with the next.
func shownOnce(in *time.Location, from, until time.Time, at schedule.TimeOfDay) (instants []time.Time) {
	reads := func(i time.Time) time.Time { // as though it were UTC
		_, offset := i.In(in).Zone()
		return i.UTC().Add(time.Duration(offset) * time.Second)
	}
	seen := map[string]bool{}
	for i := from.Add(-24 * time.Hour); i.Before(until); i = i.Add(time.Minute) {
		for reading := reads(i.Add(-time.Minute)).Add(time.Minute); !reading.After(reads(i)); reading = reading.Add(time.Minute) {
			late := time.Duration(0)
			if reading.Before(reads(i)) {
				late = reading.Sub(reads(i.Add(-time.Minute)).Add(time.Minute))
			}
			if reading.Hour() != at.Hour || reading.Minute() != at.Minute || seen[reading.Format(time.DateOnly)] {
				continue
			}
			seen[reading.Format(time.DateOnly)] = true
			if due := i.Add(late); due.After(from) && due.Before(until) {
				instants = append(instants, due)
			}
		}
	}
	slices.SortFunc(instants, time.Time.Compare)
	return slices.CompactFunc(instants, time.Time.Equal)
}

// What comes round each day or watch is due once and only once on every day, whatever is
// done to the clocks, and whether it is asked for at once or piece by piece; a general reader
// of iCalendar finds the same instants in the feed. The clocks are Go's copy of the IANA time
// zone database, 1973 to 2037.
func TestDues_ComeOnceOverEveryChangeOfTheClocks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := zone(t, rapid.SampledFrom(changingZones).Draw(t, "zone"))
		change := day("1973-01-02").At(schedule.TimeOfDay{}, in).AddDate(0, 0, rapid.IntRange(0, 64*365).Draw(t, "days"))
		if _, next := change.ZoneBounds(); !next.IsZero() && next.UTC().Year() < 2038 { // where the data ends is no change
			change = next
		}
		_, offset := change.Add(-1).Zone()
		near := change.UTC().Add(time.Duration(offset)*time.Second + time.Duration(rapid.IntRange(-90, 90).Draw(t, "minutes off"))*time.Minute)
		at := schedule.TimeOfDay{Hour: near.Hour(), Minute: near.Minute()}
		from := change.Add(-time.Duration(rapid.IntRange(1, 60).Draw(t, "hours before")) * time.Hour)
		until := change.Add(time.Duration(rapid.IntRange(1, 60).Draw(t, "hours after")) * time.Hour)
		want := shownOnce(in, from, until, at)

		c, err := schedule.NewCalendar(in, []schedule.Change{{At: at, Watch: "day"}}, schedule.Rota{})
		if err != nil {
			t.Fatal(err)
		}
		for _, on := range []schedule.Occasion{schedule.Daily{At: at}, schedule.EachWatch{}} {
			r := schedule.Routine{On: on, Grace: schedule.Span{Exact: time.Hour}}
			dues, err := c.Dues(r, schedule.Past{LastDone: from}, from, until)
			if err != nil {
				t.Fatal(err)
			}
			holdInstants(t, "at once", instantsOf(dues), want)
			for i, due := range dues {
				if graced := due.OverdueFrom.Sub(due.At); graced != time.Hour && (i+1 == len(dues) || !due.OverdueFrom.Equal(dues[i+1].At)) {
					t.Fatalf("due %v has %v of grace", due.At, graced)
				}
			}
			holdInstants(t, "piece by piece", oneByOne(t, c, r, from, until), want)
			holdInstants(t, "in the feed", readBack(t, dues), want)
		}
	})
}

// oneByOne does a routine as soon as it is due, and asks again.
func oneByOne(t *rapid.T, c schedule.Calendar, r schedule.Routine, done, until time.Time) (all []time.Time) {
	for {
		due, err := c.Next(r, schedule.Past{LastDone: done}, done)
		if err != nil {
			t.Fatal(err)
		}
		if !due.At.Before(until) {
			return all
		}
		done = due.At
		all = append(all, done)
	}
}

// readBack writes a feed and reads it with a general library.
func readBack(t *rapid.T, dues []schedule.Due) (all []time.Time) {
	if len(dues) == 0 {
		return nil
	}
	feed := schedule.Feed{Name: "changes", Domain: "wendmoor.example", Stamp: dues[0].At}
	for _, due := range dues {
		feed.Events = append(feed.Events, schedule.FeedEvent{Key: due.At.UTC().String(), Starts: due.At, Ends: due.OverdueFrom, Summary: "x"})
	}
	calendar, err := emersion.NewDecoder(strings.NewReader(written(t, feed))).Decode()
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range calendar.Events() {
		at, err := e.DateTimeStart(time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, at)
	}
	return all
}

func instantsOf(dues []schedule.Due) (all []time.Time) {
	for _, due := range dues {
		all = append(all, due.At)
	}
	return all
}

func holdInstants(t *rapid.T, how string, got, want []time.Time) {
	if !slices.EqualFunc(got, want, time.Time.Equal) {
		t.Fatalf("%s: due at %v, want %v", how, got, want)
	}
}

// Which of two is meant is said where the clocks show a time twice, and nowhere else (the
// hours are those of the Summer Time Order 2002; BST and GMT as the IANA database writes them).
func TestWords_SayWhichTimeIsMeant(t *testing.T) {
	c := changing(t, "Europe/London", "01:30")
	for _, tc := range []struct{ at, want string }{
		{"2026-10-24T23:59:00Z", "check due Sun 25 Oct 00:59"},
		{"2026-10-25T00:30:00Z", "check due Sun 25 Oct 01:30 BST"},
		{"2026-10-25T01:30:00Z", "check due Sun 25 Oct 01:30 GMT"},
		{"2026-10-25T02:00:00Z", "check due Sun 25 Oct 02:00"},
		{"2026-03-29T01:30:00Z", "check due Sun 29 Mar 02:30"},
	} {
		if got := c.Words("check", schedule.Due{State: schedule.Coming, At: utc(t, tc.at)}); got != tc.want {
			t.Errorf("%s: %q, want %q", tc.at, got, tc.want)
		}
	}
}
