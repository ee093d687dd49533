package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"bayround/internal/command"
	"bayround/internal/durable"
	"bayround/internal/fault"
	"bayround/internal/recordfile"
	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

const exportHelp = `Write the record, exactly as it is kept, into a file that proves itself: every event, what the
station answered, and the checkpoint it signed. "server verify-export" holds such a file to all
of that, on any computer and without a station.

It is read from the station that runs, or with --data from a folder while the station is
stopped. The file must not be there yet. It tells names: keep it like the record.`

const verifyExportHelp = `Read a file that "server export" wrote and hold it to everything: that no event is missing,
changed or in another place, that the tree of all events has the root the station signed, that
no byte differs from what was sealed. Says whose record it is, how many events there are, the
root and the checkpoint, or the first bad place, and then ends with exit code 5. It needs no
station.

Whoever has the file may have made it anew with a key of his own. --key takes the key that is
known otherwise, from a tablet for instance or from an earlier file; the file is refused when it is
of another.`

// exportFlags are what export is told.
type exportFlags struct {
	address string
	data    string
	first   uint64
}

func newExport(c *console) *cobra.Command {
	var f exportFlags
	cmd := &cobra.Command{
		Use:   "export FILE",
		Short: "Write the record into a file that proves itself",
		Long:  exportHelp,
		Example: `  server export station.record
  server export --first 1201 newer.record
  server export --data /var/lib/bayround station.record`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return f.run(cmd.Context(), c, args[0]) },
	}
	serverFlag(cmd, &f.address)
	cmd.Flags().StringVar(&f.data, "data", "", "read this folder instead, whose station is stopped")
	cmd.Flags().Uint64Var(&f.first, "first", 1, "begin with the command that made this event")
	return cmd
}

func (f *exportFlags) run(ctx context.Context, c *console, name string) error {
	report, err := exported(name, func(to io.Writer) error {
		if f.data == "" {
			return c.asking(f.address, func(s *remote) error { return s.export(ctx, int64(f.first), to) })
		}
		if err := isRecord(f.data); err != nil {
			return err
		}
		return station.Export(ctx, f.data, f.first, to, offlineLog(c))
	})
	if err != nil {
		return err
	}
	c.Say("%s: %s", name, report)
	return nil
}

// exported has a new file written, makes sure of it as a reader would, and leaves
// none when something went wrong.
func exported(name string, write func(io.Writer) error) (report recordfile.Report, err error) {
	f, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
	if err != nil {
		return report, command.Misuse("the file cannot be made: %w", err)
	}
	defer func() {
		if err = errors.Join(err, f.Close()); err != nil {
			err = errors.Join(err, os.Remove(name))
		}
	}()
	to := bufio.NewWriterSize(f, 256<<10)
	if err := errors.Join(write(to), to.Flush()); err != nil {
		return report, err
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return report, err
	}
	if report, err = recordfile.Verify(f); err != nil {
		return report, fmt.Errorf("reading back what was written: %w", err)
	}
	return report, errors.Join(f.Sync(), durable.SyncDir(filepath.Dir(name)))
}

// export writes the stretch of the station's record from an event on.
func (s *remote) export(ctx context.Context, first int64, to io.Writer) error {
	stream, err := pb.NewJournalServiceClient(s.conn).ExportRecord(ctx, &pb.ExportRecordRequest{FirstSequence: first})
	if err != nil {
		return err
	}
	return recordfile.Receive(to, func() (*pb.RecordPart, error) {
		m, err := stream.Recv()
		return m.GetPart(), err
	})
}

func newVerifyExport(c *console) *cobra.Command {
	var key string
	cmd := &cobra.Command{
		Use:     "verify-export FILE",
		Short:   "Say whether an exported file is sound, and whose it is",
		Long:    verifyExportHelp,
		Example: "  server verify-export station.record\n  server verify-export --key bayround/station+1f2e3d4c+AaBb... station.record",
		Args:    cobra.ExactArgs(1),
		RunE:    func(_ *cobra.Command, args []string) error { return verifyExport(c, args[0], key) },
	}
	cmd.Flags().StringVar(&key, "key", "", "the station's key, when it is known otherwise")
	return cmd
}

func verifyExport(c *console, name, key string) error {
	f, err := os.Open(name)
	if err != nil {
		return command.Misuse("there is no such file: %w", err)
	}
	defer f.Close()
	report, err := recordfile.Verify(f)
	if report.Head != nil && key != "" && report.Head.GetVerifierKey() != key {
		err = errors.Join(otherKey(report.Head.GetVerifierKey()), err)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	sayExport(c, report)
	return nil
}

func sayExport(c *console, r recordfile.Report) {
	c.Say("sound: %s", r)
	if r.Dropped > 0 {
		c.Say("%d of %d events are there by their hash only: their time was over", r.Dropped, r.Events)
	}
	c.Say("key %s", r.Head.GetVerifierKey())
	if r.Checkpoint != "" {
		c.Say("\n%s", r.Checkpoint)
	}
}

func otherKey(key string) error {
	return fault.New(fault.Lost, "KEY_DIFFERS", "the file is not of the station with that key, it names the key %s: it is of another station, or was made anew by somebody", key)
}
