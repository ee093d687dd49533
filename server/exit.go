package main

import (
	"errors"

	"bayround/internal/command"
)

// exitByVerdict plus the number of the verdict is the exit code of readiness
// --exit-code; the other codes are command's. doc.go and the help say what each means.
const exitByVerdict = 10

// errStopped is why serve ended when the journal stopped itself.
var errStopped = command.StoppedBy(errors.New("the journal stopped itself because a write failed; the log says why. " +
	"Start the station again: it finds out what reached the disk. Whoever had no answer repeats with the same id"))
