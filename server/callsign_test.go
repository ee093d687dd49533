package main

import (
	"path/filepath"
	"testing"

	"bayround/internal/command"
)

// The reserve takes a place as in part E of the job map: WN90 for WN12, taller, which
// control must know.
func TestCallSign_ToTheReserveAndBack(t *testing.T) {
	t.Setenv("BAYROUND_SERVER", filled(t).address)
	requireIn(t, must(t, "callsign", "list"), "WN12", "vehicles/wn12", "WN90")
	requireIn(t, must(t, "callsign", "compare", "wn90", "wn12"), "taller")
	why := []string{"--person", "osgarry", "--reason", "repair"}
	for _, tc := range []struct {
		why  string
		args []string
		code int
		says string
	}{
		{"no call sign", append([]string{"callsign", "move", "--to", "wn90"}, why...), command.ExitMisused, "name one call sign"},
		{"to nobody", append([]string{"callsign", "move", "WN12"}, why...), command.ExitMisused, "--to"},
		{"nobody decides", []string{"callsign", "move", "WN12", "--to", "wn90"}, command.ExitMisused, "--person"},
		{"control not told", append([]string{"callsign", "move", "WN12", "--to", "wn90"}, why...), command.ExitRefused, "taller"},
		{"no reserve", append([]string{"callsign", "move", "WN12", "--to", "wn11", "--control-told"}, why...), command.ExitRefused, "reserve"},
		{"at home already", append([]string{"callsign", "return", "WN12", "--control-told"}, why...), command.ExitRefused, "nothing to give back"},
		{"one vehicle to compare", []string{"callsign", "compare", "wn90"}, command.ExitMisused, "whose place"},
		{"unknown call sign", []string{"readiness", "--call-sign", "WN77"}, command.ExitRefused, "WN77"},
	} {
		got := do(t, tc.args...)
		if got.code != tc.code {
			t.Errorf("%s: exit code %d, want %d\n%s", tc.why, got.code, tc.code, got.err)
		}
		requireIn(t, got.err, tc.says)
	}
	requireIn(t, must(t, append([]string{"callsign", "move", "wn12", "--to", "wn90", "--control-told"}, why...)...),
		"WN12 (WN90) is now NOT PROVEN", "checked as at a takeover", "takeover of a reserve, ", "server show wn90 --routine reserve-takeover", "taller")
	requireIn(t, must(t, "callsign", "list"), "vehicles/wn90 in place of vehicles/wn12", "people/osgarry: repair", "not checked for it yet")
	requireIn(t, must(t, "readiness", "--call-sign", "WN12"), "WN12 (WN90)", "NOT PROVEN", "Nobody has checked")
	requireIn(t, must(t, "readiness", "vehicles/wn12"), "(WN12)")
	short := filepath.Join(t.TempDir(), "round.yaml")
	writeFile(t, short, "vehicle: WN12\nroutine: shift\ndriver: quellmere\nanswer: sound\n")
	for _, say := range [][]string{
		{"readiness", "WN12"},
		{"readiness", "wn90", "wn12", "--exit-code"},
		{"readiness", "wn12", "--watch"},
		{"due", "WN12"},
		{"show", "wn12"},
		{"show", "wn12", "--configuration"},
		{"print", "wn12"},
		{"explain", "wn12"},
		{"history", "wn12"},
		{"records", "--vehicle", "wn12"},
		{"defect", "list", "--vehicle", "wn12"},
		{"defect", "figures", "--vehicle", "wn12"},
		{"callsign", "compare", "wn12", "wn13"},
		{"callsign", "move", "WN13", "--to", "wn12", "--person", "osgarry", "--reason", "repair"},
		{"play", short},
		{"incident", "WN12", "--person", "arkwith"},
		{"wheel", "wn12", "axle-1-nearside", "--person", "steddow"},
		{"defect", "stop", "wn12", "--person", "arkwith", "--reason", "it pulls to the left"},
	} {
		got := do(t, say...) // either could be meant
		if got.code != command.ExitMisused || got.out != "" {
			t.Errorf("%v: exit code %d, want %d and nothing told\n%s%s", say, got.code, command.ExitMisused, got.out, got.err)
		}
		requireIn(t, got.err, "vehicles/wn90 answers to WN12 now: say vehicles/wn90 or vehicles/wn12, whichever is meant")
	}
	for _, vehicle := range []string{"wn90", "vehicles/wn12"} {
		must(t, "due", vehicle)
		must(t, "readiness", vehicle)
		must(t, "show", vehicle)
	}
	must(t, "incident", "vehicles/wn12", "--person", "arkwith")
	must(t, "incident", "wn90", "--person", "arkwith")
	requireIn(t, must(t, append([]string{"callsign", "return", "WN12", "--control-told"}, why...)...), "WN12 is now NOT PROVEN")
}
