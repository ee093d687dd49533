package main

import (
	"context"
	"errors"

	"github.com/spf13/cobra"

	"bayround/internal/command"
	"bayround/internal/station"
)

const moveHelp = `Bring a station to another computer. Without flags nothing is done and the steps are said. With
--data and --to the last backup of the stopped station is made, and its folder is marked as moved: a
station does not start from it any more.

Two stations that go on from one record make two histories, and both are signed with the
same key. The mark keeps the old one from starting. Where it was lost, because the disk was copied for
instance, the tablets notice: each keeps the newest checkpoint it was shown and raises an alarm when a
station's record does not go on from there.`

const moveSteps = `To bring a station to another computer:

  1  On the old one, stop the station: systemctl stop bayround, or Ctrl-C.
  2  Let the tablets alone: what they record meanwhile waits on them.
  3  Make the last backup and mark the old folder:
       server move --data /var/lib/bayround --to /mnt/stick/move
     The backup holds the signing key: guard it, and destroy it when you are done.
     It does not hold the folder /var/lib/bayround/trust, by which tablets know the station: copy that, too,
     and guard it as well. Without it every tablet must be enrolled again.
  4  On the new one:
       server backup verify /mnt/stick/move
       server restore --from /mnt/stick/move --data /var/lib/bayround
       put the folder trust back into /var/lib/bayround, readable by the station's user alone
       server serve --data /var/lib/bayround
  5  Give the new one the address of the old, or tell the tablets the new address. They send what
     waits, and say so if the record does not go on from what they saw last.
  6  Never start the old one again. Its folder holds a file MOVED that keeps a station from it;
     wipe its disk when the new one has run for a while and has been backed up.`

func newMove(c *console) *cobra.Command {
	var f backupFlags
	cmd := &cobra.Command{
		Use:     "move [--data FOLDER --to FOLDER]",
		Short:   "Bring a station to another computer",
		Long:    moveHelp,
		Example: "  server move\n  server move --data /var/lib/bayround --to /mnt/stick/move",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if f.data == "" && f.to == "" {
				c.Say("%s", moveSteps)
				return nil
			}
			if f.data == "" || f.to == "" {
				return command.Misuse("say both: with --data which record moves, and with --to where its last backup goes")
			}
			return move(cmd.Context(), c, &f)
		},
	}
	cmd.Flags().StringVar(&f.data, "data", "", "folder of the record that moves; its station must be stopped")
	cmd.Flags().StringVar(&f.to, "to", "", "folder to make the last backup in")
	return cmd
}

func move(ctx context.Context, c *console, f *backupFlags) error {
	// The station must be stopped, or what it takes after the backup would be lost.
	f.offline = true
	m, err := f.run(ctx, c)
	if err != nil {
		return err
	}
	if err := station.MarkMoved(f.data, f.to, []byte(m.Checkpoint)); err != nil {
		return errors.Join(err, command.Misuse("the backup in %s is whole, but %s is not marked as moved", f.to, f.data))
	}
	c.Say("backup in %s", f.to)
	sayBackup(c, m)
	c.Say("%s is marked as moved: no station starts from it any more. On the new computer:\n", f.data)
	c.Say("  server restore --from %s --data FOLDER\n  server serve --data FOLDER", f.to)
	return nil
}
