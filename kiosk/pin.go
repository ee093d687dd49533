package main

import (
	"crypto/rand"

	"github.com/spf13/cobra"

	"bayround/internal/access"
	"bayround/internal/command"
)

const pinHelp = `Read a PIN and print its Argon2id hash, to stand as pin_argon2id in the person's file that
"server apply" takes. The PIN is read from the terminal without showing it, or from a pipe.
It is never an argument: arguments can be read by everybody on the machine.`

func newPIN(c *command.Console) *cobra.Command {
	return &cobra.Command{
		Use:     "pin",
		Short:   "Make the hash of a PIN, for a person's file",
		Long:    pinHelp,
		Example: "  kiosk pin\n  kiosk pin <pin.txt",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			pin, err := command.ReadSecret(c, cmd.InOrStdin(), "PIN, four to eight digits:")
			if err != nil {
				return err
			}
			hash, err := access.Hash(pin, rand.Reader)
			if err != nil {
				return err
			}
			c.Say("%s", hash)
			return nil
		},
	}
}
