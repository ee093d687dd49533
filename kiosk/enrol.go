package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"bayround/internal/command"
	"bayround/internal/fault"
	"bayround/internal/rpc"
	"bayround/internal/trust"
)

// trustFolder is where a tablet's key and certificate lie.
const trustFolder = "trust"

const (
	// enrolPatience is how long the station has to answer one try.
	enrolPatience = 10 * time.Second
	// enrolTries is how often an answer that was lost is asked for again.
	enrolTries = 3
	// renewalsEvery is how often a tablet looks whether its certificate is to be renewed.
	renewalsEvery = time.Hour
)

const enrolHelp = `Have this tablet let in at the station. The key is made here and never leaves the tablet; the station
signs a certificate for it, for 60 days, which the tablet renews by itself.

"server enrol" at the station says what to type here, the code included. The code is asked for, or
read from a pipe: arguments can be read by everybody on the machine. The SHA-256 is by what the tablet
knows the station; where another answers, it is told nothing.

An old tablet is enrolled again in its old folder and under its old name: what it recorded is kept.`

type enrolFlags struct {
	station, sha256, data, device string
}

func newEnrol(c *command.Console) *cobra.Command {
	var f enrolFlags
	cmd := &cobra.Command{
		Use:     "enrol",
		Short:   "Have this tablet let in at the station",
		Long:    enrolHelp,
		Example: "  kiosk enrol --device tablet-2 --station 192.0.2.7:7443 --station-sha256 3f5c…",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return f.run(cmd.Context(), c, cmd.InOrStdin()) },
	}
	flags := cmd.Flags()
	flags.StringVar(&f.station, "station", "127.0.0.1:7443", "address of the station server")
	flags.StringVar(&f.sha256, "station-sha256", "", "SHA-256 of the public key of the station's authority, as server enrol shows it")
	flags.StringVar(&f.data, "data", "kiosk-data", "folder of this tablet's own record")
	flags.StringVar(&f.device, "device", "tablet-1", "name of this tablet in the record")
	return cmd
}

func (f *enrolFlags) run(ctx context.Context, c *command.Console, in io.Reader) error {
	if !deviceName.MatchString(f.device) {
		return command.Misuse("--device %q: say lower-case letters, digits and single hyphens, for instance tablet-1", f.device)
	}
	pin, err := trust.ReadPin(f.sha256)
	if err != nil {
		return command.Misuse("--station-sha256: %w", err)
	}
	c.Complain("Code, as server enrol %s shows it:", f.device)
	line, err := bufio.NewReader(io.LimitReader(in, 100)).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return fmt.Errorf("reading the code: %w", err)
	}
	code, err := trust.ReadCode(strings.TrimRight(line, "\r\n"))
	if err != nil {
		return err
	}
	ticket := rpc.Ticket{Device: f.device, Code: code, AuthoritySHA256: pin, Folder: filepath.Join(f.data, trustFolder)}
	if err := enrol(ctx, f.station, ticket); err != nil {
		return err
	}
	c.Say("%s is enrolled; start it with: kiosk serve --station %s --device %s --data %s", f.device, f.station, f.device, f.data)
	return nil
}

// enrol tries with one key as often as an answer is lost.
func enrol(ctx context.Context, station string, t rpc.Ticket) error {
	applicant, err := trust.NewApplicant()
	if err != nil {
		return err
	}
	for try := 1; ; try++ {
		asking, cancel := context.WithTimeout(ctx, enrolPatience)
		err := rpc.Enrol(asking, station, applicant, t)
		cancel()
		if err == nil || try == enrolTries || !fault.Is(err, fault.Unavailable) {
			return err
		}
	}
}

// closeKeys closes the tablet's keys to others on it, and says when they were not.
func closeKeys(data string, log *slog.Logger) error {
	open, err := trust.CloseToOthers(filepath.Join(data, trustFolder), filepath.Join(data, badgeKeyFile), filepath.Join(data, "record", "signer.key"))
	if len(open) > 0 {
		log.Warn("others on this tablet could open its keys until now; they are closed to them. If somebody may have read one: server revoke, and enrol this tablet again", "were_open", open)
	}
	return err
}

// closeRecord closes what the tablet keeps to others on it. What else lies in its folder is
// left alone: a tablet may have been given a folder that serves for more.
func closeRecord(data string, log *slog.Logger) error {
	var names []string
	for _, name := range []string{"record", "copy", "photos", "session.json", attemptsFile} {
		names = append(names, filepath.Join(data, name))
	}
	open, err := trust.CloseAlone(names...)
	if len(open) > 0 {
		log.Warn("others on this tablet could open its record until now; it is closed to them. If somebody may have read it, they have names and hashes of PINs: have all PINs chosen anew", "were_open", open)
	}
	return err
}

// dial connects to the station as this tablet, and keeps its certificate renewed.
func (r *running) dial(ctx context.Context, f *serveFlags) (*grpc.ClientConn, error) {
	if f.plain {
		conn, err := rpc.Dial(f.station)
		if err == nil {
			r.later(conn.Close)
		}
		return conn, err
	}
	wallet := trust.OpenWallet(trust.FilesIn(filepath.Join(f.data, trustFolder)), r.clock)
	if held, err := wallet.Read(); err == nil && held.Name != f.device {
		return nil, fmt.Errorf("%s was enrolled as %q, and --device says %q; start it under the name it was enrolled with", f.data, held.Name, f.device)
	}
	conn, err := rpc.DialSecure(f.station, wallet)
	if err != nil {
		return nil, err
	}
	r.later(conn.Close)
	renewing, end := context.WithCancel(context.WithoutCancel(ctx))
	var runs sync.WaitGroup
	runs.Go(func() { rpc.KeepRenewed(renewing, conn, wallet, r.log, renewalsEvery) })
	r.later(func() error { end(); runs.Wait(); return nil })
	return conn, nil
}
