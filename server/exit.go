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

// errMendable is why serve ended when tablets have offered enough for a repair.
var errMendable = command.MendableBy(errors.New("repair is possible: start again. Tablets have offered copies that hold what this record has lost; at its next start the station puts it together from them"))
