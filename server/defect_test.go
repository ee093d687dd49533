package main

import (
	"strings"
	"testing"

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
