package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"bayround/internal/fault"
)

// Exit codes; doc.go and the help text say what each means.
const (
	exitDone      = 0
	exitFailed    = 1
	exitMisused   = 2
	exitRefused   = 3
	exitNotThere  = 4
	exitDamaged   = 5
	exitStopped   = 6
	exitByVerdict = 10 // plus the number of the verdict
)

// misused is an error of whoever typed the command.
type misused struct{ error }

func (m misused) Unwrap() error { return m.error }

// misuse is misused with words like fmt.Sprintf.
func misuse(format string, args ...any) error { return misused{fmt.Errorf(format, args...)} }

// errStopped is why serve ended when the journal stopped itself.
var errStopped = errors.New("the journal stopped itself because a write failed; the log says why. " +
	"Start the station again: it finds out what reached the disk. Whoever had no answer repeats with the same id")

// verdictCode is an exit code that is an answer, not an error; nothing is printed for it.
type verdictCode int

func (v verdictCode) Error() string { return fmt.Sprintf("exit code %d by the verdict", int(v)) }

// codeOf is the exit code of an error.
func codeOf(err error) int {
	var verdict verdictCode
	var wrong misused
	var f *fault.Fault
	switch {
	case err == nil:
		return exitDone
	case errors.As(err, &verdict):
		return int(verdict)
	case errors.As(err, &wrong):
		return exitMisused
	case errors.Is(err, errStopped):
		return exitStopped
	case errors.As(err, &f):
		return codeOfFault(f)
	}
	return exitFailed
}

func codeOfFault(f *fault.Fault) int {
	switch f.Kind {
	case fault.Unavailable:
		return exitNotThere
	case fault.Lost:
		return exitDamaged
	default:
		return exitRefused
	}
}

// tell says what went wrong and returns the exit code.
func (c *console) tell(err error) int {
	code := codeOf(err)
	var f *fault.Fault
	var verdict verdictCode
	switch {
	case err == nil, errors.As(err, &verdict), errors.Is(err, context.Canceled):
	case errors.As(err, &f):
		c.complain("%s", sentence(err, f))
		for _, field := range f.Fields {
			c.complain("  %s: %s", field.Path, field.Message)
		}
	default:
		c.complain("%v", err)
	}
	if errors.Is(err, context.Canceled) {
		return exitFailed
	}
	return code
}

// sentence is a fault's message with what was being done when it came; where the
// fields below say everything, the message stops before it repeats the first.
func sentence(err error, f *fault.Fault) string {
	words := f.Message
	if before, _, cut := strings.Cut(err.Error(), f.Message); cut {
		words = before + words
	}
	if f.Reason == "NOT_REACHED" {
		if _, dialled, ok := strings.Cut(words, "dial tcp "); ok {
			words = strings.Trim(dialled, `"`)
		}
		return "the station cannot be reached: " + words + "\n(is it running, and is --server right?)"
	}
	return words
}
