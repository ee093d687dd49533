package schedule_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"bayround/internal/schedule"
)

const grace = time.Hour // after the beginning of a watch, as the county's shift check has it

// The county's looks are good for 8 and 32 days, and its watches change twice a day: a week
// and a month fit in. An item of a week at a station that changes once a day has its week, too.
func TestGapDays(t *testing.T) {
	for _, tc := range []struct {
		source  string
		changes []string
		goodFor time.Duration
		want    int
	}{
		{"192 h less 12 h, grace and an hour: 178 h", []string{"07:30", "19:30"}, 192 * time.Hour, 7},
		{"768 h less 14 h: 754 h", []string{"07:30", "19:30"}, 768 * time.Hour, 31},
		{"192 h less 2 h: 190 h", []string{"08:00"}, 192 * time.Hour, 7},
		{"168 h cannot hold a week and an hour of grace", []string{"08:00"}, 168 * time.Hour, 6},
		{"never less than a day", []string{"08:00"}, 14 * time.Hour, 1},
	} {
		if got := changing(t, "Europe/London", tc.changes...).GapDays(tc.goodFor, grace); got != tc.want {
			t.Errorf("%s: %d days, want %d", tc.source, got, tc.want)
		}
	}
}

func TestDayOf_IsThatOfWatchAt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCalendar(t)
		now := drawInstant(t, c)
		day := c.DayOf(now)
		for range 20 {
			at := now.Add(-time.Duration(rapid.Int64Range(-int64(48*time.Hour), int64(60*24*time.Hour)).Draw(t, "ago")))
			if got, want := day(at), c.WatchAt(at).On; got != want {
				t.Fatalf("%v is of %v, want %v", at, got, want)
			}
		}
	})
}

// year plays a year of watches, each of which asks what is its share, and does it before
// its grace is over unless it misses it.
type year struct {
	t        interface{ Fatalf(string, ...any) }
	after    func() time.Duration // the beginning of a watch its share is done
	calendar schedule.Calendar
	ring     schedule.Ring
	goodFor  map[string]time.Duration
	looked   map[string]time.Time
	missed   map[string]bool // named to a watch that did not do it, and not done since
	missing  func(watch int) bool
}

func (y *year) play(from time.Time, watches int) {
	for n, w := range y.calendar.Watches(from, from.AddDate(0, 0, watches+2))[1:] {
		if n == watches {
			return
		}
		day := y.calendar.DayOf(w.Begins)
		lastDone := func(i schedule.Item) schedule.Date { return day(y.looked[i.ID]) }
		share := y.ring.Over(w.Begins, w.Begins.AddDate(0, 0, 1), lastDone).Loads[0].Items
		y.inTime(w, share)
		for id, missed := range y.missed {
			if missed && !slices.Contains(share, id) {
				y.t.Fatalf("%s was missed, and is not asked for by %v of %v", id, w.Name, w.On)
			}
		}
		at := w.Begins.Add(y.after())
		for _, id := range share {
			if y.missed[id] = y.missing(n); !y.missed[id] {
				y.looked[id] = at
			}
		}
	}
}

// inTime holds every gap: none ends before this watch's grace is over but of an item that
// is asked for, which then still holds unless it was asked for in vain before.
func (y *year) inTime(w schedule.Watch, share []string) {
	over := w.Begins.Add(grace)
	for id, at := range y.looked {
		switch ends := at.Add(y.goodFor[id]); {
		case !slices.Contains(share, id) && ends.Before(w.Ends):
			y.t.Fatalf("%s, good until %v, is not asked for by %v of %v", id, ends, w.Name, w.On)
		case slices.Contains(share, id) && ends.Before(over) && !y.missed[id]:
			y.t.Fatalf("%s was good until %v, and %v of %v is the first to be asked for it", id, ends, w.Name, w.On)
		}
	}
}

// newYear begins with looks at everything, each good for days of 24 hours.
func newYear(t interface{ Fatalf(string, ...any) }, c schedule.Calendar, from time.Time, goodForDays []int) *year {
	y := &year{t: t, calendar: c, goodFor: map[string]time.Duration{}, looked: map[string]time.Time{}, missed: map[string]bool{}}
	var items []schedule.Item
	for i, days := range goodForDays {
		id := fmt.Sprintf("TYR-%03d", i)
		y.goodFor[id], y.looked[id] = time.Duration(days)*24*time.Hour, from
		items = append(items, schedule.Item{ID: id, LongestGapDays: c.GapDays(y.goodFor[id], grace), Seconds: 60})
	}
	var err error
	if y.ring, err = c.Ring(items); err != nil {
		t.Fatalf("%v", err)
	}
	return y
}

// Whenever watches do their share no look is older than it is good for, and nothing falls
// due that was not asked for before. What watches miss is asked for by the very next one,
// and by each until it is done.
func TestRing_NothingFallsThrough(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCalendar(t)
		from := drawInstant(t, c)
		y := newYear(t, c, from, rapid.SliceOfN(rapid.SampledFrom([]int{3, 5, 8, 15, 32}), 1, 6).Draw(t, "good for days"))
		y.after = func() time.Duration { return time.Duration(rapid.Int64Range(0, int64(grace)).Draw(t, "after")) }
		misses := rapid.SliceOfN(rapid.Bool(), 0, 7).Draw(t, "misses")
		y.missing = func(n int) bool { return len(misses) > 0 && misses[n%len(misses)] }
		y.play(from, 40)
	})
}

// The same for a year of the county's watches, over both changes of the clocks, with each
// eleventh watch and one whole week missed.
func TestRing_AYearOfTheCounty(t *testing.T) {
	from, n := utc(t, "2026-01-05T07:30:00Z"), 0
	y := newYear(t, changing(t, "Europe/London", "07:30", "19:30"), from, []int{8, 8, 8, 8, 8, 8, 8, 32, 32, 32, 366})
	y.after = func() time.Duration { n += 1777; return time.Duration(n%3600) * time.Second }
	y.missing = func(n int) bool { return n%11 == 0 || n >= 300 && n < 314 }
	y.play(from, 730)
}
