package main

import (
	"strings"
	"testing"
	"time"

	"bayround/internal/command"
)

// From being stopped to being released, on the command line: what each command says,
// and what it refuses.
func TestDefect_FromStopToRelease(t *testing.T) {
	t.Setenv("BAYROUND_SERVER", filled(t).address)
	stopped := must(t, "defect", "stop", "wn13", "--person", "arkwith", "--reason", "it pulls to the left")
	requireIn(t, stopped, "recorded as event ", "dangerous", "Stopped: it pulls to the left", "DO NOT MOVE")
	name := ""
	for _, word := range strings.Fields(stopped) {
		if strings.HasPrefix(word, "wn13/stop-") {
			name = word
		}
	}
	requireIn(t, must(t, "defect", "list", "--vehicle", "wn13", "--reporter", "arkwith", "--grade", "dangerous"), "DEFECT", "WHAT", name, "open")
	for _, tc := range []struct {
		why  string
		args []string
		code int
		says string
	}{
		{"no defect", []string{"defect", "show"}, command.ExitMisused, "name one defect"},
		{"a defect nobody knows", []string{"defect", "show", "wn13/00"}, command.ExitRefused, "00"},
		{"a state nobody knows", []string{"defect", "list", "--state", "lost"}, command.ExitMisused, "rectified"},
		{"a grade nobody knows", []string{"defect", "list", "--grade", "bad"}, command.ExitMisused, "dangerous"},
		{"nobody said", []string{"defect", "stop", "wn13", "--reason", "r"}, command.ExitMisused, "--person"},
		{"no reason", []string{"defect", "stop", "wn13", "--person", "arkwith"}, command.ExitMisused, "--reason"},
		{"no day", []string{"defect", "acknowledge", name, "--person", "steddow"}, command.ExitMisused, "--planned"},
		{"no day that can be read", []string{"defect", "acknowledge", name, "--person", "steddow", "--planned", "Friday"}, command.ExitMisused, "2026-03-06"},
		{"a limit of no kind", []string{"defect", "defer", name, "--person", "osgarry", "--reason", "r", "--limit", "slowly"}, command.ExitMisused, "weather"},
		{"dangerous never waits", []string{"defect", "defer", name, "--person", "osgarry", "--reason", "r", "--limit", "task: none"}, command.ExitRefused, "may not wait"},
		{"nothing to end", []string{"defect", "end-deferral", name, "--person", "osgarry", "--because", "b"}, command.ExitRefused, "nothing to end"},
		{"not repaired", []string{"defect", "release", name, "--person", "venholt", "--checked", "c"}, command.ExitRefused, "workshop"},
	} {
		t.Run(tc.why, func(t *testing.T) {
			got := do(t, tc.args...)
			if got.code != tc.code {
				t.Errorf("exit code %d, want %d\n%s", got.code, tc.code, got.err)
			}
			requireIn(t, got.err, tc.says)
		})
	}
	requireIn(t, must(t, "defect", "acknowledge", name, "--person", "steddow", "--planned", "2096-03-06", "--note", "on the ramp tonight"), "acknowledged, by ")
	requireIn(t, must(t, "defect", "show", name), "steddow: by ", "on the ramp tonight", "no: somebody stopped the vehicle")
	requireIn(t, must(t, "defect", "rectify", name, "--person", "steddow", "--done", "tracking set", "--part", "track rod end"), "repaired, to be checked")
	requireIn(t, must(t, "defect", "release", name, "--person", "venholt", "--checked", "driven round the yard"), "closed ", "WN13 is now ")
	requireIn(t, must(t, "defect", "list", "--state", "closed", "--vehicle", "wn13"), name, "closed ")
	requireIn(t, must(t, "defect", "figures", "--vehicle", "wn13"), "AGE", "up to 1 day", "over 120 days", "to the workshop's answer", "to the repair")
}

// A time that the clocks show twice is the first of both, one that they skip is what they
// would have shown had they not been put forward, and a day ends with the change in it.
// Sources: RFC 5545, section 3.3.5; summer time 2026 from 29 March to 25 October, 01:00 UTC
// (EU Directive 2000/84/EC; Great Britain keeps the same instants).
func TestDayOrInstant_WhereClocksAreChanged(t *testing.T) {
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]string{
		"2026-10-25T01:30": "2026-10-25T00:30:00Z",
		"2026-10-25T02:00": "2026-10-25T02:00:00Z",
		"2026-03-29T01:30": "2026-03-29T01:30:00Z",
		"2026-03-29T02:00": "2026-03-29T01:00:00Z",
		"2026-03-29":       "2026-03-29T23:00:00Z",
		"2026-10-25":       "2026-10-26T00:00:00Z",
	} {
		got, err := dayOrInstantIn("until", text, london)
		if err != nil || got.AsTime().Format(time.RFC3339) != want {
			t.Errorf("%s is %v (%v), want %s", text, got.AsTime(), err, want)
		}
	}
}

// Words that somebody chose steer no terminal of who reads them, and make no line of their
// own in a table: the control characters of ECMA-48 and a line that says the vehicle is fit.
func TestDefect_WordsOfOthersSteerNoTerminal(t *testing.T) {
	t.Setenv("BAYROUND_SERVER", filled(t).address)
	said := must(t, "defect", "stop", "wn13", "--person", "arkwith", "--reason", "pulls\x1b[2J\x07\u009b1A\r\nWN13  FIT TO RESPOND")
	said += must(t, "defect", "list", "--vehicle", "wn13") + must(t, "readiness", "wn13")
	for _, control := range []string{"\x1b", "\x07", "\u009b", "\r", "\nWN13  FIT"} {
		if strings.Contains(said, control) {
			t.Errorf("%q is printed:\n%q", control, said)
		}
	}
	requireIn(t, said, "Stopped: pulls\uFFFD[2J\uFFFD\uFFFD1A WN13  FIT TO RESPOND")
	shown := must(t, "defect", "show", "wn13/"+strings.Fields(said[strings.Index(said, "wn13/stop-")+len("wn13/"):])[0])
	requireIn(t, shown, "pulls\uFFFD[2J\uFFFD\uFFFD1A")
	if strings.ContainsAny(shown, "\x1b\x07\u009b\r") {
		t.Errorf("show prints %q", shown)
	}
}
