package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // calendars need the zones wherever this runs

	"bayround/internal/command"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second signal ends the process at once
	os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
}

// run is the whole program: it carries out one command line and returns the exit
// code. It ends early when ctx does, as after a signal.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	c := newConsole(stdout, stderr)
	root := newRoot(c)
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	cmd, err := root.ExecuteContextC(ctx)
	c.Line = command.Line{Use: cmd.Use, HasFlag: func(name string) bool { return cmd.Flags().Lookup(name) != nil }}
	if err != nil && !c.Understood {
		err = command.Misuse("%w\n(server help says what can be asked for)", err)
	}
	return c.Tell(err)
}
