package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
	"bayround/internal/trust"
)

const demoHelp = `Start a fresh station of an invented county, tell it stations, people, gauges and vehicles,
live through the fifteen months before today – a slow leak, a gauge that reads wrong, an engine
that drinks oil – carry out today's rounds – sound ones, bad ones, one broken off – and show
what each vehicle may do now. Then go on serving until Ctrl-C.

The fifteen months take some seconds; --history=false begins with today.

The record lies in a temporary folder that is removed at the end, or in --data, which must be
empty or not there.`

type demoFlags struct {
	serveFlags
	files        string
	once         bool
	history      bool
	kiosk        string
	identityTo   string
	tabletListen string
	bayListen    string
}

func newDemo(c *console) *cobra.Command {
	var f demoFlags
	cmd := &cobra.Command{
		Use:     "demo",
		Short:   "A fresh station of an invented county, filled and served",
		Long:    demoHelp,
		Example: "  server demo\n  server demo --kiosk build/bin/kiosk    with the tablet and the bay display\n  server demo --history=false    begin with today, at once\n  server demo --once    show it and end",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return f.run(cmd.Context(), c) },
	}
	f.add(cmd)
	cmd.Flags().Lookup("log-level").DefValue = "warn"
	f.logLevel = "warn"
	cmd.Flags().StringVar(&f.data, "data", "", "folder of the record, empty or not there; a temporary one when left out")
	cmd.Flags().StringVar(&f.files, "files", filepath.Join("testdata", "demo"), "folder of the county: configuration, and rounds in its folder \"rounds\"")
	cmd.Flags().StringVar(&f.kiosk, "kiosk", "", "kiosk program to run beside the station; none when left out")
	cmd.Flags().StringVar(&f.identityTo, "identity-to", "", "also put the identity to ask the station with into this folder")
	cmd.Flags().StringVar(&f.tabletListen, "tablet-listen", "127.0.0.1:7500", "address of the kiosk's pages for the driver")
	cmd.Flags().StringVar(&f.bayListen, "bay-listen", "127.0.0.1:7501", "address of the kiosk's bay display")
	cmd.Flags().BoolVar(&f.history, "history", true, "live through the fifteen months before today first; false for a quick start")
	cmd.Flags().BoolVar(&f.once, "once", false, "end after the rounds instead of serving on")
	return cmd
}

// run is the whole demonstration.
func (f *demoFlags) run(ctx context.Context, c *console) (err error) {
	remove, err := f.freshFolder()
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, remove()) }()
	files, err := configuration([]string{f.files})
	if err != nil {
		return err
	}
	if f.history {
		if err := f.livePast(ctx, c, files); err != nil {
			return err
		}
	}
	running, err := f.start(ctx, c)
	if err != nil {
		return err
	}
	c.Say("%s\n", running.readyLine())
	if err := f.handOver(c, running); err != nil {
		return errors.Join(err, running.stop())
	}
	if err := f.fill(ctx, c, files, running.ready.Listen); err != nil {
		return errors.Join(err, running.stop())
	}
	if f.once {
		return running.stop()
	}
	return f.serveOn(ctx, c, running)
}

// handOver has the commands of the demonstration ask the station as whoever runs it, and
// copies that identity to where a person finds it.
func (f *demoFlags) handOver(c *console, running *running) error {
	if running.gate == nil {
		return nil
	}
	c.identity.folder = running.gate.AdministratorFolder()
	if f.identityTo == "" {
		f.identityTo = c.identity.folder
		return nil
	}
	if err := os.MkdirAll(f.identityTo, 0o700); err != nil {
		return fmt.Errorf("making the folder for the identity: %w", err)
	}
	from, to := trust.FilesIn(c.identity.folder), trust.FilesIn(f.identityTo)
	for _, file := range [][2]string{{from.CA, to.CA}, {from.Key, to.Key}, {from.Cert, to.Cert}} {
		content, err := os.ReadFile(file[0])
		if err != nil {
			return fmt.Errorf("reading the identity: %w", err)
		}
		if err := os.WriteFile(file[1], content, 0o600); err != nil {
			return fmt.Errorf("copying the identity: %w", err)
		}
	}
	return nil
}

// serveOn leaves the station running, with a kiosk beside it when one was named,
// and says what to try.
func (f *demoFlags) serveOn(ctx context.Context, c *console, running *running) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	var kiosk *demoKiosk
	if f.kiosk != "" {
		var err error
		if kiosk, err = startKiosk(ctx, c, f, running.ready.Listen); err != nil {
			return errors.Join(err, running.stop())
		}
		c.Say("%s", kiosk.invitation())
	}
	c.Say("%s", f.tryNext(c, running.ready.Listen))
	err := running.wait(ctx)
	if kiosk != nil {
		cancel()
		err = errors.Join(err, kiosk.stop())
	}
	return err
}

// freshFolder makes sure that the record begins empty, and returns what removes
// it again when it is a temporary one.
func (f *demoFlags) freshFolder() (remove func() error, err error) {
	if f.data == "" {
		if f.data, err = os.MkdirTemp("", "bayround-demo-"); err != nil {
			return nil, err
		}
		return func() error { return os.RemoveAll(f.data) }, nil
	}
	entries, err := os.ReadDir(f.data)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, command.MisusedBy(err)
	}
	if len(entries) > 0 {
		return nil, command.Misuse("%s is not empty; the demonstration begins with a fresh record and touches no other", f.data)
	}
	return func() error { return nil }, nil
}

// fill tells the station the county, carries out the rounds in the order of their
// names and shows what came of them.
func (f *demoFlags) fill(ctx context.Context, c *console, files []*pb.NamedFile, address string) error {
	names, err := filepath.Glob(filepath.Join(f.files, roundsFolder, "*.yaml"))
	if err != nil || len(names) == 0 {
		return command.Misuse("there are no rounds in %s", filepath.Join(f.files, roundsFolder))
	}
	slices.Sort(names)
	var all playFlags
	rounds, err := all.files(names)
	if err != nil {
		return err
	}
	return c.asking(address, func(s *remote) error {
		if _, err := s.send(ctx, files, false); err != nil {
			return err
		}
		for _, round := range rounds {
			if err := s.play(ctx, c, round, false); err != nil {
				return fmt.Errorf("%s: %w", round.file, err)
			}
			c.Say("")
		}
		if err := s.countAll(ctx); err != nil {
			return err
		}
		c.Say("Which vehicles may respond, right now?\n")
		return s.showReadiness(ctx, c, nil, readinessFlags{output: "table"})
	})
}

// countAll counts the shelves of the demonstration, as after a past that nobody booked:
// of most there is three times the bound, of screen wash less than it.
func (s *remote) countAll(ctx context.Context) error {
	return pages(func(token string) (string, error) {
		resp, err := s.stock.ListStock(ctx, &pb.ListStockRequest{PageSize: 200, PageToken: token})
		for _, one := range resp.GetStocks() {
			amount := 3 * one.GetMaterial().GetLowBelowMlOrPieces()
			if one.GetMaterial().GetId() == "screen-wash" {
				amount /= 4
			}
			_, err := s.stock.CountStock(ctx, &pb.CountStockRequest{
				RequestId: uuid.NewString(), Station: one.GetStation(), Material: one.GetMaterial().GetId(), Person: "people/steddow", AmountMlOrPieces: amount,
			})
			if err != nil {
				return "", fmt.Errorf("count %s: %w", one.GetMaterial().GetTitle(), err)
			}
		}
		return resp.GetNextPageToken(), err
	})
}

// tryNext is what to do with the station that serves now.
func (f *demoFlags) tryNext(c *console, address string) string {
	ask, curl, probe := "--identity "+f.identityTo, "", ""
	if c.identity.plain {
		ask, curl = "--plaintext-on-loopback", "-plaintext"
	} else {
		files := trust.FilesIn(f.identityTo)
		curl = fmt.Sprintf("-cacert %s -cert %s -key %s", files.CA, files.Cert, files.Key)
		probe = " -tls -tls-ca-cert=" + files.CA
	}
	return fmt.Sprintf(`
The station serves on until Ctrl-C. In another shell:

  ASK="--server %[1]s %[2]s"
  build/bin/server readiness $ASK --watch
  build/bin/server show wn11 --routine weekly $ASK
  build/bin/server explain wn21 $ASK
  build/bin/server history wn21 TYR-121/axle-2-offside-inner $ASK
  build/bin/server forecast $ASK
  build/bin/server gauge rejudge g-03 $ASK
  build/bin/server stock list $ASK
  build/bin/server play --again testdata/demo/rounds/06-wn21-weekly.yaml $ASK
  build/bin/server clients $ASK

  CURL="%[3]s"
  build/bin/grpcurl $CURL -d '{"vehicle": "vehicles/wn21"}' %[1]s bayround.v1.ReadinessService/GetReadiness
  build/bin/grpcurl $CURL %[1]s bayround.v1.ReadinessService/WatchReadiness
  build/bin/grpc-health-probe -addr=%[1]s%[4]s`, address, ask, curl, probe)
}
