package command

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"bayround/internal/fault"
)

// Exit codes. They are promised in the help of every program.
const (
	ExitDone     = 0
	ExitFailed   = 1
	ExitMisused  = 2
	ExitRefused  = 3
	ExitNotThere = 4
	ExitDamaged  = 5
	ExitStopped  = 6
	ExitMendable = 7
)

// Misused is an error of whoever typed the command.
type Misused struct{ error }

// Unwrap returns the error.
func (m Misused) Unwrap() error { return m.error }

// Misuse is Misused with words like fmt.Sprintf.
func Misuse(format string, args ...any) error { return Misused{fmt.Errorf(format, args...)} }

// MisusedBy makes an error one of whoever typed the command.
func MisusedBy(err error) error { return Misused{err} }

// Code is an exit code that is an answer, not an error; nothing is printed for it.
type Code int

// Error says which.
func (c Code) Error() string { return fmt.Sprintf("exit code %d", int(c)) }

// Stopped is an error after which the program must be started again.
type Stopped struct{ error }

// Unwrap returns the error.
func (s Stopped) Unwrap() error { return s.error }

// StoppedBy makes an error one after which the program must be started again.
func StoppedBy(err error) error { return Stopped{err} }

// Mendable is an error after which the program must be started again: it repairs its
// record then.
type Mendable struct{ error }

// Unwrap returns the error.
func (m Mendable) Unwrap() error { return m.error }

// MendableBy makes an error one after which the program repairs itself when it is
// started again.
func MendableBy(err error) error { return Mendable{err} }

// CodeOf is the exit code of an error.
func CodeOf(err error) int {
	var answer Code
	var wrong Misused
	var stopped Stopped
	var mendable Mendable
	var f *fault.Fault
	switch {
	case err == nil:
		return ExitDone
	case errors.As(err, &answer):
		return int(answer)
	case errors.As(err, &wrong):
		return ExitMisused
	case errors.As(err, &stopped):
		return ExitStopped
	case errors.As(err, &mendable):
		return ExitMendable
	case errors.As(err, &f):
		return codeOfFault(f)
	}
	return ExitFailed
}

func codeOfFault(f *fault.Fault) int {
	switch f.Kind {
	case fault.Unavailable:
		return ExitNotThere
	case fault.Lost:
		return ExitDamaged
	default:
		return ExitRefused
	}
}

// Tell says what went wrong and returns the exit code.
func (c *Console) Tell(err error) int {
	code := CodeOf(err)
	var f *fault.Fault
	var answer Code
	switch {
	case err == nil, errors.As(err, &answer), errors.Is(err, context.Canceled):
	case errors.As(err, &f):
		lines := []string{sentence(err, f)}
		for _, field := range f.Fields {
			typed := c.Line.typed(field.Path)
			lines[0] = strings.Replace(lines[0], field.Path+" "+field.Message, typed+" "+field.Message, 1)
			lines = append(lines, fmt.Sprintf("  %s: %s", typed, field.Message))
		}
		c.Complain("%s", strings.Join(lines, "\n"))
	default:
		c.Complain("%v", err)
	}
	if errors.Is(err, context.Canceled) {
		return ExitFailed
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
		return "the station cannot be reached: " + words + "\n(is it running, and is its address right?)"
	}
	return words
}
