package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
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
			return asking(f.server, func(s *remote) error {
				vehicle := inCollection("vehicles", args[0])
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

// historyTable prints one row for each measured place.
func (c *console) historyTable(all []measured, now time.Time) {
	rows := [][]string{{"STEP", "WHERE", "NEWEST", "READ", "A WEEK", "LOSES AGAINST ITS PEERS", "FORECAST"}}
	for _, m := range all {
		h := m.history
		newest := h.GetPoints()[len(h.GetPoints())-1]
		rows = append(rows, []string{
			m.step, h.GetTitle(), quantityWords(newest.GetValue(), h.GetQuantity(), h.GetUnit()),
			instant(newest.GetLookedAt().AsTime(), now), slopeWords(h), peerWords(h), orDash(h.GetForecast().GetText()),
		})
	}
	c.columns(rows)
}

// orDash is a dash where there is nothing to say.
func orDash(words string) string {
	if words == "" {
		return "–"
	}
	return words
}

// slopeWords is how a number changes in a week, and between what.
func slopeWords(h *pb.GetHistoryResponse) string {
	t := h.GetTrend()
	if !t.GetHasSlope() {
		return "–"
	}
	in := func(x float64) string { return quantityWords(x, h.GetQuantity(), h.GetUnit()) }
	return fmt.Sprintf("%s (%s to %s)", in(t.GetSlopePerWeek()), in(t.GetSlopeLowPerWeek()), in(t.GetSlopeHighPerWeek()))
}

// peerWords is how a wheel loses against the others, and how likely that would be
// without a loss.
func peerWords(h *pb.GetHistoryResponse) string {
	p := h.GetPeers()
	if !p.GetHasLoss() {
		return "–"
	}
	return fmt.Sprintf("%s a week (p %.2g)", quantityWords(p.GetLossKpaPerWeek(), pb.Quantity_QUANTITY_PRESSURE, h.GetUnit()), p.GetPNoLoss())
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
	for _, line := range chart(h) {
		c.Say("%s", line)
	}
	c.Say("")
	c.pointTable(h, time.Now())
	c.trendLines(h)
	return nil
}

// pointTable prints one row for each measurement, oldest first.
func (c *console) pointTable(h *pb.GetHistoryResponse, now time.Time) {
	normalised := slices.ContainsFunc(h.GetNormalised(), func(x float64) bool { return x != 0 })
	head := []string{"READ", "VALUE"}
	if normalised {
		head = append(head, "AT REFERENCE")
	}
	rows := [][]string{append(head, "AIR", "GAUGE", "PUT IN BEFORE", "ODOMETER")}
	for i, p := range h.GetPoints() {
		row := []string{instant(p.GetLookedAt().AsTime(), now), quantityWords(p.GetValue(), h.GetQuantity(), h.GetUnit())}
		if normalised {
			row = append(row, quantityWords(h.GetNormalised()[i], h.GetQuantity(), h.GetUnit()))
		}
		air, odometer := "–", "–"
		if p.AirCelsius != nil {
			air = quantityWords(p.GetAirCelsius(), pb.Quantity_QUANTITY_TEMPERATURE, "")
		}
		if p.OdometerKm != nil {
			odometer = fmt.Sprintf("%.0f km", p.GetOdometerKm())
		}
		rows = append(rows, append(row, air, orDash(lastPart(p.GetGauge())), addedWords(h, p), odometer))
	}
	c.columns(rows)
}

// addedWords is what was done before a point was read.
func addedWords(h *pb.GetHistoryResponse, p *pb.SeriesPoint) string {
	var done []string
	if p.GetReset_() {
		done = append(done, "repaired")
	}
	switch {
	case p.GetAdded() == 0:
	case h.GetQuantity() == pb.Quantity_QUANTITY_PRESSURE:
		done = append(done, quantityWords(p.GetAdded(), h.GetQuantity(), h.GetUnit()))
	default:
		done = append(done, quantityWords(p.GetAdded(), pb.Quantity_QUANTITY_VOLUME, ""))
	}
	return orDash(strings.Join(done, ", "))
}

// trendLines prints what the trend says, the limits and the forecast.
func (c *console) trendLines(h *pb.GetHistoryResponse) {
	t := h.GetTrend()
	c.Say("")
	if t.GetHasSlope() {
		c.Say("a week:    %s, from %s over %.0f days; p without a trend %.2g", slopeWords(h), count(int(t.GetPoints()), "point"), t.GetDays(), t.GetPNoTrend())
	} else {
		c.Say("a week:    too little to say, %s over %.0f days", count(int(t.GetPoints()), "point"), t.GetDays())
	}
	if h.GetPeers().GetHasLoss() {
		c.Say("peers:     loses %s; read together on %s", peerWords(h), count(int(h.GetPeers().GetDaysTogether()), "day"))
	}
	if per := t.GetUsedLPer_1000Km(); per > 0 {
		c.Say("use:       %.2f L in 1000 km, %.2f L in 100 h", per, t.GetUsedLPer_100H())
	}
	if n := t.GetSameInARow(); n > 2 {
		c.Say("the same:  the newest number stands there %d times in a row; by itself that happens with p %.2g", n, t.GetPSame())
	}
	for _, limit := range h.GetLimits() {
		c.Say("limit:     %s  [%s %s]", limitWords(h, limit), lastPart(limit.GetPack()), limit.GetRule())
	}
	if text := h.GetForecast().GetText(); text != "" {
		c.Say("forecast:  %s", text)
	}
}

// limitWords is a limit in words: its own, or else side and bound.
func limitWords(h *pb.GetHistoryResponse, l *pb.LimitLine) string {
	bound := sideWords(l.GetSide()) + " " + quantityWords(l.GetBound(), h.GetQuantity(), h.GetUnit())
	if l.GetText() == "" {
		return bound
	}
	return bound + ": " + l.GetText()
}

// sideWords says on which side of a bound a number must lie.
func sideWords(side pb.LimitSide) string {
	switch side {
	case pb.LimitSide_LIMIT_SIDE_AT_LEAST:
		return "at least"
	case pb.LimitSide_LIMIT_SIDE_MORE_THAN:
		return "more than"
	case pb.LimitSide_LIMIT_SIDE_AT_MOST:
		return "at most"
	case pb.LimitSide_LIMIT_SIDE_LESS_THAN:
		return "less than"
	}
	return "near"
}
