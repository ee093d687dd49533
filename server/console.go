package main

import (
	"io"
	"os"

	"bayround/internal/command"
)

// console is where this program's commands write, and as whom they ask a station.
type console struct {
	command.Console
	identity identity
}

func newConsole(out, err io.Writer) *console {
	return &console{Console: command.Console{Out: out, Err: err}}
}

// colourful reports whether colour may be used: on a terminal, unless NO_COLOR is
// set to anything.
func (c *console) colourful() bool {
	_, no := os.LookupEnv("NO_COLOR")
	return c.Colourful(no)
}
