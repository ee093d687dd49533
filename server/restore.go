package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"bayround/internal/photo"
	"bayround/internal/station"

	"bayround/internal/command"
)

const restoreHelp = `Make the folder of a station's record anew from a backup, in an empty folder. First the whole backup is read:
the signature of its MANIFEST, the SHA-256 of every file, the record up to the checkpoint the station
signed; one wrong byte and nothing is put in place, with exit code 5 and the name of the file. Then
the record is written, its root held against that checkpoint, and read back.

A restore that breaks off leaves a folder that no station starts with; restore into it again.

What is not in the backup is not in the station: whatever happened after it was made. Tablets that
saw more of the record show that it is behind, offer what they hold of it, and the station takes nothing
until "server repair", or its next start, has brought that back. What was erased after the backup was
made is back, and must be erased again.

Never start two stations from one record: see "server move".`

func newRestore(c *console) *cobra.Command {
	var from, data string
	cmd := &cobra.Command{
		Use:     "restore --from FOLDER --data FOLDER",
		Short:   "Make the folder of a record anew from a backup",
		Long:    restoreHelp,
		Example: "  server restore --from /mnt/stick/2026-02-03 --data /var/lib/bayround",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if from == "" || data == "" {
				return command.Misuse("say with --from which backup, and with --data which empty folder to make the record in")
			}
			return restore(cmd.Context(), c, from, data)
		},
	}
	cmd.Flags().StringVar(&from, "from", "", "folder of the backup")
	cmd.Flags().StringVar(&data, "data", "", "folder to make the record in; it must be empty or not be there")
	return cmd
}

func restore(ctx context.Context, c *console, from, data string) error {
	m, err := verifyBackup(from)
	if err != nil {
		return err
	}
	o := station.RestoreOptions{
		Dir: data, File: filepath.Join(from, recordName), Logger: offlineLog(c),
		Beside: func() error { return restorePhotos(m, from, data) },
	}
	if m.has(keyName) {
		if o.Signer, err = os.ReadFile(filepath.Join(from, keyName)); err != nil {
			return command.MisusedBy(err)
		}
	}
	report, err := station.Restore(ctx, o)
	if err != nil {
		return err
	}
	c.Say("restored into %s: %s", data, report)
	if m.Newest != nil {
		c.Say("the newest event is of %s; what happened after it is not in this backup, which was made %s", m.Newest.Format(time.RFC3339), m.Made.Format(time.RFC3339))
	}
	c.Say("%d photos", len(m.photos()))
	if n := len(m.Missing); n > 0 {
		c.Say("%d photos that results speak of were not in the backup", n)
	}
	if !m.has(keyName) {
		c.Say("the signing key was not in the backup: put it into %s before you start the station", filepath.Join(data, keyName))
	}
	c.Say("never start the station that this was a backup of again: two that go on from one record are two histories")
	return nil
}

// restorePhotos copies the photos of a backup and holds each to its name.
func restorePhotos(m *manifest, from, data string) error {
	photos, err := photo.Open(photo.Options{Dir: filepath.Join(data, photosFolder)})
	if err != nil {
		return err
	}
	for _, name := range m.photos() {
		content, err := os.ReadFile(filepath.Join(from, filepath.FromSlash(photoFile(name))))
		if err != nil {
			return err
		}
		if is, err := photos.Put(content); err != nil || is != name {
			return fmt.Errorf("photo %s cannot be put in place (it is now %q): %w", name, is, err)
		}
	}
	return nil
}
