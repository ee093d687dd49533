// Package command is what the command lines of the programs share: where they
// write, how they refuse, what they end with, how they log and where they listen.
package command

import (
	"fmt"
	"io"
	"os"

	"golang.org/x/term"
)

// Console is where a command writes. Nothing is written to Out but what was
// asked for, so that it can be piped.
type Console struct {
	Out, Err io.Writer
	// Understood is set once the command line has been read without a mistake.
	Understood bool
}

// Say writes a line of the answer. A reader that went away is not our trouble.
func (c *Console) Say(format string, args ...any) { _, _ = fmt.Fprintf(c.Out, format+"\n", args...) }

// Complain writes a line beside the answer.
func (c *Console) Complain(format string, args ...any) {
	_, _ = fmt.Fprintf(c.Err, format+"\n", args...)
}

// Colourful reports whether colour may be used: on a terminal, unless the
// environment's NO_COLOR is set to anything.
func (c *Console) Colourful(noColour bool) bool { return !noColour && c.OnTerminal() }

// OnTerminal reports whether the answer goes to a terminal.
func (c *Console) OnTerminal() bool {
	file, ok := c.Out.(*os.File)
	return ok && term.IsTerminal(int(file.Fd())) //nolint:gosec // a file descriptor fits
}
