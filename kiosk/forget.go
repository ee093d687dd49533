package main

import (
	"time"

	"github.com/spf13/cobra"

	"bayround/internal/command"
	"bayround/internal/round"
)

const forgetHelp = `Have the tablet take the next station that answers for the right one.

A tablet remembers the station it met first, by its key and its record, and holds it to that:
the record may only grow. Where that is not so it shows an ALARM and sends nothing more. The
alarm is right until somebody has found out which record is the true one: compare the station's
"server export" with the tablet's copy, and ask whoever looks after the station. Only then, with
the right station in place, give this command; the alarm ends at the next contact, and what
waits on the tablet is sent.

What the tablet saw is put aside in its folder, not removed. The tablet may run meanwhile.`

func newForgetStation(c *command.Console) *cobra.Command {
	var data string
	cmd := &cobra.Command{
		Use:     "forget-station",
		Short:   "End an alarm about the station, once somebody has decided",
		Long:    forgetHelp,
		Example: "  kiosk forget-station --data /var/lib/bayround-kiosk",
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			aside, err := round.ForgetStation(data, time.Now())
			if err != nil {
				return err
			}
			if aside == "" {
				c.Say("this tablet knew no station")
				return nil
			}
			c.Say("forgotten: the next station that answers is taken for the right one; what was seen is in %s", aside)
			return nil
		},
	}
	cmd.Flags().StringVar(&data, "data", "kiosk-data", "folder of the tablet's own record")
	return cmd
}
