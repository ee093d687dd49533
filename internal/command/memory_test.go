package command_test

import (
	"math"
	"runtime/debug"
	"testing"

	"bayround/internal/command"
)

// What is collected may never rest on a limit that the data of a station can reach.
func TestSpareMemory(t *testing.T) {
	for _, row := range []struct {
		name, variable string
		want           int
	}{
		{"nothing is said", "", 50},
		{"the environment says how much it may grow", "GOGC", 137},
		{"the environment says a limit", "GOMEMLIMIT", 137},
	} {
		t.Run(row.name, func(t *testing.T) {
			said := map[string]string{row.variable: "100"}
			before := debug.SetGCPercent(137)
			defer debug.SetGCPercent(before)
			command.SpareMemory(func(name string) string { return said[name] })
			if got := debug.SetGCPercent(137); got != row.want {
				t.Errorf("the heap may grow by %d %%, want %d %%", got, row.want)
			}
			if limit := debug.SetMemoryLimit(-1); limit != math.MaxInt64 {
				t.Errorf("there is a limit of %d bytes", limit)
			}
		})
	}
}
