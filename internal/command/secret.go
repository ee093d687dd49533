package command

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/term"
)

// ReadSecret reads one line; from a terminal without showing it, after asking for it. A
// secret is never an argument: arguments can be read by everybody on the machine.
func ReadSecret(c *Console, in io.Reader, ask string) (string, error) {
	if file, ok := in.(*os.File); ok && term.IsTerminal(int(file.Fd())) { //nolint:gosec // a file descriptor fits
		c.Complain("%s", ask)
		secret, err := term.ReadPassword(int(file.Fd())) //nolint:gosec // a file descriptor fits
		if err != nil {
			return "", fmt.Errorf("reading from the terminal: %w", err)
		}
		return string(secret), nil
	}
	line, err := bufio.NewReader(io.LimitReader(in, 100)).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return "", fmt.Errorf("reading a line: %w", err)
	}
	return strings.TrimRight(line, "\r\n"), nil
}
