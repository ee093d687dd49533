package main

import (
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"bayround/internal/access"
	"bayround/internal/command"
)

const unlockHelp = `Let somebody sign in again at this tablet who was locked out by ten wrong PINs; without a name, say who is.

Whoever gives this command has found out who tried: it may not have been the person whose PIN
it was. Have the officer in charge decide, and let the person choose another PIN if in doubt.
An officer does it on the tablet itself with the own PIN, which the record then names; this is
for when none can. The record is told that it was done by a command, not by whom.
The counts of others, and of the tablet, stay. The tablet may run meanwhile.`

func newUnlock(c *command.Console) *cobra.Command {
	var data string
	cmd := &cobra.Command{
		Use:     "unlock [PERSON]",
		Short:   "Let somebody sign in again who was locked out",
		Long:    unlockHelp,
		Example: "  kiosk unlock --data /var/lib/bayround-kiosk\n  kiosk unlock arkwith --data /var/lib/bayround-kiosk",
		Args:    cobra.MaximumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			guard, err := access.OpenGuard(filepath.Join(data, attemptsFile), time.Now)
			if err != nil {
				return err
			}
			locked := guard.Locked()
			if len(args) == 0 {
				for _, l := range locked {
					c.Say("%s", l.Person)
				}
				return nil
			}
			person := "people/" + strings.TrimPrefix(args[0], "people/")
			if !slices.ContainsFunc(locked, func(l access.Lock) bool { return l.Person == person }) {
				return command.Misuse("%s is not locked out at this tablet; kiosk unlock without a name says who is", person)
			}
			if err := guard.Pardon(person); err != nil {
				return err
			}
			c.Say("%s may sign in again", person)
			return nil
		},
	}
	cmd.Flags().StringVar(&data, "data", "kiosk-data", "folder of the tablet's own record")
	return cmd
}
