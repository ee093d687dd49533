package main

import (
	"strings"

	"github.com/spf13/cobra"

	"bayround/internal/command"
)

const rootHelp = `The tablet in the appliance bay. It leads the nominated driver round the vehicle, keeps every
answer on its own disk before it says so, judges by the same rules as the station, and sends
everything to the station once, in order, when the network is there. It also serves the bay
display.

Exit codes
  0  done
  1  something failed; the message says what
  2  the command was not understood
  3  something was refused: a folder of another tablet, a PIN that is too easy
  4  an address or folder is in use
  5  the tablet's own record is damaged: a person must act
  6  it stopped itself because a write failed: start it again`

const rootExample = `  kiosk serve --station 127.0.0.1:7443 --data /var/lib/bayround-kiosk --device tablet-1
  kiosk enrol --station 192.0.2.7:7443 --station-sha256 … --device tablet-1
  kiosk pin                                    asks for a PIN and prints its hash`

// newRoot puts the commands together.
func newRoot(c *command.Console) *cobra.Command {
	root := &cobra.Command{
		Use:           "kiosk",
		Short:         "The tablet and the display of an appliance bay",
		Long:          rootHelp,
		Example:       rootExample,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.NoArgs,
		// What is asked for without a command is the help.
		RunE:              func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
		PersistentPreRunE: func(*cobra.Command, []string) error { c.Understood = true; return nil },
	}
	root.AddCommand(newServe(c), newEnrol(c), newPIN(c), newUnlock(c), newForgetStation(c), newVersion(c))
	return root
}

func newVersion(c *command.Console) *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Say which version this is",
		Long:  "Say which version this is, from which change it was built, and with which Go.",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			c.Say("%s", strings.Join(command.Version(), "\n"))
			return nil
		},
	}
}
