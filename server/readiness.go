package main

import (
	"context"
	"slices"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/encoding/protojson"

	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
)

const readinessHelp = `Say which vehicles may respond, and why not. Without a name, all of them. A vehicle is named
as the station knows it (vehicles/wn11) or shortly (wn11); shortly not while a vehicle of
another name answers to that call sign, as it could mean either. This holds for every command.

  [^]  FIT TO RESPOND
  /!\  FIT WITH LIMITS             the limits stand beside it
  : ?  NOT PROVEN                  something required was not checked, or too long ago
  (>)  MOVE ONLY – NOT TO RESPOND  may be driven to repair
  (-)  DO NOT MOVE

The shapes say all; colour is added on a terminal unless NO_COLOR is set.

With --call-sign it is asked for whichever vehicle answers to a call sign, be it a reserve.

With --watch it goes on and prints a line for each change, until Ctrl-C. When nothing is
heard for ten seconds it says so: what was printed before is then no longer live. It
connects again by itself.

With --exit-code the verdict is the exit code: 0 FIT, 12 RESTRICTED, 13 UNPROVEN,
14 MOVE_ONLY, 15 UNFIT; of several vehicles the worst. Codes below 10 are errors as always.`

const readinessExample = `  server readiness
  server readiness wn11 wn12
  server readiness wn11 --watch
  server readiness --call-sign WN12
  server readiness -o json | jq '.readiness[].verdict'
  server readiness wn11 --exit-code && echo "WN11 may go without a limit"`

type readinessFlags struct {
	server   string
	output   string
	signs    []string
	watch    bool
	exitCode bool
}

func newReadiness(c *console) *cobra.Command {
	var f readinessFlags
	cmd := &cobra.Command{
		Use:     "readiness [VEHICLE…]",
		Short:   "Say which vehicles may respond, and why not",
		Long:    readinessHelp,
		Example: readinessExample,
		RunE: func(cmd *cobra.Command, args []string) error {
			if f.output != "table" && f.output != "json" {
				return command.Misuse("-o %q: say table or json", f.output)
			}
			if f.watch && f.exitCode {
				return command.Misuse("--exit-code needs an end; leave out --watch")
			}
			return c.asking(f.server, func(s *remote) error {
				if f.watch {
					return s.watch(cmd.Context(), c, listening{names: args, signs: f.signs, output: f.output, silence: silence})
				}
				names, err := s.vehiclesMeant(cmd.Context(), args)
				if err != nil {
					return err
				}
				return s.showReadiness(cmd.Context(), c, names, f)
			})
		},
	}
	serverFlag(cmd, &f.server)
	cmd.Flags().StringVarP(&f.output, "output", "o", "table", "table or json")
	cmd.Flags().StringSliceVar(&f.signs, "call-sign", nil, "the vehicle that answers to this call sign; may be said several times")
	cmd.Flags().BoolVar(&f.watch, "watch", false, "go on and print each change")
	cmd.Flags().BoolVar(&f.exitCode, "exit-code", false, "let the verdict be the exit code")
	return cmd
}

// showReadiness prints the readiness of the vehicles named, or of all.
func (s *remote) showReadiness(ctx context.Context, c *console, names []string, f readinessFlags) error {
	all, err := s.readinessOf(ctx, names, f.signs)
	if err != nil {
		return err
	}
	if f.output == "json" {
		if err := c.sayJSON(&pb.ListReadinessResponse{Readiness: all}); err != nil {
			return err
		}
	} else {
		c.readinessTable(all, time.Now())
	}
	if f.exitCode {
		return worst(all)
	}
	return nil
}

// readinessOf asks for the vehicles named and those that answer to call signs, or for all.
func (s *remote) readinessOf(ctx context.Context, names, signs []string) ([]*pb.Readiness, error) {
	ctx, cancel := patiently(ctx)
	defer cancel()
	var all []*pb.Readiness
	var asked []*pb.GetReadinessRequest
	for _, name := range names {
		asked = append(asked, &pb.GetReadinessRequest{Vehicle: name})
	}
	for _, sign := range signs {
		asked = append(asked, &pb.GetReadinessRequest{CallSign: sign})
	}
	for _, req := range asked {
		resp, err := s.readiness.GetReadiness(ctx, req)
		if err != nil {
			return nil, err
		}
		all = append(all, resp.GetReadiness())
	}
	if len(asked) > 0 {
		return all, nil
	}
	err := pages(func(token string) (string, error) {
		resp, err := s.readiness.ListReadiness(ctx, &pb.ListReadinessRequest{PageSize: 200, PageToken: token})
		all = append(all, resp.GetReadiness()...)
		return resp.GetNextPageToken(), err
	})
	return all, err
}

// worst is the exit code of the worst verdict; nil when all are fit.
func worst(all []*pb.Readiness) error {
	if len(all) == 0 {
		return nil
	}
	of := slices.MaxFunc(all, func(a, b *pb.Readiness) int { return int(a.GetVerdict() - b.GetVerdict()) })
	if of.GetVerdict() == pb.Verdict_VERDICT_FIT {
		return nil
	}
	return command.Code(exitByVerdict + int(of.GetVerdict()))
}

// sayJSON prints a message as JSON, with the names of the proto.
func (c *console) sayJSON(m *pb.ListReadinessResponse) error {
	text, err := protojson.MarshalOptions{UseProtoNames: true, Multiline: true}.Marshal(m)
	if err != nil {
		return err
	}
	c.Say("%s", text)
	return nil
}
