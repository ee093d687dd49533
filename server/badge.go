package main

import (
	"context"
	"crypto/rand"
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"bayround/internal/access"
	"bayround/internal/command"
	pb "bayround/proto/bayround/v1"
)

// badgeKeyFile is the key by which badges are hashed, in the folder of the station's keys.
const badgeKeyFile = "badge.key"

// openBadges opens that key, and makes it at the first start.
func openBadges(folder string) (*access.Badges, error) {
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return nil, fmt.Errorf("make the folder of keys: %w", err)
	}
	badges, err := access.OpenBadges(filepath.Join(folder, badgeKeyFile))
	if err != nil {
		return nil, err
	}
	return badges, badges.Draw(rand.Reader)
}

const badgeHelp = `Have the station hash a badge by its key for badges, and print the line to stand in the
person's file that "server apply" takes. The badge is what its reader types, as a keyboard does:
6 to 64 letters, digits and marks. It is read from the terminal without showing it, from a pipe or
from a file, and kept nowhere.

At a tablet the badge then chooses who signs in. It proves nothing: the PIN is asked for all the
same. A station whose key for badges was lost (trust/badge.key) has all of them hashed anew.`

func newBadge(c *console) *cobra.Command {
	var address string
	cmd := &cobra.Command{
		Use:     "badge [FILE]",
		Short:   "Make the hash of a badge, for a person's file",
		Long:    badgeHelp,
		Example: "  server badge\n  server badge badge.txt",
		Args:    cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			from := cmd.InOrStdin()
			if len(args) == 1 {
				file, err := os.Open(args[0])
				if err != nil {
					return command.MisusedBy(err)
				}
				defer func() { _ = file.Close() }()
				from = file
			}
			badge, err := command.ReadSecret(&c.Console, from, "badge, read or typed:")
			if err != nil {
				return err
			}
			return c.asking(address, func(s *remote) error { return s.hashBadge(cmd.Context(), c, badge) })
		},
	}
	serverFlag(cmd, &address)
	return cmd
}

func (s *remote) hashBadge(ctx context.Context, c *console, badge string) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	resp, err := pb.NewPeopleServiceClient(s.conn).HashBadge(ctx, &pb.HashBadgeRequest{Badge: badge})
	if err != nil {
		return err
	}
	c.Say("badge_hmac_sha256: %s", resp.GetBadgeHmacSha256())
	return nil
}
