package main

import (
	"testing"

	"bayround/internal/command"
)

// A wheel on the command line: by itself, with a repair, and what is refused.
func TestWheel_OnTheCommandLine(t *testing.T) {
	t.Setenv("BAYROUND_SERVER", filled(t).address)
	requireIn(t, must(t, "wheel", "wn22", "axle-1-nearside", "--odometer", "52100", "--person", "steddow", "--note", "tyre changed"),
		"recorded as event", "coming", "wheel nuts torqued again, front axle, nearside: due ", "or after 40 km")
	requireIn(t, must(t, "due", "wn22"), "wheel nuts torqued again, front axle, nearside")
	for _, tc := range []struct {
		why  string
		args []string
		code int
		says string
	}{
		{"no wheel", []string{"wheel", "wn22", "--person", "steddow"}, command.ExitMisused, "axle-1-nearside"},
		{"nobody said", []string{"wheel", "wn22", "axle-1-nearside"}, command.ExitMisused, "--person"},
		{"a wheel it has not got", []string{"wheel", "wn22", "axle-7-nearside", "--person", "steddow"}, command.ExitRefused, "axle-2-offside"},
		{"no odometer", []string{"wheel", "wn22", "axle-1-nearside", "--person", "steddow", "--odometer", "far"}, command.ExitMisused, "52100"},
	} {
		t.Run(tc.why, func(t *testing.T) {
			got := do(t, tc.args...)
			if got.code != tc.code {
				t.Errorf("exit code %d, want %d\n%s", got.code, tc.code, got.err)
			}
			requireIn(t, got.err, tc.says)
		})
	}
}
