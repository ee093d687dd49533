// Package command is what the command lines of the programs share: where they
// write, how they refuse, what they end with, how they log and where they listen.
package command

import (
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"unicode"

	"golang.org/x/term"
)

// Console is where a command writes. Nothing is written to Out but what was
// asked for, so that it can be piped.
type Console struct {
	Out, Err io.Writer
	// Line is the command that was given, once that is known.
	Line Line
	// Understood is set once the command line has been read without a mistake.
	Understood bool
}

// Say writes a line of the answer. A reader that went away is not our trouble.
func (c *Console) Say(format string, args ...any) {
	_, _ = fmt.Fprintf(c.Out, format+"\n", plain(args)...)
}

// Complain writes a line beside the answer.
func (c *Console) Complain(format string, args ...any) {
	_, _ = fmt.Fprintf(c.Err, format+"\n", plain(args)...)
}

// Painted is a text that may steer a terminal, because the program made it.
type Painted string

// plain takes out of what is told everything that a terminal would obey: people and
// other programs have chosen the words.
func plain(args []any) []any {
	args = slices.Clone(args)
	for i, arg := range args {
		switch told := arg.(type) {
		case string:
			args[i] = Plain(told)
		case error:
			args[i] = Plain(told.Error())
		}
	}
	return args
}

// Plain is a text with U+FFFD in the place of each control character but ends of lines
// and tabs.
func Plain(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) && r != '\n' && r != '\t' {
			return unicode.ReplacementChar
		}
		return r
	}, text)
}

// Colourful reports whether colour may be used: on a terminal, unless the
// environment's NO_COLOR is set to anything.
func (c *Console) Colourful(noColour bool) bool { return !noColour && c.OnTerminal() }

// OnTerminal reports whether the answer goes to a terminal.
func (c *Console) OnTerminal() bool {
	file, ok := c.Out.(*os.File)
	return ok && term.IsTerminal(int(file.Fd())) //nolint:gosec // a file descriptor fits
}
