package main

import (
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"bayround/internal/command"
	"bayround/internal/roundproof"
	"bayround/internal/roundrecord"
)

const verifyRecordHelp = `Read a file that "server record -o proof" wrote, hold it to everything, and print what it proves: the
round, every answer beside its limit, what was found, the verdict the driver was shown, who signed.
All of that is read from the events that the station signed; nobody is asked. What is wrong with a
file is said, and then the exit code is 5.

Whoever has the file may have made it anew with a key of his own. --key takes the station's key
that is known otherwise, from a tablet or from whoever runs the station; a file of another key is
refused. Without --key only that the file is consistent with itself is shown, and that is said.

What it cannot show: whether more was recorded after its last event, what people are called, what
the rules said besides the findings, and photos, of which it holds the SHA-256.`

func newVerifyRecord(c *console) *cobra.Command {
	var key string
	cmd := &cobra.Command{
		Use:     "verify-record FILE",
		Short:   "Say whether the proof of a round holds, and what it proves",
		Long:    verifyRecordHelp,
		Example: "  server verify-record round.proof --key bayround/station+1f2e3d4c+AaBb...",
		Args:    exactlyOne("name one file"),
		RunE:    func(_ *cobra.Command, args []string) error { return verifyRecord(c, args[0], key) },
	}
	cmd.Flags().StringVar(&key, "key", "", "the station's key, when it is known otherwise")
	return cmd
}

func verifyRecord(c *console, name, key string) error {
	content, err := os.ReadFile(name) //nolint:gosec // the person named it
	if err != nil {
		return command.Misuse("the file cannot be read: %w", err)
	}
	file, err := roundproof.Parse(content)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	shown, err := file.Check(key)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	sayProven(c, shown, file.Key, key != "")
	return roundrecord.WriteText(c.Out, roundrecord.Proven(shown))
}

// sayProven says how far the proof goes.
func sayProven(c *console, s *roundproof.Shown, key string, known bool) {
	if known {
		c.Say("proven: all of this stands in the record of the station with the key %s", key)
	} else {
		c.Say("NOT PROVEN WHOSE IT IS: no --key was given, so only that the file is consistent with itself is shown.")
		c.Say("Anybody can make such a file with a key of his own. It names the key %s: compare it with the station's.", key)
	}
	c.Say("signed over %d events with root %s", s.Checkpoint.Size, s.Checkpoint.Root)
	first, last := s.Events[0].GetSequence(), s.Events[len(s.Events)-1].GetSequence()
	switch {
	case s.Gap != "":
		c.Say("Whether events of the round between %d and %d were left out nobody can tell: %s.", first, last, s.Gap)
	default:
		c.Say("No event of the round from %d to %d is left out: each names the one before.", first, last)
	}
	for _, number := range s.Dropped {
		c.Say("Of event %d of the round only the hash is left: its time was over.", number)
	}
	c.Say("Whether anything was recorded in the round after event %d this file cannot show.\n", last)
}
