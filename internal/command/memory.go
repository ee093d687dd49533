package command

import "runtime/debug"

// growthPercent is by how much the heap may grow over what is in use before it is
// collected. A fixed limit would be reached by a station with enough history, and from then
// on the collector would never rest.
const growthPercent = 50

// SpareMemory keeps what a program that serves holds near what it uses, at the price of
// more frequent collections. GOGC or GOMEMLIMIT in the environment say otherwise.
func SpareMemory(environment func(string) string) {
	if environment("GOGC") == "" && environment("GOMEMLIMIT") == "" {
		debug.SetGCPercent(growthPercent)
	}
}

// GiveMemoryBack gives what only the start needed back to the computer: to be called once,
// when a program is ready to serve.
func GiveMemoryBack() { debug.FreeOSMemory() }
