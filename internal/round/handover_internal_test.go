package round

import (
	"testing"
	"time"

	pb "bayround/proto/bayround/v1"
)

// A hand-over at noon looks to the end of the night, by the wall clock: in the nights in which
// clocks are changed too (Summer Time Order 2002, SI 2002/262, gives the instants), and where
// the change of watch lies in the hour that is shown twice, its first showing.
func TestComingWatchEnds_OverTheChangesOfTheClocks(t *testing.T) {
	home := func(changes ...string) *pb.Station {
		calendar := &pb.Calendar{}
		for _, at := range changes {
			calendar.Changes = append(calendar.Changes, &pb.WatchChange{At: at, Watch: "from " + at})
		}
		return &pb.Station{TimeZone: "Europe/London", Calendar: calendar}
	}
	usual, early := home("07:30", "19:30"), home("01:30", "13:30")
	for _, tc := range []struct {
		why      string
		home     *pb.Station
		at, want string
	}{
		{"winter", usual, "2026-01-10T12:00:00Z", "2026-01-11T07:30:00Z"},
		{"clocks are put forward in the night", usual, "2026-03-28T12:00:00Z", "2026-03-29T06:30:00Z"},
		{"clocks are put back in the night", usual, "2026-10-24T11:00:00Z", "2026-10-25T07:30:00Z"},
		{"a change of watch that clocks leap over", early, "2026-03-28T12:00:00Z", "2026-03-29T01:30:00Z"},
		{"a change of watch that clocks show twice", early, "2026-10-24T11:00:00Z", "2026-10-25T00:30:00Z"},
		{"nobody has said when watches change", &pb.Station{TimeZone: "Europe/London"}, "2026-03-28T12:00:00Z", "2026-03-29T12:00:00Z"},
	} {
		at, err := time.Parse(time.RFC3339, tc.at)
		if err != nil {
			t.Fatal(err)
		}
		if got := comingWatchEnds(tc.home, at).UTC().Format(time.RFC3339); got != tc.want {
			t.Errorf("%s: %s, want %s", tc.why, got, tc.want)
		}
	}
}
