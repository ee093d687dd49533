package station_test

import (
	"strings"
	"testing"
	"time"

	ical "github.com/emersion/go-ical"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// Over both changes of the clocks of 2026 (Summer Time Order 2002, SI 2002/262: 1 o'clock,
// Greenwich mean time, of the last Sundays in March and October) watches change at the
// wall clock's hours, the dues follow, and a general reader of iCalendar finds in the feed
// the very instants that the watches begin at.
func TestClockChange_WatchesDuesAndFeedAgree(t *testing.T) {
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	k := scheduled(t)
	for _, tc := range []struct {
		eve   string // the day before, at noon
		night time.Duration
		want  []string // beginnings of watches, UTC
	}{
		{"2026-03-28", 11 * time.Hour, []string{"28 19:30", "29 06:30", "29 18:30", "30 06:30"}},
		{"2026-10-24", 13 * time.Hour, []string{"24 18:30", "25 07:30", "25 19:30", "26 07:30"}},
	} {
		noon, err := time.ParseInLocation("2006-01-02 15:04", tc.eve+" 12:00", london)
		if err != nil {
			t.Fatal(err)
		}
		k.Clock.Advance(noon.Sub(k.Clock.Now()))
		k.RecordAll(p1, shift)
		until := noon.Add(45 * time.Hour)
		resp, err := k.ListWatches(ctx, &pb.ListWatchesRequest{Station: "stations/quay", From: timestamppb.New(noon), Until: timestamppb.New(until)})
		if err != nil || len(resp.GetWatches()) != 5 {
			t.Fatalf("%s: %v (%v)", tc.eve, resp, err)
		}
		night := resp.GetWatches()[1]
		if got := night.GetEnds().AsTime().Sub(night.GetBegins().AsTime()); night.GetName() != "night" || got != tc.night {
			t.Errorf("%s: the night lasts %v, want %v", tc.eve, got, tc.night)
		}
		var begins []string
		for _, w := range resp.GetWatches()[1:] {
			begins = append(begins, w.GetBegins().AsTime().UTC().Format("2 15:04"))
		}
		if got, want := strings.Join(begins, ", "), strings.Join(tc.want, ", "); got != want {
			t.Errorf("%s: watches begin at %s, want %s", tc.eve, got, want)
		}
		if due := dueOf(t, k, p1, shift).GetDue().AsTime(); !due.Equal(night.GetBegins().AsTime()) {
			t.Errorf("%s: due at %v, the night begins at %v", tc.eve, due, night.GetBegins().AsTime())
		}
		feed, err := k.GetCalendarFeed(ctx, &pb.GetCalendarFeedRequest{Station: "stations/quay", Days: 2})
		if err != nil {
			t.Fatal(err)
		}
		if got, want := shiftsIn(t, feed.GetCalendar()), strings.Join(tc.want, ", "); got != want {
			t.Errorf("%s: the feed has %s, want %s", tc.eve, got, want)
		}
	}
}

// shiftsIn are the beginnings of the first vehicle's shift checks in a feed, UTC.
func shiftsIn(t *testing.T, feed string) string {
	t.Helper()
	calendar, err := ical.NewDecoder(strings.NewReader(feed)).Decode()
	if err != nil {
		t.Fatal(err)
	}
	var begins []string
	for _, e := range calendar.Events() {
		summary, err := e.Props.Text(ical.PropSummary)
		if err != nil {
			t.Fatal(err)
		}
		at, err := e.DateTimeStart(time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasPrefix(summary, "Q1 shift check") {
			begins = append(begins, at.UTC().Format("2 15:04"))
		}
	}
	return strings.Join(begins, ", ")
}
