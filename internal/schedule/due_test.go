package schedule_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/teambition/rrule-go"
	"pgregory.net/rapid"

	"bayround/internal/fault"
	"bayround/internal/schedule"
)

// nextDues are the local times at which a routine is due, each done when it fell due.
func nextDues(t *testing.T, c schedule.Calendar, on schedule.Occasion, since time.Time, n int) (got []string) {
	t.Helper()
	past := schedule.Past{InForceSince: since}
	for range n {
		due, err := c.Next(schedule.Routine{On: on}, past, since)
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, due.At.In(c.Location()).Format("2006-01-02 15:04 MST"))
		past.LastDone = due.At
		since = due.At
	}
	return got
}

// The examples of RFC 5545, section 3.8.5.3, whose rules a routine can have, with the
// results printed there. All begin at 09:00 in New York.
func TestNext_ExamplesOfRFC5545(t *testing.T) {
	at := clock("09:00")
	c := changing(t, "America/New_York", "09:00")
	for _, tc := range []struct {
		example string
		on      schedule.Occasion
		start   string
		want    []string
	}{
		{"Every day until December 24, 1997 (about the change of clocks)", schedule.Daily{At: at}, "1997-10-25T13:00:00Z", []string{
			"1997-10-25 09:00 EDT", "1997-10-26 09:00 EST", "1997-10-27 09:00 EST",
		}},
		{"Every 10 days, 5 occurrences", schedule.EveryDays{Days: 10, At: at}, "1997-09-02T13:00:00Z", []string{
			"1997-09-02 09:00 EDT", "1997-09-12 09:00 EDT", "1997-09-22 09:00 EDT", "1997-10-02 09:00 EDT", "1997-10-12 09:00 EDT",
		}},
		{"Weekly for 10 occurrences", schedule.Weekly{On: time.Tuesday, At: at}, "1997-09-02T13:00:00Z", []string{
			"1997-09-02 09:00 EDT", "1997-09-09 09:00 EDT", "1997-09-16 09:00 EDT", "1997-09-23 09:00 EDT", "1997-09-30 09:00 EDT",
			"1997-10-07 09:00 EDT", "1997-10-14 09:00 EDT", "1997-10-21 09:00 EDT", "1997-10-28 09:00 EST", "1997-11-04 09:00 EST",
		}},
		{"Monthly on the first Friday for 10 occurrences", schedule.MonthlyOnWeekday{Nth: 1, On: time.Friday, At: at}, "1997-09-05T13:00:00Z", []string{
			"1997-09-05 09:00 EDT", "1997-10-03 09:00 EDT", "1997-11-07 09:00 EST", "1997-12-05 09:00 EST", "1998-01-02 09:00 EST",
			"1998-02-06 09:00 EST", "1998-03-06 09:00 EST", "1998-04-03 09:00 EST", "1998-05-01 09:00 EDT", "1998-06-05 09:00 EDT",
		}},
		{"Monthly on the second-to-last Monday of the month for 6 months", schedule.MonthlyOnWeekday{Nth: -2, On: time.Monday, At: at}, "1997-09-22T13:00:00Z", []string{
			"1997-09-22 09:00 EDT", "1997-10-20 09:00 EDT", "1997-11-17 09:00 EST", "1997-12-22 09:00 EST", "1998-01-19 09:00 EST", "1998-02-16 09:00 EST",
		}},
		{"Monthly on the third-to-the-last day of the month, forever", schedule.MonthlyOnDay{Day: -3, At: at}, "1997-09-28T13:00:00Z", []string{
			"1997-09-28 09:00 EDT", "1997-10-29 09:00 EST", "1997-11-28 09:00 EST", "1997-12-29 09:00 EST", "1998-01-29 09:00 EST", "1998-02-26 09:00 EST",
		}},
	} {
		t.Run(tc.example, func(t *testing.T) {
			if diff := cmp.Diff(tc.want, nextDues(t, c, tc.on, utc(t, tc.start), len(tc.want))); diff != "" {
				t.Errorf("due (-want +got):\n%s", diff)
			}
		})
	}
}

// Where RFC 5545 would leave a month out we take its last day; the days are the calendar's.
func TestNext_ShortMonthsHaveTheirLastDay(t *testing.T) {
	want := []string{"2027-12-31 08:00 GMT", "2028-01-31 08:00 GMT", "2028-02-29 08:00 GMT", "2028-03-31 08:00 BST", "2028-04-30 08:00 BST"}
	got := nextDues(t, changing(t, "Europe/London", "08:00"), schedule.MonthlyOnDay{Day: 31, At: clock("08:00")}, utc(t, "2027-12-01T00:00:00Z"), 5)
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("due (-want +got):\n%s", diff)
	}
}

// The oracle is github.com/teambition/rrule-go, asked in UTC, where no clock is put back.
func TestNext_AgreesWithAnotherLibrarysRecurrences(t *testing.T) {
	weekdays := []rrule.Weekday{rrule.SU, rrule.MO, rrule.TU, rrule.WE, rrule.TH, rrule.FR, rrule.SA}
	rapid.Check(t, func(t *rapid.T) {
		c := changing(t, "UTC", "08:00")
		at := schedule.TimeOfDay{Hour: rapid.IntRange(0, 23).Draw(t, "hour"), Minute: rapid.IntRange(0, 59).Draw(t, "minute")}
		since := day("1999-01-01").At(schedule.TimeOfDay{}, time.UTC).Add(time.Duration(rapid.IntRange(0, 40*365*24*3600).Draw(t, "since")) * time.Second)
		weekday := time.Weekday(rapid.IntRange(0, 6).Draw(t, "weekday"))
		options := rrule.ROption{Dtstart: since.Truncate(24*time.Hour).AddDate(0, 0, -40), Byhour: []int{at.Hour}, Byminute: []int{at.Minute}, Bysecond: []int{0}}
		var on schedule.Occasion
		switch rapid.IntRange(0, 3).Draw(t, "kind") {
		case 0:
			on, options.Freq = schedule.Daily{At: at}, rrule.DAILY
		case 1:
			on, options.Freq, options.Byweekday = schedule.Weekly{On: weekday, At: at}, rrule.WEEKLY, []rrule.Weekday{weekdays[weekday]}
		case 2:
			nth := rapid.SampledFrom([]int{1, 2, 3, 4, -1, -2, -3, -4}).Draw(t, "nth")
			on, options.Freq = schedule.MonthlyOnWeekday{Nth: nth, On: weekday, At: at}, rrule.MONTHLY
			nthWeekday := weekdays[weekday]
			options.Byweekday = []rrule.Weekday{nthWeekday.Nth(nth)}
		default:
			number := rapid.OneOf(rapid.IntRange(1, 28), rapid.IntRange(-28, -1)).Draw(t, "day")
			on, options.Freq, options.Bymonthday = schedule.MonthlyOnDay{Day: number, At: at}, rrule.MONTHLY, []int{number}
		}
		rule, err := rrule.NewRRule(options)
		if err != nil {
			t.Fatal(err)
		}
		due, err := c.Next(schedule.Routine{On: on}, schedule.Past{LastDone: since}, since)
		if want := rule.After(since, false); err != nil || !due.At.Equal(want) {
			t.Fatalf("%+v after %v: %v, %v; the library says %v", on, since, due.At, err, want)
		}
	})
}

// Expected values follow from the words of the doc comments; the clocks are London's.
func TestNext_SaysDueSinceAndOverdueFrom(t *testing.T) {
	watches := schedule.Routine{On: schedule.EachWatch{}, Grace: schedule.Span{Exact: time.Hour}}
	days := schedule.Routine{On: schedule.EachWatch{Only: "08:00"}, Grace: schedule.Span{Exact: time.Hour}}
	weekly := schedule.Routine{On: schedule.Weekly{On: time.Monday, At: clock("08:00")}, Grace: schedule.Span{Days: 2}}
	slack := schedule.Routine{On: weekly.On, Grace: schedule.Span{Days: 30}}
	ten := schedule.Routine{On: schedule.EveryDays{Days: 10, At: clock("08:00")}, Grace: schedule.Span{Days: 1}}
	repair := schedule.Routine{On: schedule.AfterEvent{Kinds: []schedule.EventKind{schedule.Repaired, schedule.Incident}}}
	stood := schedule.Routine{On: schedule.AfterStanding{Longer: 7 * 24 * time.Hour}} // job description A5: standing > 7 days
	event := func(kind schedule.EventKind, at string) schedule.Event {
		if at == "" {
			return schedule.Event{Kind: kind}
		}
		return schedule.Event{Kind: kind, At: utc(t, at)}
	}
	for _, tc := range []struct {
		why           string
		routine       schedule.Routine
		inForce, done string
		events        []schedule.Event
		now, want     string
	}{
		{"done in this watch, due in the next", watches, "", "2026-11-02T08:10:00Z", nil, "2026-11-02T12:00:00Z", "coming 2026-11-02T18:00:00Z 2026-11-02T19:00:00Z"},
		{"in grace", watches, "", "2026-11-02T08:10:00Z", nil, "2026-11-02T18:59:59Z", "due 2026-11-02T18:00:00Z 2026-11-02T19:00:00Z"},
		{"over grace, at the instant", watches, "", "2026-11-02T08:10:00Z", nil, "2026-11-02T19:00:00Z", "overdue 2026-11-02T18:00:00Z 2026-11-02T19:00:00Z"},
		{"missed thrice: since the first", watches, "", "2026-11-02T08:10:00Z", nil, "2026-11-04T07:00:00Z", "overdue 2026-11-02T18:00:00Z 2026-11-02T19:00:00Z"},
		{"only the day watch", days, "", "2026-11-02T08:10:00Z", nil, "2026-11-02T20:00:00Z", "coming 2026-11-03T08:00:00Z 2026-11-03T09:00:00Z"},
		{"weekly, over the change of clocks: grace in days of the calendar", weekly, "", "2026-10-20T10:00:00Z", nil, "2026-10-24T12:00:00Z", "coming 2026-10-26T08:00:00Z 2026-10-28T08:00:00Z"},
		{"weekly, done late, keeps its weekday", weekly, "", "2026-11-05T10:00:00Z", nil, "2026-11-05T12:00:00Z", "coming 2026-11-09T08:00:00Z 2026-11-11T08:00:00Z"},
		{"grace ends where it is due again", slack, "", "2026-11-03T10:00:00Z", nil, "2026-11-16T08:00:00Z", "overdue 2026-11-09T08:00:00Z 2026-11-16T08:00:00Z"},
		{"never done: from when it came into force", weekly, "2026-11-04T00:00:00Z", "", nil, "2026-11-04T12:00:00Z", "coming 2026-11-09T08:00:00Z 2026-11-11T08:00:00Z"},
		{"in force at the very instant", weekly, "2026-11-09T08:00:00Z", "", nil, "2026-11-09T08:00:00Z", "due 2026-11-09T08:00:00Z 2026-11-11T08:00:00Z"},
		{"never done, and nobody knows since when", weekly, "", "", nil, "2026-11-04T12:00:00Z", "overdue - -"},
		{"every ten days: from the doing", ten, "2026-01-01T00:00:00Z", "2026-11-03T22:00:00Z", nil, "2026-11-04T12:00:00Z", "coming 2026-11-13T08:00:00Z 2026-11-14T08:00:00Z"},
		{"every ten days, never done: at once", ten, "2026-11-01T00:00:00Z", "", nil, "2026-11-04T12:00:00Z", "overdue 2026-11-01T00:00:00Z 2026-11-02T00:00:00Z"},
		{"done by a clock two minutes ahead", weekly, "2026-11-02T00:00:00Z", "2026-11-03T10:02:00Z", nil, "2026-11-03T10:00:00Z", "coming 2026-11-09T08:00:00Z 2026-11-11T08:00:00Z"},
		{"done in the future: not believed", weekly, "2026-11-02T00:00:00Z", "2026-11-30T10:00:00Z", nil, "2026-11-03T10:00:00Z", "due 2026-11-02T08:00:00Z 2026-11-04T08:00:00Z disbelieved"},
		{"no event", repair, "", "2026-11-03T10:00:00Z", []schedule.Event{event(schedule.Ran, "2026-11-03T11:00:00Z")}, "2026-11-03T12:00:00Z", "quiet - -"},
		{"repair, covered by the doing after it", repair, "", "2026-11-03T10:00:00Z", []schedule.Event{event(schedule.Repaired, "2026-11-03T09:00:00Z")}, "2026-11-03T12:00:00Z", "quiet - -"},
		{"repair of the same instant: stricter", repair, "", "2026-11-03T10:00:00Z", []schedule.Event{event(schedule.Repaired, "2026-11-03T10:00:00Z")}, "2026-11-03T12:00:00Z", "overdue 2026-11-03T10:00:00Z 2026-11-03T10:00:00Z repair"},
		{
			"two events: the first", repair, "", "",
			[]schedule.Event{event(schedule.Repaired, "2026-11-03T09:00:00Z"), event(schedule.Incident, "2026-11-02T09:00:00Z")},
			"2026-11-03T12:00:00Z", "overdue 2026-11-02T09:00:00Z 2026-11-02T09:00:00Z incident",
		},
		{"an event of which nobody knows when", repair, "", "2026-11-03T10:00:00Z", []schedule.Event{event(schedule.Incident, "")}, "2026-11-03T12:00:00Z", "overdue - - incident"},
		{"stands, not for long", stood, "", "2026-11-01T08:00:00Z", []schedule.Event{event(schedule.Ran, "2026-11-03T08:00:00Z")}, "2026-11-08T10:00:00Z", "coming 2026-11-10T08:00:00Z 2026-11-10T08:00:00Z"},
		{
			"stood too long; running since does not clear it", stood, "", "2026-11-01T08:00:00Z",
			[]schedule.Event{event(schedule.Ran, "2026-11-21T08:00:00Z"), event(schedule.Ran, "2026-11-02T08:00:00Z")},
			"2026-11-22T08:00:00Z", "overdue 2026-11-09T08:00:00Z 2026-11-09T08:00:00Z",
		},
		{"stood too long before it was last done: covered", stood, "", "2026-11-20T08:00:00Z", []schedule.Event{event(schedule.Ran, "2026-11-01T08:00:00Z")}, "2026-11-21T08:00:00Z", "coming 2026-11-27T08:00:00Z 2026-11-27T08:00:00Z"},
	} {
		t.Run(tc.why, func(t *testing.T) {
			past := schedule.Past{Events: tc.events}
			if tc.inForce != "" {
				past.InForceSince = utc(t, tc.inForce)
			}
			if tc.done != "" {
				past.LastDone = utc(t, tc.done)
			}
			due, err := changing(t, "Europe/London", "08:00", "18:00").Next(tc.routine, past, utc(t, tc.now))
			if err != nil {
				t.Fatal(err)
			}
			if got := inWords(due); got != tc.want {
				t.Errorf("%s, want %s", got, tc.want)
			}
		})
	}
}

func inWords(d schedule.Due) string {
	instant := func(t time.Time) string {
		if t.IsZero() {
			return "-"
		}
		return t.UTC().Format(time.RFC3339)
	}
	words := []string{d.State.String(), instant(d.At), instant(d.OverdueFrom)}
	if d.Because != "" {
		words = append(words, string(d.Because))
	}
	if d.DoneDisbelieved {
		words = append(words, "disbelieved")
	}
	return strings.Join(words, " ")
}

func TestNext_RefusesRoutinesThatCannotBe(t *testing.T) {
	c := changing(t, "UTC", "08:00")
	for _, on := range []schedule.Occasion{
		nil,
		schedule.EachWatch{Only: "dusk"},
		schedule.Daily{At: schedule.TimeOfDay{Minute: 60}},
		schedule.Weekly{On: 7},
		schedule.Weekly{On: -1},
		schedule.MonthlyOnDay{},
		schedule.MonthlyOnDay{Day: 32},
		schedule.MonthlyOnDay{Day: -29},
		schedule.MonthlyOnWeekday{Nth: 5},
		schedule.MonthlyOnWeekday{},
		schedule.EveryDays{},
		schedule.EveryDays{Days: 3661},
		schedule.AfterEvent{},
		schedule.AfterEvent{Kinds: []schedule.EventKind{""}},
		schedule.AfterStanding{},
	} {
		if _, err := c.Next(schedule.Routine{On: on}, schedule.Past{}, time.Unix(0, 0)); !fault.Is(err, fault.Invalid) {
			t.Errorf("%#v is taken: %v", on, err)
		}
	}
	for _, grace := range []schedule.Span{{Days: -1}, {Exact: -1}} {
		if _, err := c.Next(schedule.Routine{On: schedule.EachWatch{}, Grace: grace}, schedule.Past{}, time.Unix(0, 0)); !fault.Is(err, fault.Invalid) {
			t.Errorf("grace of %v is taken: %v", grace, err)
		}
	}
}

func drawRoutine(t *rapid.T) schedule.Routine {
	at := schedule.TimeOfDay{Hour: rapid.IntRange(0, 23).Draw(t, "at"), Minute: rapid.IntRange(0, 59).Draw(t, "minute")}
	on := rapid.SampledFrom([]schedule.Occasion{
		schedule.EachWatch{},
		schedule.Daily{At: at},
		schedule.Weekly{On: time.Weekday(at.Hour % 7), At: at},
		schedule.MonthlyOnDay{Day: 1 + at.Minute%31, At: at},
		schedule.MonthlyOnDay{Day: -1 - at.Minute%28, At: at},
		schedule.MonthlyOnWeekday{Nth: 1 + at.Minute%4, On: time.Weekday(at.Hour % 7), At: at},
		schedule.EveryDays{Days: 1 + at.Minute, At: at},
		schedule.AfterEvent{Kinds: []schedule.EventKind{schedule.Repaired}},
		schedule.AfterStanding{Longer: time.Duration(1+at.Minute) * time.Hour},
	}).Draw(t, "occasion")
	return schedule.Routine{On: on, Grace: schedule.Span{
		Days: rapid.IntRange(0, 3).Draw(t, "grace days"), Exact: time.Duration(rapid.IntRange(0, 7200).Draw(t, "grace seconds")) * time.Second,
	}}
}

func drawPast(t *rapid.T, done time.Time) schedule.Past {
	past := schedule.Past{LastDone: done}
	for range rapid.IntRange(0, 6).Draw(t, "events") {
		kind := rapid.SampledFrom([]schedule.EventKind{schedule.Repaired, schedule.Ran, schedule.Incident}).Draw(t, "kind")
		past.Events = append(past.Events, schedule.Event{Kind: kind, At: done.Add(time.Duration(rapid.IntRange(-300, 900).Draw(t, "hours")) * time.Hour)})
	}
	return past
}

// Due is never before it was last done, grace never ends before it begins, and time alone
// makes nothing better.
func TestNext_NothingGetsBetterByWaiting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, r := drawCalendar(t), drawRoutine(t)
		past := drawPast(t, drawInstant(t, c))
		now := past.LastDone.Add(time.Duration(rapid.IntRange(0, 60*24*60).Draw(t, "minutes")) * time.Minute)
		first, err := c.Next(r, past, now)
		if err != nil {
			t.Fatal(err)
		}
		if first.State != schedule.Quiet && (first.At.Before(past.LastDone) || first.OverdueFrom.Before(first.At)) {
			t.Fatalf("last done %v, but %s", past.LastDone, inWords(first))
		}
		later, err := c.Next(r, past, now.Add(time.Duration(rapid.IntRange(0, 60*24*60).Draw(t, "waited"))*time.Minute))
		if err != nil {
			t.Fatal(err)
		}
		if later.State < first.State || !later.At.Equal(first.At) || !later.OverdueFrom.Equal(first.OverdueFrom) {
			t.Fatalf("%s became %s by waiting", inWords(first), inWords(later))
		}
		// The state holds until the instant that Changes gives, and not at it.
		if at := first.Changes(); !at.IsZero() {
			before, _ := c.Next(r, past, at.Add(-1))
			then, _ := c.Next(r, past, at)
			if before.State != first.State || then.State <= first.State {
				t.Fatalf("%s should change at %v: %s, then %s", inWords(first), at, inWords(before), inWords(then))
			}
		}
	})
}

func TestDues_FollowOneAnotherUntilTheEnd(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, r := drawCalendar(t), drawRoutine(t)
		past := drawPast(t, drawInstant(t, c))
		now := past.LastDone.Add(time.Duration(rapid.IntRange(0, 2000).Draw(t, "hours")) * time.Hour)
		until := now.Add(time.Duration(rapid.IntRange(0, 2000).Draw(t, "hours on")) * time.Hour)
		dues, err := c.Dues(r, past, now, until)
		if err != nil {
			t.Fatal(err)
		}
		next, err := c.Next(r, past, now)
		if err != nil {
			t.Fatal(err)
		}
		if want := next.State != schedule.Quiet && next.At.Before(until); want != (len(dues) > 0) || want && dues[0] != next {
			t.Fatalf("next is %s, but the dues are %v", inWords(next), dues)
		}
		for i, due := range dues {
			if !due.At.Before(until) || i > 0 && (!due.At.After(now) || !due.At.After(dues[i-1].At) || due.State != schedule.Coming) {
				t.Fatalf("due number %d is %s, after %s", i, inWords(due), inWords(dues[max(i-1, 0)]))
			}
		}
	})
}

func TestDues_ComingWeeks(t *testing.T) {
	c := changing(t, "Europe/London", "08:00", "18:00")
	weekly := schedule.Routine{On: schedule.Weekly{On: time.Monday, At: clock("08:00")}, Grace: schedule.Span{Days: 1}}
	dues, err := c.Dues(weekly, schedule.Past{LastDone: utc(t, "2026-10-06T09:00:00Z")}, utc(t, "2026-10-14T09:00:00Z"), utc(t, "2026-11-02T08:00:00Z"))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, due := range dues {
		got = append(got, inWords(due))
	}
	want := []string{
		"overdue 2026-10-12T07:00:00Z 2026-10-13T07:00:00Z",
		"coming 2026-10-19T07:00:00Z 2026-10-20T07:00:00Z",
		"coming 2026-10-26T08:00:00Z 2026-10-27T08:00:00Z",
	}
	if !slices.Equal(got, want) {
		t.Errorf("dues are\n%s, want\n%s", fmt.Sprint(got), fmt.Sprint(want))
	}
}
