package main

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

const historyHelp = `Show what was measured on a vehicle over time. Without a step: every place that is measured,
its newest value, how it changes in a week and when it will reach a limit. With a step: every
measurement, a chart with the limits, and what the trend says.

A change in a week stands with its 95 % interval. Of cold tyre pressures it is that of the
pressure at the station's reference temperature, with what was put in taken out again.`

const historyExample = `  server history wn21
  server history wn21 TYR-121/axle-2-offside-inner
  server history wn12 FLU-010/engine-oil -o json`

type historyFlags struct {
	server string
	output string
}

func newHistory(c *console) *cobra.Command {
	var f historyFlags
	cmd := &cobra.Command{
		Use:     "history VEHICLE [STEP]",
		Short:   "Show what was measured over time, and where it is heading",
		Long:    historyHelp,
		Example: historyExample,
		Args:    oneOrTwo("name a vehicle, and a step of it for its measurements"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := tableOrJSON(f.output); err != nil {
				return err
			}
			return c.asking(f.server, func(s *remote) error {
				vehicle, err := s.vehicleMeant(cmd.Context(), args[0])
				if err != nil {
					return err
				}
				if len(args) == 2 {
					return s.showHistory(cmd.Context(), c, &pb.GetHistoryRequest{Vehicle: vehicle, StepId: args[1]}, f.output)
				}
				return s.listHistories(cmd.Context(), c, vehicle, f.output)
			})
		},
	}
	serverFlag(cmd, &f.server)
	cmd.Flags().StringVarP(&f.output, "output", "o", "table", "table or json")
	return cmd
}

// oneOrTwo demands one argument or two, in words that say which.
func oneOrTwo(words string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) < 1 || len(args) > 2 {
			return fmt.Errorf("%s; there are %d", words, len(args))
		}
		return nil
	}
}

// measured is one place of a vehicle and what was measured there.
type measured struct {
	step    string
	history *pb.GetHistoryResponse
}

// listHistories prints one row for each measured place of a vehicle.
func (s *remote) listHistories(ctx context.Context, c *console, vehicle, output string) error {
	all, err := s.histories(ctx, vehicle)
	if err != nil {
		return err
	}
	if output == "json" {
		for _, m := range all {
			if err := c.sayMessage(m.history, output); err != nil {
				return err
			}
		}
		return nil
	}
	if len(all) == 0 {
		c.Say("nothing was measured on %s yet", vehicle)
		return nil
	}
	c.historyTable(all, time.Now())
	return nil
}

// histories asks for every place of a vehicle at which something was measured, in
// the order of the plans of its routines.
func (s *remote) histories(ctx context.Context, vehicle string) (all []measured, err error) {
	ctx, cancel := patiently(ctx)
	defer cancel()
	steps, err := s.measuredSteps(ctx, vehicle)
	if err != nil {
		return nil, err
	}
	for _, step := range steps {
		resp, err := s.history.GetHistory(ctx, &pb.GetHistoryRequest{Vehicle: vehicle, StepId: step})
		if fault.Is(err, fault.NotFound) {
			continue
		}
		if err != nil {
			return nil, err
		}
		if len(resp.GetPoints()) > 0 {
			all = append(all, measured{step, resp})
		}
	}
	return all, nil
}

// measuredSteps are the steps of all routines of a vehicle that ask for a number,
// each once.
func (s *remote) measuredSteps(ctx context.Context, vehicle string) (ids []string, err error) {
	err = pages(func(token string) (string, error) {
		resp, err := s.vehicles.ListRoutines(ctx, &pb.ListRoutinesRequest{PageSize: 200, PageToken: token})
		if err != nil {
			return "", err
		}
		for _, routine := range resp.GetRoutines() {
			plan, err := s.vehicles.GetPlan(ctx, &pb.GetPlanRequest{Vehicle: vehicle, Routine: routine.GetName()})
			if err != nil {
				return "", err
			}
			for _, step := range plan.GetPlan().GetSteps() {
				if step.GetAnswerKind() != pb.AnswerKind_ANSWER_KIND_CONDITION && !slices.Contains(ids, step.GetStepId()) {
					ids = append(ids, step.GetStepId())
				}
			}
		}
		return resp.GetNextPageToken(), nil
	})
	return ids, err
}

// showHistory prints everything that was measured at one step.
func (s *remote) showHistory(ctx context.Context, c *console, req *pb.GetHistoryRequest, output string) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	h, err := s.history.GetHistory(ctx, req)
	if err != nil {
		return err
	}
	if output == "json" {
		return c.sayMessage(h, output)
	}
	c.Say("%s, %s: %s", req.GetVehicle(), req.GetStepId(), h.GetTitle())
	if len(h.GetPoints()) == 0 {
		c.Say("nothing was measured here yet")
		return nil
	}
	if len(h.GetPoints()) > 1 {
		for _, line := range chart(h) {
			c.Say("%s", line)
		}
		c.Say("")
	}
	c.pointTable(h, time.Now())
	c.trendLines(h)
	return nil
}
