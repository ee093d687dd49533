package main

import (
	"context"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/command"
	pb "bayround/proto/bayround/v1"
)

const wheelHelp = `Record that wheels had been off and were fitted: their nuts are to be torqued again, 30 minutes
after it or once 40 km were driven, whichever comes first, and at the latest at 80 km. Say what the
odometer shows; without it nobody can tell how far the vehicle was driven, and it is overdue at once.
It is over when "torqued again and recorded" is answered for the wheel in a round, after it has fallen due.
A WHEEL is an end of an axle, for instance axle-1-nearside; twins count together.`

func newWheel(c *console) *cobra.Command {
	var address, person, note, fitted, odometer string
	cmd := &cobra.Command{
		Use: "wheel VEHICLE WHEEL...", Short: "Record that wheels were off and fitted again", Long: wheelHelp,
		Example: "  server wheel wn22 axle-1-nearside --odometer 52100 --person steddow --note \"tyre changed\"",
		Args:    cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case len(args) < 2:
				return command.Misuse("name one vehicle and the wheels, for instance wn22 axle-1-nearside")
			case person == "":
				return command.Misuse("--person is missing: say who says so, for instance --person steddow")
			}
			req := &pb.RecordWheelsFittedRequest{
				RequestId: uuid.NewString(), Person: inCollection("people", person), Wheels: args[1:], Note: note,
			}
			if fitted != "" {
				at, err := time.ParseInLocation("2006-01-02T15:04", fitted, time.Local)
				if err != nil {
					return command.Misuse("--fitted %q: write a minute like 2026-03-06T18:00", fitted)
				}
				req.Fitted = timestamppb.New(at)
			}
			var err error
			if req.OdometerKm, err = kilometres(odometer); err != nil {
				return err
			}
			return c.asking(address, func(s *remote) (err error) {
				if req.Vehicle, err = s.vehicleMeant(cmd.Context(), args[0]); err != nil {
					return err
				}
				return s.wheel(cmd.Context(), c, req)
			})
		},
	}
	serverFlag(cmd, &address)
	cmd.Flags().StringVar(&person, "person", "", "who says so")
	cmd.Flags().StringVar(&note, "note", "", "why they were off")
	cmd.Flags().StringVar(&fitted, "fitted", "", "when they were fitted; empty for now")
	cmd.Flags().StringVar(&odometer, "odometer", "", "what the odometer shows, in km")
	return cmd
}

func (s *remote) wheel(ctx context.Context, c *console, req *pb.RecordWheelsFittedRequest) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	resp, err := s.schedule.RecordWheelsFitted(ctx, req)
	if err != nil {
		return err
	}
	c.Say("recorded as event %d", resp.GetSequence())
	c.dueTable(resp.GetDues())
	return nil
}

// kilometres reads an odometer, 52100 or 52100km; nil for nothing.
func kilometres(text string) (*float64, error) {
	if text == "" {
		return nil, nil
	}
	km, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.ToLower(text), "km")), 64)
	if err != nil {
		return nil, command.Misuse("--odometer %q: write kilometres like 52100", text)
	}
	return proto.Float64(km), nil
}
