package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/mod/sumdb/note"

	"bayround/internal/command"
	"bayround/internal/durable"
	"bayround/internal/fault"
	"bayround/internal/photo"
	"bayround/internal/recordfile"
	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

const backupHelp = `Write everything that a station's record is into a new folder: the record as a file that proves
itself, the photos its results speak of, and a MANIFEST with the size and SHA-256 of each file. It is
read back before it gets its name; until then it lies in a folder beside it that ends in .tmp,
and the next backup to the same place begins that anew.

The station may go on taking results meanwhile; the backup holds what it had when the backup began. The record
is read from the station that runs. --data names the folder of its record on this machine:
photos and the signing key are then taken from there, and the record too when the station is stopped.

The signing key is in the backup only with --data. Without it a restored station has everything
and cannot go on until the key is put in place. With it, guard the backup as you guard the
record: it tells names, and whoever has the key can sign in the station's name.

A backup that was never restored is a hope. "server backup verify" reads one through; a restore
into an empty folder shows that it works.`

const backupVerifyHelp = `Read a backup through: the signature of its MANIFEST, the SHA-256 of every file, the record event by
event up to the checkpoint the station signed, every photo. Says what it holds, or names the file that was
changed, and then ends with exit code 5. Nothing is changed, and no station is needed.`

// backupFlags are what backup is told.
type backupFlags struct {
	to      string
	address string
	data    string
	offline bool // the station must be stopped
}

func newBackup(c *console) *cobra.Command {
	var f backupFlags
	cmd := &cobra.Command{
		Use:   "backup --to FOLDER",
		Short: "Write the record, its photos and its key into a folder that proves itself",
		Long:  backupHelp,
		Example: `  server backup --to /mnt/stick/2026-02-03 --data /var/lib/bayround
  server backup --to /mnt/stick/2026-02-03 --server 10.0.0.5:7443
  server backup verify /mnt/stick/2026-02-03`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if f.to == "" {
				return command.Misuse("say with --to which folder to make, for instance --to /mnt/stick/2026-02-03")
			}
			m, err := f.run(cmd.Context(), c)
			if err != nil {
				return err
			}
			c.Say("backup in %s", f.to)
			sayBackup(c, m)
			return nil
		},
	}
	serverFlag(cmd, &f.address)
	cmd.Flags().StringVar(&f.to, "to", "", "folder to make; it must not be there yet, or be empty")
	cmd.Flags().StringVar(&f.data, "data", "", "folder of the record, for its photos and its signing key")
	cmd.AddCommand(&cobra.Command{
		Use:     "verify FOLDER",
		Short:   "Read a backup through and say whether it is sound",
		Long:    backupVerifyHelp,
		Example: "  server backup verify /mnt/stick/2026-02-03",
		Args:    cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			m, err := verifyBackup(args[0])
			if err != nil {
				return err
			}
			c.Say("sound: backup of %s", m.Made.Format(time.RFC3339))
			sayBackup(c, m)
			return nil
		},
	})
	return cmd
}

// run makes the backup and gives it its name when it is whole.
func (f *backupFlags) run(ctx context.Context, c *console) (*manifest, error) {
	if err := emptyOrAbsent(f.to, "a backup"); err != nil {
		return nil, err
	}
	if f.data != "" {
		if err := isRecord(f.data); err != nil {
			return nil, err
		}
	}
	draft := filepath.Clean(f.to) + ".tmp"
	if err := errors.Join(os.RemoveAll(draft), os.MkdirAll(draft, 0o700)); err != nil {
		return nil, command.Misuse("the backup cannot be written: %w", err)
	}
	if err := f.fill(ctx, c, draft); err != nil {
		return nil, err
	}
	m, err := verifyBackup(draft)
	if err != nil {
		return nil, fmt.Errorf("reading back what was written: %w", err)
	}
	if err := syncFolders(draft); err != nil {
		return nil, err
	}
	return m, durable.Rename(draft, filepath.Clean(f.to))
}

// fill writes everything into a folder.
func (f *backupFlags) fill(ctx context.Context, c *console, folder string) error {
	report, err := exported(filepath.Join(folder, recordName), func(to io.Writer) error { return f.record(ctx, c, to) })
	if err != nil {
		return err
	}
	holds, err := station.SurveyFile(filepath.Join(folder, recordName))
	if err != nil {
		return err
	}
	m := &manifest{
		Version: manifestVersion, Made: time.Now().UTC().Truncate(time.Second), Program: strings.Join(command.Version(), ", "),
		JournalID: report.Head.GetJournalId(), VerifierKey: report.Head.GetVerifierKey(), Events: report.Last, Checkpoint: report.Checkpoint,
	}
	if !holds.Newest.IsZero() {
		m.Newest = &holds.Newest
	}
	if err := m.list(folder, recordName); err != nil {
		return err
	}
	if err := f.photos(ctx, c, m, folder, holds.Photos); err != nil {
		return err
	}
	signer, err := f.key(m, folder)
	if err != nil {
		return err
	}
	return m.write(folder, signer)
}

// record writes the record: from the folder when its station is stopped, else from
// the station that runs.
func (f *backupFlags) record(ctx context.Context, c *console, to io.Writer) error {
	if f.data != "" {
		err := station.Export(ctx, f.data, 1, to, offlineLog(c))
		var held *fault.Fault
		if f.offline || !errors.As(err, &held) || held.Reason != "JOURNAL_LOCKED" {
			return err
		}
	}
	return c.asking(f.address, func(s *remote) error { return s.export(ctx, 1, to) })
}

// photos copies the photos that results speak of. One that has not arrived yet, or
// is damaged, is told and keeps no backup from being made.
func (f *backupFlags) photos(ctx context.Context, c *console, m *manifest, folder string, names []string) error {
	if len(names) == 0 {
		return nil
	}
	get := func(name string) ([]byte, error) {
		return os.ReadFile(filepath.Join(f.data, filepath.FromSlash(photoFile(name))))
	}
	if f.data == "" {
		s, err := c.reach(f.address)
		if err != nil {
			return err
		}
		defer s.close()
		photos := pb.NewPhotoServiceClient(s.conn)
		get = func(name string) ([]byte, error) {
			ctx, cancel := patiently(ctx)
			defer cancel()
			got, err := photos.GetPhoto(ctx, &pb.GetPhotoRequest{Sha256: name})
			return got.GetContent(), err
		}
	}
	for _, name := range names {
		content, err := get(name)
		switch {
		case absent(err), err == nil && photo.Sum(content) != name:
			m.Missing = append(m.Missing, name)
			continue
		case err != nil:
			return fmt.Errorf("photo %s: %w", name, err)
		}
		path := filepath.Join(folder, filepath.FromSlash(photoFile(name)))
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			return err
		}
		if err := writeSynced(path, content); err != nil {
			return err
		}
		if err := m.list(folder, photoFile(name)); err != nil {
			return err
		}
	}
	return nil
}

// photoFile is where a photo lies, in the folder of a record and in a backup.
func photoFile(name string) string { return photosFolder + "/" + name[:2] + "/" + name }

// absent tells that there is no such photo, or none that is whole.
func absent(err error) bool {
	return errors.Is(err, fs.ErrNotExist) || fault.Is(err, fault.NotFound) || fault.Is(err, fault.Lost) || fault.Is(err, fault.Precondition)
}

// key copies the signing key when the folder is named, and returns what signs with it.
func (f *backupFlags) key(m *manifest, folder string) (note.Signer, error) {
	if f.data == "" {
		return nil, nil
	}
	secret, err := os.ReadFile(filepath.Join(f.data, keyName))
	if err != nil {
		return nil, command.Misuse("the signing key cannot be read; take the user the station runs as, or leave --data out and back up without the key: %w", err)
	}
	signer, err := note.NewSigner(strings.TrimSpace(string(secret)))
	if err != nil || !strings.HasPrefix(m.VerifierKey, fmt.Sprintf("%s+%08x+", signer.Name(), signer.KeyHash())) {
		return nil, fault.New(fault.Precondition, "KEY_MISMATCH", "the signing key in %s is not that of the station whose record was read; --data and --server are of two stations", f.data)
	}
	if err := writeSynced(filepath.Join(folder, keyName), secret); err != nil {
		return nil, err
	}
	return signer, m.list(folder, keyName)
}

// verifyBackup reads a backup through and holds it to everything.
func verifyBackup(folder string) (*manifest, error) {
	m, err := readManifest(folder)
	if err != nil {
		return nil, err
	}
	if err := m.check(folder); err != nil {
		return nil, err
	}
	file, err := os.Open(filepath.Join(folder, recordName))
	if err != nil {
		return nil, err
	}
	report, err := recordfile.Verify(file)
	if err = errors.Join(err, file.Close()); err != nil {
		return nil, fmt.Errorf("the file %s of the backup: %w", recordName, err)
	}
	if report.Head.GetJournalId() != m.JournalID || report.Head.GetVerifierKey() != m.VerifierKey || report.Checkpoint != m.Checkpoint || report.Last != m.Events {
		return nil, notAsWritten("it speaks of another record than the one that lies beside it")
	}
	for _, name := range m.photos() {
		if listing, err := listing(folder, photoFile(name)); err != nil || listing.SHA256 != name {
			return nil, fault.New(fault.Lost, "BACKUP_DAMAGED", "the file %s of the backup is not the photo of that name", photoFile(name))
		}
	}
	return m, nil
}

// sayBackup says what a backup holds, and what it does not.
func sayBackup(c *console, m *manifest) {
	newest := "no event"
	if m.Newest != nil {
		newest = "the newest of " + m.Newest.Format(time.RFC3339)
	}
	c.Say("%d events, %s, journal %s; %d photos", m.Events, newest, m.JournalID, len(m.photos()))
	if n := len(m.Missing); n > 0 {
		c.Say("%d photos that results speak of had not arrived, or were damaged, and are not in it", n)
	}
	if m.has(keyName) {
		c.Say("the signing key is in it: guard it like the record")
	} else {
		c.Say("the signing key is not in it, and the MANIFEST is not signed: without %s of the folder of the record a restored station cannot go on", keyName)
	}
	if m.Checkpoint != "" {
		c.Say("\n%s", m.Checkpoint)
	}
}

// emptyOrAbsent refuses a folder that holds anything.
func emptyOrAbsent(folder, what string) error {
	entries, err := os.ReadDir(folder)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return command.MisusedBy(err)
	}
	if len(entries) > 0 {
		return command.Misuse("%s is not empty; %s gets a folder of its own, so that nothing is written over", folder, what)
	}
	return nil
}

// syncFolders makes the names of all files below a folder durable.
func syncFolders(folder string) error {
	return filepath.WalkDir(folder, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || !entry.IsDir() {
			return err
		}
		return durable.SyncDir(path)
	})
}
