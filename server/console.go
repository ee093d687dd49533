package main

import (
	"fmt"
	"io"
	"os"

	"golang.org/x/term"
)

// console is where a command writes. Nothing is written to out but what was
// asked for, so that it can be piped.
type console struct {
	out, err io.Writer
	// understood is set once the command line has been read without a mistake.
	understood bool
}

// say writes a line of the answer. A reader that went away is not our trouble.
func (c *console) say(format string, args ...any) { _, _ = fmt.Fprintf(c.out, format+"\n", args...) }

// complain writes a line beside the answer.
func (c *console) complain(format string, args ...any) {
	_, _ = fmt.Fprintf(c.err, format+"\n", args...)
}

// colourful reports whether colour may be used: on a terminal, unless NO_COLOR is
// set to anything.
func (c *console) colourful() bool {
	_, no := os.LookupEnv("NO_COLOR")
	return !no && c.onTerminal()
}

// onTerminal reports whether the answer goes to a terminal.
func (c *console) onTerminal() bool {
	file, ok := c.out.(*os.File)
	return ok && term.IsTerminal(int(file.Fd())) //nolint:gosec // a file descriptor fits
}
