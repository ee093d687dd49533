package main

import (
	"bufio"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

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
			pin, err := readPIN(c, cmd.InOrStdin())
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

// readPIN reads one line; from a terminal without showing it.
func readPIN(c *command.Console, in io.Reader) (string, error) {
	if file, ok := in.(*os.File); ok && term.IsTerminal(int(file.Fd())) { //nolint:gosec // a file descriptor fits
		c.Complain("PIN, four to eight digits:")
		pin, err := term.ReadPassword(int(file.Fd())) //nolint:gosec // a file descriptor fits
		if err != nil {
			return "", fmt.Errorf("reading the PIN: %w", err)
		}
		return string(pin), nil
	}
	line, err := bufio.NewReader(io.LimitReader(in, 100)).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return "", fmt.Errorf("reading the PIN: %w", err)
	}
	return strings.TrimRight(line, "\r\n"), nil
}
