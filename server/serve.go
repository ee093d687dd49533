package main

import (
	"context"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"bayround/internal/command"
	"bayround/internal/rpc"
)

const serveHelp = `Run the station: take rounds, keep the record, tell whoever asks or watches.

The record lies in the folder --data, on a local disk; one station, one folder, one
process. Photos lie beside it in --data/photos, up to 2 GiB of them. The catalogue, routines and rule packs that come with the program are put in
force at the start; files of the folder --rules take the place of those of the same
name (packs/gb-use/tyres-and-wheels.yaml) or join them. When that folder holds a
mistake, it is said with file, line and column, and what was in force before stays.

The station speaks gRPC over TLS 1.3 under certificates of an authority of its own, which it makes
at its first start in --data/trust: keep that folder as you keep a key. Whoever calls shows a
certificate that the station gave: tablets are enrolled with "server enrol", other programs are let in
with "server admit", and "server roles" prints who may call what. Whoever may read --data/trust
runs the station: the commands of this program use the identity that lies there.

When it is ready it prints one line with its address. SIGTERM or Ctrl-C stops it within
ten seconds; watches are told. Run by systemd it says when it is ready, and that it is not
stuck (see unit). When a write fails it stops itself with exit code 6: start
it again, it finds out what reached the disk.`

const serveExample = `  server serve --data /var/lib/bayround
  server serve --data /var/lib/bayround --rules /etc/bayround/rules
  server serve --data /var/lib/bayround --listen 0.0.0.0:7443 --host-name station.example
  server serve --data ./data --listen 127.0.0.1:0 --ready-file ./address.json
  server serve --data ./data --log-format json --log-level debug`

// serveFlags are what serve is told.
type serveFlags struct {
	data      string
	listen    string
	hostNames []string
	metrics   string
	rules     string
	tell      string
	readyFile string
	anywhere  bool
	streams   uint32
	logFormat string
	logLevel  string
}

// add gives a command the flags that serve and demo share.
func (f *serveFlags) add(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&f.listen, "listen", "127.0.0.1:7443", "address to serve gRPC on; port 0 for any free one")
	flags.StringSliceVar(&f.hostNames, "host-name", nil, "further names and addresses under which other systems reach the station, for its certificate; tablets need none")
	flags.StringVar(&f.metrics, "metrics", "127.0.0.1:7480", "address to serve Prometheus metrics on, under /metrics, and calendars, under /calendar/STATION.ics; empty for none")
	flags.StringVar(&f.readyFile, "ready-file", "", "write the addresses, as JSON, to this file once the station is ready")
	flags.BoolVar(&f.anywhere, "insecure-listen-anywhere", false, "allow metrics on an address that other machines can reach, without encryption")
	flags.Uint32Var(&f.streams, "streams-per-connection", 64, "how many calls and watches one connection may have open")
	flags.StringVar(&f.logFormat, "log-format", "text", "text or json")
	flags.StringVar(&f.logLevel, "log-level", "info", "debug, info, warn or error")
}

func newServe(c *console) *cobra.Command {
	var f serveFlags
	cmd := &cobra.Command{
		Use:     "serve",
		Short:   "Run the station",
		Long:    serveHelp,
		Example: serveExample,
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			running, err := f.start(cmd.Context(), c)
			if err != nil {
				return err
			}
			c.Say("%s", running.readyLine())
			command.GiveMemoryBack()
			return running.wait(cmd.Context())
		},
	}
	f.add(cmd)
	cmd.Flags().StringVar(&f.data, "data", "data", "folder of the record; made when it is not there")
	cmd.Flags().StringVar(&f.rules, "rules", "", "folder with further or changed catalogue, routine and rule files")
	cmd.Flags().StringVar(&f.tell, "subscriptions", "", "YAML file that says who is told of changes over HTTP; read at the start")
	return cmd
}

// start starts a station as the flags say.
func (f *serveFlags) start(ctx context.Context, c *console) (*running, error) {
	logger, err := command.Logger(c.Err, f.logFormat, f.logLevel)
	if err != nil {
		return nil, err
	}
	if err := command.MayListen(f.metrics, f.anywhere); err != nil {
		return nil, fmt.Errorf("--metrics: %w", err)
	}
	if c.identity.plain && !rpc.Loopback(f.listen) {
		return nil, command.Misuse("--plaintext-on-loopback lets everybody in who can reach %q, and that is more than this machine; listen on 127.0.0.1, or leave the flag out", f.listen)
	}
	command.SpareMemory(os.Getenv)
	return start(ctx, c, f, logger)
}
