package screen

import (
	"testing"
	"time"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

func TestLasting_SaysWhatPeopleSay(t *testing.T) {
	for _, tc := range []struct {
		d    time.Duration
		want string
	}{
		{-time.Second, "0 s"},
		{45 * time.Second, "45 s"},
		{119 * time.Second, "119 s"},
		{2 * time.Minute, "2 min"},
		{119 * time.Minute, "119 min"},
		{2 * time.Hour, "2 h"},
		{3*time.Hour + 20*time.Minute, "3 h 20 min"},
		{49 * time.Hour, "2 days"},
	} {
		if got := lasting(tc.d); got != tc.want {
			t.Errorf("%v is said as %q, want %q", tc.d, got, tc.want)
		}
	}
}

func TestClockWords_NameTheDayWhenItIsAnother(t *testing.T) {
	east := time.FixedZone("east", 2*3600)
	now := time.Date(2026, 11, 25, 23, 30, 0, 0, time.UTC)
	for _, tc := range []struct {
		why   string
		at    time.Time
		zone  *time.Location
		clock string
		day   string
	}{
		{"today", now.Add(-time.Hour), time.UTC, "22:30", "22:30"},
		{"no zone is UTC", now.Add(-time.Hour), nil, "22:30", "22:30"},
		{"tomorrow where the station is", now.Add(-time.Hour), east, "00:30", "00:30"},
		{"yesterday where the station is", now.Add(-2 * time.Hour), east, "25 Nov 23:30", "25 Nov"},
		{"last year", now.AddDate(-1, 0, 0), time.UTC, "25 Nov 2025 23:30", "25 Nov 2025"},
		{"never", time.Time{}, time.UTC, "", ""},
	} {
		if got := clockWords(tc.at, now, tc.zone); got != tc.clock {
			t.Errorf("%s: %q, want %q", tc.why, got, tc.clock)
		}
		if got := dayWords(tc.at, now, tc.zone); got != tc.day {
			t.Errorf("%s: the day is %q, want %q", tc.why, got, tc.day)
		}
	}
}

// A value added to the contract later is never taken for something good or said
// to be nothing.
func TestWords_KnowEveryValueOfTheContract(t *testing.T) {
	seen := map[string]pb.NotCheckedReason{}
	for n := range pb.NotCheckedReason_name {
		r := pb.NotCheckedReason(n)
		word := reasonWord(r)
		if other, twice := seen[word]; twice {
			t.Errorf("%v and %v are both %q", r, other, word)
		}
		seen[word] = r
	}
}

// The values that a form sends for a reason are the contract's own names.
func TestReasons_AreTheContracts(t *testing.T) {
	if len(reasons) != len(pb.NotCheckedReason_name)-1 {
		t.Fatalf("%d reasons are offered, the contract has %d", len(reasons), len(pb.NotCheckedReason_name)-1)
	}
	for _, r := range reasons {
		if got := pb.NotCheckedReason_value["NOT_CHECKED_REASON_"+upper(r.Value)]; pb.NotCheckedReason(got) != r.Reason {
			t.Errorf("%q is sent for %v", r.Value, r.Reason)
		}
	}
}

func upper(s string) string {
	b := []byte(s)
	for i, c := range b {
		if 'a' <= c && c <= 'z' {
			b[i] = c - 'a' + 'A'
		}
	}
	return string(b)
}

func TestLinkWords_SayWhatWaits(t *testing.T) {
	for _, tc := range []struct {
		why        string
		link       round.Link
		cut, waits string
	}{
		{"all well", round.Link{Live: true}, "", "● live, all sent"},
		{"record behind", round.Link{Live: true, Record: "It lost something."}, "STATION RECORD BEHIND", "● live"},
		{"record behind, more to send", round.Link{Live: true, Record: "It lost something.", Pending: 3}, "STATION RECORD BEHIND", "◌ 3 to send · provisional"},
		{"results wait", round.Link{Live: true, Pending: 3}, "", "◌ 3 to send · provisional"},
		{"a photo waits", round.Link{Live: true, Photos: 1}, "", "◌ 1 photo to send"},
		{"cut", round.Link{Since: sampleNow.Add(-time.Hour), Pending: 3, Photos: 2}, "NOT LIVE since 06:42", "◌ 3 and 2 photos to send · provisional"},
		{"not to be trusted", round.Link{Live: true, Alarm: "Forked.", Pending: 1}, "ALARM: STATION’S RECORD IN DOUBT", "◌ 1 to send · provisional"},
		{"not let in", round.Link{Since: sampleNow.Add(-time.Hour), Barred: "tablet-1 is let in no more", Pending: 2}, "NOT LET IN AT THE STATION", "◌ 2 to send · provisional"},
		{"never reached", round.Link{}, "STATION NOT YET REACHED", "provisional"},
	} {
		p := pane{View: &round.View{Link: tc.link, Now: sampleNow, TimeZone: time.UTC}}
		if p.CutWords() != tc.cut || p.LinkWords() != tc.waits {
			t.Errorf("%s: %q, %q; want %q, %q", tc.why, p.CutWords(), p.LinkWords(), tc.cut, tc.waits)
		}
	}
}

// The most pressing word stands alone: an answer to the last act before what the
// station refused, and a clock that is off only while no step is looked at.
func TestNoticeRow_OneAtATime(t *testing.T) {
	refused := []round.Refused{{ID: "a", What: "Coolant level", Message: "given up."}, {ID: "b"}}
	notice := &round.Notice{Message: "choose first"}
	for _, tc := range []struct {
		why  string
		view round.View
		act  string
		text string
	}{
		{"nothing", round.View{}, "", ""},
		{"both", round.View{Notice: notice, Link: round.Link{Refused: refused}}, "dismiss-notice", "choose first"},
		{"refused", round.View{Link: round.Link{Refused: refused}}, "dismiss", "given up. It stays in this tablet’s record. 1 more wait to be read."},
		{"a record that is behind", round.View{Phase: round.PhaseVehicles, Link: round.Link{Live: true, Record: "It lost something.", Skew: -3 * time.Minute}}, "", "It lost something."},
		{"not let in", round.View{Phase: round.PhaseVehicles, Link: round.Link{Barred: "tablet-1 is let in no more; ask"}}, "", "Tablet-1 is let in no more; ask. What is recorded here is kept, and sent then."},
		{"a record that is behind at a step", round.View{Phase: round.PhaseStep, Link: round.Link{Live: true, Record: "It lost something."}}, "", ""},
		{"a slow clock", round.View{Phase: round.PhaseVehicles, Link: round.Link{Skew: -3 * time.Minute}}, "", "This tablet’s clock is 3 min slow of the station’s. Both times are kept; have it set."},
		{"a slow clock at a step", round.View{Phase: round.PhaseStep, Link: round.Link{Skew: -3 * time.Minute}}, "", ""},
		{"a slow clock while signing", round.View{Phase: round.PhaseSign, Link: round.Link{Skew: -3 * time.Minute}}, "", ""},
		{"a clock near enough", round.View{Phase: round.PhaseVehicles, Link: round.Link{Skew: 2 * time.Minute}}, "", ""},
	} {
		row := pane{View: &tc.view}.NoticeRow()
		if row == nil {
			row = &noticeRow{}
		}
		if row.Act != tc.act || row.Text != tc.text {
			t.Errorf("%s: act %q says %q, want %q, %q", tc.why, row.Act, row.Text, tc.act, tc.text)
		}
	}
}

func BenchmarkTabletRegions(b *testing.B) {
	v := walkView(b, "WN11", "shift", "CAB-060/door-driver")
	b.ReportAllocs()
	for b.Loop() {
		if _, err := tabletRegions(v, Display{TabletMMPerPX: smallTabletMMPerPX}); err != nil {
			b.Fatal(err)
		}
	}
}
