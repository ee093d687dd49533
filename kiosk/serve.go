package main

import (
	"context"
	"os"
	"time"

	"github.com/spf13/cobra"

	"bayround/internal/command"
)

const serveHelp = `Run the tablet: its pages for the driver on --listen, the bay display on --bay.

The driver's pages act, so they are served to this machine alone; the browser runs on the
tablet. The bay display only shows, tells no names, and any number of screens may open it
from the addresses that --bay-host names.

The folder --data holds what was recorded here and waits to be sent. It belongs to one tablet,
under one --device name. It works with or without the station; when the station is there,
everything is sent once, in order, under the times at which it was recorded. The station knows the
tablet by a certificate, which it is given once (kiosk enrol) and renews by itself; without one, or with
one that was revoked or has ended, the tablet works on, and what is recorded waits.

When it is ready it prints one line with its addresses. SIGTERM or Ctrl-C stops it.`

const serveExample = `  kiosk serve --station 127.0.0.1:7443 --data ./kiosk --device tablet-1
  kiosk serve --bay 0.0.0.0:7501 --bay-host bay.station.lan:7501 --insecure-listen-anywhere`

// serveFlags are what serve is told.
type serveFlags struct {
	station   string
	data      string
	device    string
	listen    string
	bay       string
	bayHosts  []string
	anywhere  bool
	plain     bool
	readyFile string
	logFormat string
	logLevel  string
	display   displayFlags
}

func newServe(c *command.Console) *cobra.Command {
	var f serveFlags
	cmd := &cobra.Command{
		Use:     "serve",
		Short:   "Run the tablet and the bay display",
		Long:    serveHelp,
		Example: serveExample,
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return f.run(cmd.Context(), c) },
	}
	flags := cmd.Flags()
	flags.StringVar(&f.station, "station", "127.0.0.1:7443", "address of the station server")
	flags.StringVar(&f.data, "data", "kiosk-data", "folder of this tablet's own record; made when it is not there")
	flags.StringVar(&f.device, "device", "tablet-1", "name of this tablet in the record: lower-case letters, digits, hyphens")
	flags.StringVar(&f.listen, "listen", "127.0.0.1:7500", "address of the driver's pages; port 0 for any free one")
	flags.StringVar(&f.bay, "bay", "127.0.0.1:7501", "address of the bay display; port 0 for any free one")
	flags.StringSliceVar(&f.bayHosts, "bay-host", nil, "further host[:port] names under which displays open the bay page")
	flags.BoolVar(&f.anywhere, "insecure-listen-anywhere", false, "allow the bay display on addresses that other machines can reach, without encryption")
	flags.BoolVar(&f.plain, "plaintext-on-loopback", false, "no encryption and no certificates; for trying things out with a station on this machine that serves so")
	flags.StringVar(&f.readyFile, "ready-file", "", "write the addresses, as JSON, to this file once the tablet is ready")
	flags.StringVar(&f.logFormat, "log-format", "text", "text or json")
	flags.StringVar(&f.logLevel, "log-level", "info", "debug, info, warn or error")
	f.display.add(flags)
	return cmd
}

func (f *serveFlags) run(ctx context.Context, c *command.Console) error {
	logger, err := command.Logger(c.Err, f.logFormat, f.logLevel)
	if err != nil {
		return err
	}
	if err := f.check(); err != nil {
		return err
	}
	command.SpareMemory(os.Getenv)
	running, err := start(ctx, f, logger, clocks{device: time.Now})
	if err != nil {
		return err
	}
	c.Say("%s", running.readyLine())
	command.GiveMemoryBack()
	return running.wait(ctx)
}
