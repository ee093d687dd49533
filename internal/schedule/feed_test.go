package schedule_test

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	arran "github.com/arran4/golang-ical"
	emersion "github.com/emersion/go-ical"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"bayround/internal/fault"
	"bayround/internal/schedule"
)

func weeklyFeed(t interface{ Fatalf(string, ...any) }, events ...schedule.FeedEvent) schedule.Feed {
	return schedule.Feed{Name: "Pellan Lane", Domain: "wendmoor.example", Stamp: utc(t, "2026-11-28T18:00:00Z"), Events: events}
}

func written(t interface{ Fatalf(string, ...any) }, f schedule.Feed) string {
	text, err := f.Write()
	if err != nil {
		t.Fatalf("feed: %v", err)
	}
	return text
}

// The order and form of the lines are those of RFC 5545, section 3.6.1; the UID is the
// beginning of sha256("WN11/weekly/2026-11-30") as sha256sum gives it.
func TestFeed_IsWrittenLineByLine(t *testing.T) {
	got := written(t, weeklyFeed(t, schedule.FeedEvent{
		Key: "WN11/weekly/2026-11-30", Sequence: 2, Starts: utc(t, "2026-11-30T08:00:00Z"), Ends: utc(t, "2026-11-30T10:00:00Z"),
		Summary: "WN11: weekly check", Description: "Tyres, pump; drains.\nAbout 25 min.",
	}))
	want := strings.Join([]string{
		"BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Bayround//Station calendar//EN", "NAME:Pellan Lane",
		"BEGIN:VEVENT", "UID:c49e35fe9d15f6cafd5941b9c5fa7d88@wendmoor.example", "DTSTAMP:20261128T180000Z", "SEQUENCE:2",
		"DTSTART:20261130T080000Z", "DTEND:20261130T100000Z", "SUMMARY:WN11: weekly check",
		`DESCRIPTION:Tyres\, pump\; drains.\nAbout 25 min.`, "TRANSP:TRANSPARENT", "END:VEVENT", "END:VCALENDAR", "",
	}, "\r\n")
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("feed (-want +got):\n%s", diff)
	}
}

// Texts that RFC 5545 shows, and how it shows them written.
func TestFeed_TextExamplesOfRFC5545(t *testing.T) {
	for _, tc := range []struct{ section, text, want string }{
		{
			"3.3.11", "Project XYZ Final Review\nConference Room - 3B\nCome Prepared.",
			`SUMMARY:Project XYZ Final Review\nConference Room - 3B\nCome Prepared.`,
		},
		{"3.8.1.12", "Department Party", "SUMMARY:Department Party"},
		{
			"3.8.1.5", "Meeting to provide technical review for \"Phoenix\" design.\nHappy Face Conference Room. Phoenix design team MUST attend this meeting.\nRSVP to team leader.",
			`SUMMARY:Meeting to provide technical review for "Phoenix" design.\nHappy Face Conference Room. Phoenix design team MUST attend this meeting.\nRSVP to team leader.`,
		},
	} {
		text := written(t, weeklyFeed(t, schedule.FeedEvent{Key: "a", Starts: utc(t, "2026-11-30T08:00:00Z"), Summary: tc.text}))
		unfolded := strings.Split(strings.ReplaceAll(text, "\r\n ", ""), "\r\n") // section 3.1
		found := false
		for _, line := range unfolded {
			found = found || line == tc.want
		}
		if !found {
			t.Errorf("section %s: no line %s in\n%s", tc.section, tc.want, text)
		}
	}
}

// Section 3.1: no line is longer than 75 octets, each is full before the next is begun, and
// no character is cut.
func TestFeed_FoldsAt75Octets(t *testing.T) {
	for _, tc := range []struct {
		why, summary string
		want         []int // octets of the lines of SUMMARY
	}{
		{"just fits", strings.Repeat("x", 75-len("SUMMARY:")), []int{75}},
		{"one more", strings.Repeat("x", 76-len("SUMMARY:")), []int{75, 2}},
		{"three lines", strings.Repeat("x", 75-8+74+74), []int{75, 75, 75}},
		{"two octets do not fit into one", strings.Repeat("x", 74-8) + "é", []int{74, 3}},
		{"four octets do not fit into three", strings.Repeat("x", 72-8) + "🚒🚒", []int{72, 9}},
		{"an escape may be folded", strings.Repeat("x", 74-8) + ",", []int{75, 2}},
	} {
		text := written(t, weeklyFeed(t, schedule.FeedEvent{Key: "a", Starts: utc(t, "2026-11-30T08:00:00Z"), Summary: tc.summary}))
		var got []int
		for _, line := range strings.Split(text, "\r\n") {
			if strings.HasPrefix(line, "SUMMARY:") || strings.HasPrefix(line, " ") {
				got = append(got, len(line))
			}
		}
		if diff := cmp.Diff(tc.want, got); diff != "" {
			t.Errorf("%s: octets (-want +got):\n%s", tc.why, diff)
		}
	}
}

func TestFeed_RefusesWithTheReason(t *testing.T) {
	good := schedule.FeedEvent{Key: "a", Starts: utc(t, "2026-11-30T08:00:00Z")}
	change := func(f func(e *schedule.FeedEvent)) []schedule.FeedEvent {
		e := good
		f(&e)
		return []schedule.FeedEvent{e}
	}
	late := time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC)
	for _, tc := range []struct {
		why    string
		feed   schedule.Feed
		events []schedule.FeedEvent
		kind   fault.Kind
	}{
		{"nothing due", weeklyFeed(t), nil, fault.NotFound},
		{"no domain", schedule.Feed{Stamp: good.Starts}, []schedule.FeedEvent{good}, fault.Invalid},
		{"no stamp", schedule.Feed{Domain: "x.example"}, []schedule.FeedEvent{good}, fault.Invalid},
		{"no key", weeklyFeed(t), change(func(e *schedule.FeedEvent) { e.Key = "" }), fault.Invalid},
		{"one key twice", weeklyFeed(t), []schedule.FeedEvent{good, good}, fault.Invalid},
		{"negative sequence", weeklyFeed(t), change(func(e *schedule.FeedEvent) { e.Sequence = -1 }), fault.Invalid},
		{"no start", weeklyFeed(t), change(func(e *schedule.FeedEvent) { e.Starts = time.Time{} }), fault.Invalid},
		{"year 10000", weeklyFeed(t), change(func(e *schedule.FeedEvent) { e.Ends = late }), fault.Invalid},
	} {
		tc.feed.Events = tc.events
		if text, err := tc.feed.Write(); !fault.Is(err, tc.kind) || text != "" {
			t.Errorf("%s: %v, want a refusal of kind %v", tc.why, err, tc.kind)
		}
	}
}

// Sequences as RFC 5545, section 3.8.7.4, has them: 0 at first, one more with each revision.
func TestRevise_CountsWhatChanged(t *testing.T) {
	at := utc(t, "2026-11-30T08:00:00Z")
	before := []schedule.FeedEvent{
		{Key: "same", Sequence: 3, Starts: at, Summary: "a"},
		{Key: "moved", Sequence: 3, Starts: at, Summary: "b"},
		{Key: "gone", Sequence: 3, Starts: at, Summary: "c"},
		{Key: "long gone", Sequence: 4, Starts: at, Summary: "d", Cancelled: true},
		{Key: "back", Sequence: 5, Starts: at, Summary: "e", Cancelled: true},
	}
	now := []schedule.FeedEvent{
		{Key: "new", Starts: at, Summary: "f"},
		{Key: "same", Starts: at.Add(time.Millisecond), Summary: "a"},
		{Key: "moved", Starts: at.Add(time.Hour), Summary: "b"},
		{Key: "back", Starts: at, Summary: "e"},
	}
	want := []schedule.FeedEvent{
		{Key: "new", Starts: at, Summary: "f"},
		{Key: "same", Sequence: 3, Starts: at.Add(time.Millisecond), Summary: "a"},
		{Key: "moved", Sequence: 4, Starts: at.Add(time.Hour), Summary: "b"},
		{Key: "back", Sequence: 6, Starts: at, Summary: "e"},
		{Key: "gone", Sequence: 4, Starts: at, Summary: "c", Cancelled: true},
		{Key: "long gone", Sequence: 4, Starts: at, Summary: "d", Cancelled: true},
	}
	if diff := cmp.Diff(want, schedule.Revise(before, now)); diff != "" {
		t.Errorf("revised (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff(want, schedule.Revise(want, now)); diff != "" {
		t.Errorf("revised again (-want +got):\n%s", diff)
	}
}

// A feed made of a routine's dues: the same due has the same UID whenever the feed is made.
func TestFeed_OfDuesKeepsItsUIDs(t *testing.T) {
	c := wendmoor(t)
	r := schedule.Routine{On: schedule.Weekly{On: time.Monday, At: clock("08:00")}, Grace: schedule.Span{Days: 1}}
	starts := map[string]time.Time{}
	for _, now := range []string{"2026-10-14T09:00:00Z", "2026-10-20T09:00:00Z"} {
		dues, err := c.Dues(r, schedule.Past{LastDone: utc(t, now).Add(-time.Hour)}, utc(t, now), utc(t, "2026-11-10T00:00:00Z"))
		if err != nil {
			t.Fatal(err)
		}
		var events []schedule.FeedEvent
		for _, due := range dues {
			key := "WN11/weekly/" + schedule.DateAt(due.At, c.Location()).String()
			events = append(events, schedule.FeedEvent{Key: key, Starts: due.At, Ends: due.OverdueFrom, Summary: "WN11: weekly check"})
		}
		read, err := emersion.NewDecoder(strings.NewReader(written(t, weeklyFeed(t, events...)))).Decode()
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range read.Events() {
			uid := e.Props.Get(emersion.PropUID).Value
			at, err := e.DateTimeStart(nil)
			if err != nil || !starts[uid].IsZero() && !starts[uid].Equal(at) {
				t.Errorf("%s starts at %v, and before at %v: %v", uid, at, starts[uid], err)
			}
			starts[uid] = at
		}
	}
	if len(starts) != 4 { // Mondays: 19 and 26 October, 2 and 9 November
		t.Errorf("the feeds have %d UIDs, want 4: %v", len(starts), starts)
	}
}

// checkLines holds a whole feed to section 3.1: CRLF alone ends lines, none is longer than
// 75 octets, all is UTF-8 and no control character is in it.
func checkLines(t interface{ Fatalf(string, ...any) }, text string) {
	if !strings.HasSuffix(text, "\r\n") || !utf8.ValidString(text) {
		t.Fatalf("no CRLF at the end, or not UTF-8: %q", text)
	}
	for _, line := range strings.Split(strings.TrimSuffix(text, "\r\n"), "\r\n") {
		if len(line) > 75 || !utf8.ValidString(line) {
			t.Fatalf("%d octets, or a character cut: %q", len(line), line)
		}
		if strings.ContainsFunc(line, func(r rune) bool { return r < ' ' && r != '\t' || r == 0x7f }) {
			t.Fatalf("a control character in %q", line)
		}
	}
}

// checkRead has both libraries read a feed of one event and compares what they find.
func checkRead(t interface{ Fatalf(string, ...any) }, f schedule.Feed) {
	text, e := written(t, f), f.Events[0]
	checkLines(t, text)
	read, err := emersion.NewDecoder(strings.NewReader(text)).Decode()
	if err != nil || len(read.Events()) != 1 {
		t.Fatalf("go-ical finds no one event: %v\n%s", err, text)
	}
	props := read.Events()[0].Props
	for name, want := range map[string]string{"SUMMARY": e.Summary, "DESCRIPTION": e.Description, "UID": f.UID(e.Key)} {
		got, err := props.Text(name)
		if err != nil || got != schedule.Writable(want) {
			t.Fatalf("go-ical reads %s %q, %v, want %q", name, got, err, want)
		}
	}
	starts, err := read.Events()[0].DateTimeStart(nil)
	if err != nil || !starts.Equal(e.Starts.Truncate(time.Second)) {
		t.Fatalf("go-ical reads the start as %v, %v, want %v", starts, err, e.Starts)
	}
	again, err := arran.ParseCalendar(strings.NewReader(text))
	if err != nil || len(again.Events()) != 1 {
		t.Fatalf("golang-ical finds no one event: %v\n%s", err, text)
	}
	if got := again.Events()[0].GetProperty(arran.ComponentPropertySummary); got == nil || got.Value != schedule.Writable(e.Summary) {
		t.Fatalf("golang-ical reads the summary as %v, want %q", got, e.Summary)
	}
}

func FuzzFeed(f *testing.F) {
	for _, seed := range []string{
		"", "weekly check", "a,b;c\\d:e\"f", "line\nline\r\nline\rline", " leading, trailing ", "\t\x00\x07\x7f", "\xff\xfe cut \xc3",
		strings.Repeat("é", 40), strings.Repeat("🚒", 40), strings.Repeat("\\", 80), "END:VCALENDAR\r\nBEGIN:VEVENT", `\n\N\,\;`, "\u2028\u0085\ufeff",
	} {
		f.Add(seed, seed, "key", int64(1_800_000_000))
	}
	f.Fuzz(func(t *testing.T, summary, description, key string, seconds int64) {
		e := schedule.FeedEvent{Key: key, Starts: time.Unix(seconds, 0), Summary: summary, Description: description}
		feed := weeklyFeed(t, e)
		if _, err := feed.Write(); err != nil {
			if year := e.Starts.UTC().Year(); key != "" && year > 1 && year < 9999 {
				t.Fatalf("refused: %v", err)
			}
			return
		}
		checkRead(t, feed)
	})
}

func TestFeed_WhatIsWrittenIsRead(t *testing.T) {
	text := rapid.OneOf(rapid.String(), rapid.StringOfN(rapid.SampledFrom([]rune(`\,;:nN"`+"\n\r\t é🚒")), 0, 200, -1))
	rapid.Check(t, func(t *rapid.T) {
		checkRead(t, weeklyFeed(t, schedule.FeedEvent{
			Key: "k" + rapid.String().Draw(t, "key"), Starts: time.Unix(rapid.Int64Range(0, 250_000_000_000).Draw(t, "start"), 0),
			Summary: text.Draw(t, "summary"), Description: text.Draw(t, "description"), Sequence: rapid.IntRange(0, 1<<31-1).Draw(t, "sequence"),
		}))
	})
}
