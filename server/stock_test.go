package main

import (
	"testing"

	"bayround/internal/command"
)

// Stock on the command line: what comes, what is counted, what is left, and what is refused.
func TestStock_OnTheCommandLine(t *testing.T) {
	t.Setenv("BAYROUND_SERVER", filled(t).address)
	requireIn(t, must(t, "stock", "list", "--station", "pellan-cross"), "MATERIAL", "engine-oil", "COUNTED")
	requireIn(t, must(t, "stock", "count", "pellan-cross", "engine-oil", "3.5l", "--person", "arkwith"), "engine oil: 3.5 l left, low; counted for the first time")
	requireIn(t, must(t, "stock", "deliver", "pellan-cross", "engine-oil", "20l", "--person", "steddow", "--note", "delivery note 4411"), "engine oil: 23.5 l left")
	requireIn(t, must(t, "stock", "count", "pellan-cross", "engine-oil", "21l", "--person", "arkwith"), "engine oil: 21 l left; 2.5 l less than was booked")
	requireIn(t, must(t, "stock", "count", "ostrey-point", "oxygen", "1", "--person", "arkwith"), "oxygen cylinder: 1 left, low")
	requireIn(t, must(t, "stock", "list", "--low"), "oxygen cylinder: 1 left, low")
	requireIn(t, must(t, "stock", "history", "pellan-cross", "engine-oil"), "delivered", "20 l", "23.5 l", "counted", "-2.5 l", "delivery note 4411", "steddow")
	for _, tc := range []struct {
		why  string
		args []string
		code int
		says string
	}{
		{"a material nobody keeps", []string{"stock", "history", "pellan-cross", "gold"}, command.ExitRefused, "stocked"},
		{"a station nobody knows", []string{"stock", "list", "--station", "nowhere"}, command.ExitRefused, "nowhere"},
		{"nobody said", []string{"stock", "count", "pellan-cross", "engine-oil", "3l"}, command.ExitMisused, "--person"},
		{"no amount", []string{"stock", "count", "pellan-cross", "engine-oil", "much", "--person", "arkwith"}, command.ExitMisused, "20l"},
		{"oil in pieces", []string{"stock", "count", "pellan-cross", "engine-oil", "3", "--person", "arkwith"}, command.ExitMisused, "litres"},
		{"nothing came", []string{"stock", "deliver", "pellan-cross", "engine-oil", "0l", "--person", "arkwith"}, command.ExitRefused, "AMOUNT must"},
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
