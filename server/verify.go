package main

import (
	"log/slog"
	"os"

	"github.com/spf13/cobra"

	"bayround/internal/station"

	"bayround/internal/command"
)

const verifyHelp = `Re-read a whole record: every event and its hash, the order, the root against the signed
head, the signature. Says how many events there are, or where the first bad one is, and then
ends with exit code 5. Nothing is changed.

The station must be stopped: a record belongs to one process at a time.`

const rebuildHelp = `Make everything that follows from the record anew: what is in force, rounds, defects, the
newest answers. The record itself is read, never changed; it is verified first, and a damaged
one is refused with exit code 5. A station does this by itself when it has to; this is for
whoever wants to be sure.

The station must be stopped: a record belongs to one process at a time.`

func newVerify(c *console) *cobra.Command {
	var data string
	cmd := &cobra.Command{
		Use:     "verify",
		Short:   "Re-read a whole record and say whether it is sound",
		Long:    verifyHelp,
		Example: "  server verify --data /var/lib/bayround",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := isRecord(data); err != nil {
				return err
			}
			report, err := station.Verify(cmd.Context(), data, offlineLog(c))
			if report.Problem != "" {
				c.Say("%s", report)
			}
			if err != nil {
				return err
			}
			c.Say("sound: %s", report)
			return nil
		},
	}
	cmd.Flags().StringVar(&data, "data", "data", "folder of the record")
	return cmd
}

func newRebuild(c *console) *cobra.Command {
	var data string
	cmd := &cobra.Command{
		Use:     "rebuild",
		Short:   "Make everything that follows from the record anew",
		Long:    rebuildHelp,
		Example: "  server rebuild --data /var/lib/bayround",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := isRecord(data); err != nil {
				return err
			}
			events, err := station.Rebuild(cmd.Context(), data, offlineLog(c))
			if err != nil {
				return err
			}
			c.Say("made anew from %d events", events)
			return nil
		},
	}
	cmd.Flags().StringVar(&data, "data", "data", "folder of the record")
	return cmd
}

// isRecord keeps a mistyped folder from being made and found sound.
func isRecord(folder string) error {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return command.Misuse("there is no record: %w", err)
	}
	if len(entries) == 0 {
		return command.Misuse("there is no record: %s is empty", folder)
	}
	if len(entries) == 1 && entries[0].Name() == photosFolder {
		return command.Misuse("there is no record: %s holds only photos", folder)
	}
	return nil
}

// offlineLog hears only of trouble.
func offlineLog(c *console) *slog.Logger {
	return slog.New(slog.NewTextHandler(c.Err, &slog.HandlerOptions{Level: slog.LevelWarn}))
}
