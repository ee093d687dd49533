package schedule_test

import (
	"slices"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // the transitions are Go's copy of the IANA data, on every machine

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"bayround/internal/fault"
	"bayround/internal/schedule"
)

func zone(t interface{ Fatalf(string, ...any) }, name string) *time.Location {
	in, err := time.LoadLocation(name)
	if err != nil {
		t.Fatalf("zone %s: %v", name, err)
	}
	return in
}

func utc(t interface{ Fatalf(string, ...any) }, text string) time.Time {
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		t.Fatalf("%v", err)
	}
	return at
}

func clock(text string) schedule.TimeOfDay {
	at, err := time.Parse("15:04", text)
	if err != nil {
		panic(err)
	}
	return schedule.TimeOfDay{Hour: at.Hour(), Minute: at.Minute()}
}

func day(text string) schedule.Date {
	at, err := time.Parse(time.DateOnly, text)
	if err != nil {
		panic(err)
	}
	return schedule.DateAt(at, time.UTC)
}

// changing is a calendar whose watches are named after the time they begin at.
func changing(t interface{ Fatalf(string, ...any) }, in string, at ...string) schedule.Calendar {
	var changes []schedule.Change
	for _, text := range at {
		changes = append(changes, schedule.Change{At: clock(text), Watch: text})
	}
	c, err := schedule.NewCalendar(zone(t, in), changes, schedule.Rota{})
	if err != nil {
		t.Fatalf("calendar: %v", err)
	}
	return c
}

// Each row is a transition of the IANA data (tzdata files europe, northamerica and
// australasia), written out from the law named there, or an example of RFC 5545.
func TestAt_LocalTimesAcrossPublishedTransitions(t *testing.T) {
	for _, tc := range []struct{ source, zone, date, clock, want string }{
		{"RFC 5545, 3.3.5, twice", "America/New_York", "2007-11-04", "01:30", "2007-11-04T05:30:00Z"},
		{"RFC 5545, 3.3.5, not at all", "America/New_York", "2007-03-11", "02:30", "2007-03-11T07:30:00Z"},
		{"Summer Time Order 2002: last Sunday of March, 01:00 GMT; before", "Europe/London", "2026-03-29", "00:59", "2026-03-29T00:59:00Z"},
		{"the same, in the gap's first minute", "Europe/London", "2026-03-29", "01:00", "2026-03-29T01:00:00Z"},
		{"the same, in the gap", "Europe/London", "2026-03-29", "01:30", "2026-03-29T01:30:00Z"},
		{"the same, after", "Europe/London", "2026-03-29", "02:00", "2026-03-29T01:00:00Z"},
		{"Summer Time Order 2002: last Sunday of October, 01:00 GMT; before", "Europe/London", "2026-10-25", "00:59", "2026-10-24T23:59:00Z"},
		{"the same, first minute that comes twice", "Europe/London", "2026-10-25", "01:00", "2026-10-25T00:00:00Z"},
		{"the same, last minute that comes twice", "Europe/London", "2026-10-25", "01:59", "2026-10-25T00:59:00Z"},
		{"the same, after", "Europe/London", "2026-10-25", "02:00", "2026-10-25T02:00:00Z"},
		{"Energy Policy Act of 2005: second Sunday of March, 02:00", "America/New_York", "2026-03-08", "02:30", "2026-03-08T07:30:00Z"},
		{"the same, after", "America/New_York", "2026-03-08", "03:00", "2026-03-08T07:00:00Z"},
		{"Energy Policy Act of 2005: first Sunday of November, 02:00", "America/New_York", "2026-11-01", "01:30", "2026-11-01T05:30:00Z"},
		{"the same, after", "America/New_York", "2026-11-01", "02:00", "2026-11-01T07:00:00Z"},
		{"tzdata LH: half an hour, first Sunday of October, 02:00; in the gap", "Australia/Lord_Howe", "2026-10-04", "02:15", "2026-10-03T15:45:00Z"},
		{"the same, after", "Australia/Lord_Howe", "2026-10-04", "02:30", "2026-10-03T15:30:00Z"},
		{"tzdata LH: first Sunday of April, 02:00; twice", "Australia/Lord_Howe", "2026-04-05", "01:45", "2026-04-04T14:45:00Z"},
		{"the same, after", "Australia/Lord_Howe", "2026-04-05", "02:00", "2026-04-04T15:30:00Z"},
		{"tzdata, Pacific/Apia: no 30 December 2011", "Pacific/Apia", "2011-12-30", "08:00", "2011-12-30T18:00:00Z"},
		{"the same, next day", "Pacific/Apia", "2011-12-31", "08:00", "2011-12-30T18:00:00Z"},
	} {
		t.Run(tc.source, func(t *testing.T) {
			if got := day(tc.date).At(clock(tc.clock), zone(t, tc.zone)); !got.Equal(utc(t, tc.want)) {
				t.Errorf("%s %s %s is %s, want %s", tc.zone, tc.date, tc.clock, got.UTC().Format(time.RFC3339), tc.want)
			}
		})
	}
}

var zones = []string{
	"Europe/London", "Europe/Dublin", "America/New_York", "Australia/Lord_Howe", "Pacific/Apia", "Asia/Kathmandu",
	"America/St_Johns", "Africa/Casablanca", "Asia/Gaza", "Antarctica/Troll", "UTC", "Pacific/Kiritimati", "America/Sao_Paulo",
}

// The oracle steps through every minute round the day and reads the clocks.
func TestAt_IsTheFirstInstantThatClocksShowIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := zone(t, rapid.SampledFrom(zones).Draw(t, "zone"))
		on, at := drawReading(t, in)
		got := on.At(at, in)
		shows := func(i time.Time) bool {
			h, m, _ := i.In(in).Clock()
			return schedule.DateAt(i, in) == on && h == at.Hour && m == at.Minute
		}
		midnight := time.Date(on.Year, on.Month, on.Day, at.Hour, at.Minute, 0, 0, time.UTC)
		for i := midnight.Add(-15 * time.Hour); i.Before(midnight.Add(15 * time.Hour)); i = i.Add(time.Minute) {
			if shows(i) {
				if !got.Equal(i) {
					t.Fatalf("%v %v: got %v, clocks first show it at %v", on, at, got, i.In(in))
				}
				return
			}
		}
		// In a gap: the instant is as long after the change as the reading is after the last one shown.
		_, before := got.Add(-26 * time.Hour).In(in).Zone()
		if want := midnight.Add(-time.Duration(before) * time.Second); !got.Equal(want) {
			t.Fatalf("%v %v is never shown: got %v, want it at the offset from before, %v", on, at, got, want.In(in))
		}
	})
}

// drawReading draws what clocks may read, half of it within two hours of a change of the clocks.
func drawReading(t *rapid.T, in *time.Location) (schedule.Date, schedule.TimeOfDay) {
	date := day("1996-01-01").Plus(rapid.IntRange(0, 14600).Draw(t, "days"))
	at := schedule.TimeOfDay{Hour: rapid.IntRange(0, 23).Draw(t, "hour"), Minute: rapid.IntRange(0, 59).Draw(t, "minute")}
	_, change := date.At(at, in).ZoneBounds()
	if change.IsZero() || rapid.Bool().Draw(t, "far from a change") {
		return date, at
	}
	_, offset := change.Add(-1).Zone()
	near := change.UTC().Add(time.Duration(offset)*time.Second + time.Duration(rapid.IntRange(-120, 120).Draw(t, "minutes off"))*time.Minute)
	return schedule.DateAt(near, time.UTC), schedule.TimeOfDay{Hour: near.Hour(), Minute: near.Minute()}
}

// Lengths are worked out by hand from the transitions of the table above.
func TestWatches_LengthsAcrossTheChangeOfClocks(t *testing.T) {
	for _, tc := range []struct {
		why, zone, from, until string
		changes                []string
		want                   []string
	}{
		{
			"London, spring: the night lasts 13 h", "Europe/London", "2026-03-28T12:00:00Z", "2026-03-29T12:00:00Z",
			[]string{"08:00", "18:00"},
			[]string{"2026-03-28 08:00 10h0m0s", "2026-03-28 18:00 13h0m0s", "2026-03-29 08:00 10h0m0s"},
		},
		{
			"London, autumn: the night lasts 15 h", "Europe/London", "2026-10-24T20:00:00Z", "2026-10-25T08:00:00Z",
			[]string{"08:00", "18:00"},
			[]string{"2026-10-24 18:00 15h0m0s"},
		},
		{
			"New York, spring: 10 h nights last 9", "America/New_York", "2026-03-08T04:00:00Z", "2026-03-08T05:00:00Z",
			[]string{"08:00", "22:00"},
			[]string{"2026-03-07 22:00 9h0m0s"},
		},
		{
			"New York, autumn: 10 h nights last 11", "America/New_York", "2026-11-01T04:00:00Z", "2026-11-01T05:00:00Z",
			[]string{"08:00", "22:00"},
			[]string{"2026-10-31 22:00 11h0m0s"},
		},
		{
			"Lord Howe, spring: half an hour less", "Australia/Lord_Howe", "2026-10-03T14:00:00Z", "2026-10-03T15:00:00Z",
			[]string{"08:00", "20:00"},
			[]string{"2026-10-03 20:00 11h30m0s"},
		},
		{
			"Lord Howe, autumn: half an hour more", "Australia/Lord_Howe", "2026-04-04T14:00:00Z", "2026-04-04T15:00:00Z",
			[]string{"08:00", "20:00"},
			[]string{"2026-04-04 20:00 12h30m0s"},
		},
		{
			"24 h watches: 23 h and 25 h", "Europe/London", "2026-03-28T12:00:00Z", "2026-03-28T12:00:01Z",
			[]string{"09:00"},
			[]string{"2026-03-28 09:00 23h0m0s"},
		},
		{
			"a change in the gap, overtaken by the next: no watch", "Europe/London", "2026-03-29T00:30:00Z", "2026-03-29T02:30:00Z",
			[]string{"01:15", "02:00"},
			[]string{"2026-03-28 02:00 23h0m0s", "2026-03-29 02:00 23h15m0s"},
		},
		{
			"a change in the hour that comes twice happens once", "Europe/London", "2026-10-25T00:00:00Z", "2026-10-25T03:00:00Z",
			[]string{"01:30", "13:30"},
			[]string{"2026-10-24 13:30 12h0m0s", "2026-10-25 01:30 13h0m0s"},
		},
		{
			"Samoa leaves out a day and its watch", "Pacific/Apia", "2011-12-29T20:00:00Z", "2011-12-30T20:00:00Z",
			[]string{"08:00"},
			[]string{"2011-12-29 08:00 24h0m0s", "2011-12-31 08:00 24h0m0s"},
		},
	} {
		t.Run(tc.why, func(t *testing.T) {
			var got []string
			for _, w := range changing(t, tc.zone, tc.changes...).Watches(utc(t, tc.from), utc(t, tc.until)) {
				got = append(got, w.On.String()+" "+w.Name+" "+w.Length().String())
			}
			if diff := cmp.Diff(tc.want, got); diff != "" {
				t.Errorf("watches (-want +got):\n%s", diff)
			}
		})
	}
}

func drawCalendar(t *rapid.T) schedule.Calendar {
	minutes := rapid.SliceOfNDistinct(rapid.OneOf(rapid.IntRange(0, 239), rapid.IntRange(0, 1439)), 1, 5, rapid.ID[int]).Draw(t, "changes")
	slices.Sort(minutes)
	var changes []schedule.Change
	for _, m := range minutes {
		at := schedule.TimeOfDay{Hour: m / 60, Minute: m % 60}
		changes = append(changes, schedule.Change{At: at, Watch: at.String()})
	}
	c, err := schedule.NewCalendar(zone(t, rapid.SampledFrom(zones).Draw(t, "zone")), changes, schedule.Rota{})
	if err != nil {
		t.Fatalf("calendar: %v", err)
	}
	return c
}

func drawInstant(t *rapid.T, c schedule.Calendar) time.Time {
	on, at := drawReading(t, c.Location())
	return on.At(at, c.Location()).Add(time.Duration(rapid.IntRange(-7200, 7200).Draw(t, "seconds")) * time.Second)
}

func TestWatches_TileTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCalendar(t)
		from := drawInstant(t, c)
		until := from.Add(time.Duration(rapid.IntRange(1, 10*24*3600).Draw(t, "length")) * time.Second)
		all := c.Watches(from, until)
		if len(all) == 0 || all[0].Begins.After(from) || all[len(all)-1].Ends.Before(until) {
			t.Fatalf("[%v, %v) is not covered by %v", from, until, all)
		}
		for i, w := range all {
			if !w.Ends.After(w.Begins) || !w.Ends.After(from) || !w.Begins.Before(until) {
				t.Fatalf("%v has no time in [%v, %v)", w, from, until)
			}
			if i > 0 && !all[i-1].Ends.Equal(w.Begins) {
				t.Fatalf("gap or overlap between %v and %v", all[i-1], w)
			}
		}
		// Any part of the stretch has the same watches in it: they do not depend on the question.
		at := from.Add(time.Duration(rapid.Int64Range(0, int64(until.Sub(from))-1).Draw(t, "at")))
		w := c.WatchAt(at)
		if w.Begins.After(at) || !w.Ends.After(at) || !slices.Contains(all, w) {
			t.Fatalf("at %v the watch is %v, which is none of %v", at, w, all)
		}
	})
}

func TestWatches_RotaGoesOnForEverBothWays(t *testing.T) {
	// Two days, two nights, four off, for four watches: common practice of UK wholetime stations.
	rota := schedule.Rota{Anchor: day("2026-11-02"), Days: [][]string{
		{"Red", "Green"},
		{"Red", "Green"},
		{"White", "Red"},
		{"White", "Red"},
		{"Blue", "White"},
		{"Blue", "White"},
		{"Green", "Blue"},
		{"Green", "Blue"},
	}}
	changes := []schedule.Change{{At: clock("08:00"), Watch: "day"}, {At: clock("18:00"), Watch: "night"}}
	c, err := schedule.NewCalendar(zone(t, "Europe/London"), changes, rota)
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct{ at, want string }{
		{"2026-11-02T07:59:59Z", "night Blue 2026-11-01"},
		{"2026-11-02T08:00:00Z", "day Red 2026-11-02"},
		{"2026-11-05T03:00:00Z", "night Red 2026-11-04"},
		{"2026-11-10T12:00:00Z", "day Red 2026-11-10"},
		{"2026-10-31T12:00:00Z", "day Green 2026-10-31"},
		{"2026-10-25T12:00:00Z", "day Red 2026-10-25"},
		{"2026-10-24T07:00:00Z", "day Green 2026-10-24"}, // summer time: 08:00 on the clock
	} {
		if w := c.WatchAt(utc(t, tc.at)); w.Name+" "+w.Crew+" "+w.On.String() != tc.want {
			t.Errorf("at %s: %s %s %s, want %s", tc.at, w.Name, w.Crew, w.On, tc.want)
		}
	}
}

func TestNewCalendar_RefusesWithTheReason(t *testing.T) {
	morning := []schedule.Change{{At: clock("08:00"), Watch: "day"}}
	for _, tc := range []struct {
		why     string
		in      *time.Location
		changes []schedule.Change
		rota    schedule.Rota
		want    string
	}{
		{"no zone", nil, morning, schedule.Rota{}, "time zone"},
		{"no change", time.UTC, nil, schedule.Rota{}, "at least one time"},
		{"24:00", time.UTC, []schedule.Change{{At: schedule.TimeOfDay{Hour: 24}}}, schedule.Rota{}, "24:00 is no time of day"},
		{"twice", time.UTC, []schedule.Change{morning[0], {At: clock("08:00"), Watch: "dawn"}}, schedule.Rota{}, "order changes"},
		{"one name for two", time.UTC, []schedule.Change{morning[0], {At: clock("18:00"), Watch: "day"}}, schedule.Rota{}, "call each watch"},
		{"no name", time.UTC, []schedule.Change{{At: clock("18:00")}}, schedule.Rota{}, "call each watch"},
		{"no anchor", time.UTC, morning, schedule.Rota{Days: [][]string{{"Red"}}}, "rota's anchor"},
		{"31 April", time.UTC, morning, schedule.Rota{Anchor: schedule.Date{Year: 2026, Month: 4, Day: 31}, Days: [][]string{{"Red"}}}, "2026-04-31"},
		{"short row", time.UTC, morning, schedule.Rota{Anchor: day("2026-04-01"), Days: [][]string{{"Red"}, {}}}, "day 2 of the rota names 0 turns"},
	} {
		_, err := schedule.NewCalendar(tc.in, tc.changes, tc.rota)
		if !fault.Is(err, fault.Invalid) || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: %v, want a refusal that says %q", tc.why, err, tc.want)
		}
	}
}
