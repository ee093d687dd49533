package main

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	"bayround/internal/catalogue"
	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
)

const gaugeHelp = `Look after the gauges on the station's register.

  list     each gauge, when its calibration is due, and what its readings are worth
  check    record that a gauge was compared with something better
  rejudge  what would have been judged otherwise, had a gauge read true`

const gaugeListHelp = `List the gauges of the register and what their readings are worth now:

  in date      calibrated, and no comparison found it wrong
  overdue      its calibration has lapsed, or nobody knows when it does: its readings cannot
               prove a limit that guards life
  found wrong  a comparison showed it wrong; everything read with it since its last good
               comparison is in doubt: see server gauge rejudge
  withdrawn    taken out of use`

const gaugeCheckHelp = `Record that a gauge was compared with something better: both read the same thing, and this
says what each showed. The station says whether the gauge reads within its permissible error.
If it does not, everything that rests on it is judged anew at once; server gauge rejudge
lists what would have been judged otherwise before.

Values need a unit, written together or in quotes: 8.68bar, "8.68 bar".`

const gaugeCheckExample = `  server gauge check g-03 --shown 8.68bar --reference-value 8.4bar --reference gauges/g-07 --person steddow
  server gauge check g-03 --shown 8.4bar --reference-value 8.4bar --reference "dead-weight tester" --person steddow --note "after repair"`

const gaugeRejudgeHelp = `Go through every reading that was taken with a gauge between a good comparison and one that
found it wrong, as if it had read true, and say which verdicts would have been others: when, of
which vehicle, why. Each reading is corrected by what the comparison after it found.
Nothing is recorded. The gauge must have been found wrong.`

func newGauge(c *console) *cobra.Command {
	cmd := &cobra.Command{
		Use:     "gauge",
		Short:   "Look after the gauges: list, compare, judge anew",
		Long:    gaugeHelp,
		Example: "  server gauge list\n  server gauge rejudge g-03",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(newGaugeList(c), newGaugeCheck(c), newGaugeRejudge(c))
	return cmd
}

func newGaugeList(c *console) *cobra.Command {
	var address string
	cmd := &cobra.Command{
		Use:     "list",
		Short:   "List the gauges and what their readings are worth",
		Long:    gaugeListHelp,
		Example: "  server gauge list",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return c.asking(address, func(s *remote) error {
				all, err := s.gauges(cmd.Context())
				if err != nil {
					return err
				}
				c.gaugeTable(all, time.Now())
				return nil
			})
		},
	}
	serverFlag(cmd, &address)
	return cmd
}

// checkFlags are what a comparison is told by.
type checkFlags struct {
	server, shown, value, reference, person, note string
}

func newGaugeCheck(c *console) *cobra.Command {
	var f checkFlags
	cmd := &cobra.Command{
		Use:     "check GAUGE",
		Short:   "Record that a gauge was compared with something better",
		Long:    gaugeCheckHelp,
		Example: gaugeCheckExample,
		Args:    exactlyOne("name one gauge, for instance g-03"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if f.shown == "" || f.value == "" || f.reference == "" || f.person == "" {
				return command.Misuse("a comparison needs --shown, --reference-value, --reference and --person")
			}
			return c.asking(f.server, func(s *remote) error {
				return s.checkGauge(cmd.Context(), c, inCollection("gauges", args[0]), f)
			})
		},
	}
	serverFlag(cmd, &f.server)
	cmd.Flags().StringVar(&f.shown, "shown", "", "what the gauge showed, with its unit")
	cmd.Flags().StringVar(&f.value, "reference-value", "", "what the reference showed, with its unit")
	cmd.Flags().StringVar(&f.reference, "reference", "", "what it was compared with: a gauge, gauges/g-07, or words")
	cmd.Flags().StringVar(&f.person, "person", "", "who compared")
	cmd.Flags().StringVar(&f.note, "note", "", "what was done about it")
	return cmd
}

func newGaugeRejudge(c *console) *cobra.Command {
	var address string
	cmd := &cobra.Command{
		Use:     "rejudge GAUGE",
		Short:   "Say which verdicts would have been others, had a gauge read true",
		Long:    gaugeRejudgeHelp,
		Example: "  server gauge rejudge g-03",
		Args:    exactlyOne("name one gauge, for instance g-03"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return c.asking(address, func(s *remote) error {
				stream, err := s.history.RejudgeGauge(cmd.Context(), &pb.RejudgeGaugeRequest{Gauge: inCollection("gauges", args[0])})
				if err != nil {
					return err
				}
				return changes(c, stream)
			})
		},
	}
	serverFlag(cmd, &address)
	return cmd
}

// gauges asks for the whole register.
func (s *remote) gauges(ctx context.Context) (all []*pb.Gauge, err error) {
	ctx, cancel := patiently(ctx)
	defer cancel()
	err = pages(func(token string) (string, error) {
		resp, err := s.vehicles.ListGauges(ctx, &pb.ListGaugesRequest{PageSize: 200, PageToken: token})
		all = append(all, resp.GetGauges()...)
		return resp.GetNextPageToken(), err
	})
	return all, err
}

// checkGauge records a comparison and prints what the gauge is worth after it.
func (s *remote) checkGauge(ctx context.Context, c *console, name string, f checkFlags) error {
	all, err := s.gauges(ctx)
	if err != nil {
		return err
	}
	check := &pb.GaugeCheck{Person: inCollection("people", f.person), Reference: f.reference, Note: f.note}
	for _, g := range all { // one that is not there is refused by the station, which knows what to say
		if g.GetName() != name {
			continue
		}
		if check.Shown, err = typedAs(f.shown, g.GetQuantity()); err != nil {
			return command.Misuse("--shown: %w", err)
		}
		if check.ReferenceValue, err = typedAs(f.value, g.GetQuantity()); err != nil {
			return command.Misuse("--reference-value: %w", err)
		}
	}
	ctx, cancel := patiently(ctx)
	defer cancel()
	resp, err := s.history.CheckGauge(ctx, &pb.CheckGaugeRequest{RequestId: uuid.NewString(), Gauge: name, Check: check})
	if err != nil {
		return err
	}
	c.Say("recorded as event %d", resp.GetSequence())
	c.gaugeTable([]*pb.Gauge{resp.GetGauge()}, time.Now())
	return nil
}

// typedAs reads a value with its unit, in the unit of a quantity.
func typedAs(text string, of pb.Quantity) (float64, error) {
	text = strings.TrimSpace(text)
	number := text[:len(text)-len(strings.TrimLeft(text, "+-.0123456789"))]
	value, err := strconv.ParseFloat(number, 64)
	unit := strings.TrimSpace(text[len(number):])
	if err != nil || unit == "" {
		return 0, fmt.Errorf("%q is no number with a unit; write it like 8.4bar", text)
	}
	return measure.Convert(value, unit, catalogue.UnitOf(of))
}

// gaugeTable prints one row for each gauge.
func (c *console) gaugeTable(all []*pb.Gauge, now time.Time) {
	if len(all) == 0 {
		c.Say("the station has no gauge on its register; tell it some with: server apply FILE…")
		return
	}
	rows := [][]string{{"GAUGE", "TITLE", "STATION", "CALIBRATION DUE", "COMPARED", "STATE"}}
	for _, g := range all {
		due, compared := "nobody knows", "never"
		if g.GetCalibrationDue() != nil {
			due = g.GetCalibrationDue().AsTime().Local().Format("2 Jan 2006")
		}
		if n := len(g.GetChecks()); n > 0 {
			compared = instant(g.GetChecks()[n-1].GetStationTime().AsTime(), now)
		}
		rows = append(rows, []string{lastPart(g.GetName()), g.GetTitle(), lastPart(g.GetStation()), due, compared, gaugeState(g, now)})
	}
	c.columns(rows)
}

// gaugeState says what the readings of a gauge are worth.
func gaugeState(g *pb.Gauge, now time.Time) string {
	checks := g.GetChecks()
	switch due := g.GetCalibrationDue(); {
	case g.GetWithdrawn():
		return "withdrawn"
	case len(checks) > 0 && !checks[len(checks)-1].GetGood():
		return foundWrong(g, now)
	case due == nil:
		return "overdue: nobody knows when it must be calibrated"
	case due.AsTime().Before(now):
		return "overdue since " + due.AsTime().Local().Format("2 Jan 2006")
	}
	return "in date"
}

// foundWrong says by how much a gauge reads wrong, and since when at the earliest.
func foundWrong(g *pb.Gauge, now time.Time) string {
	checks := g.GetChecks()
	newest := checks[len(checks)-1]
	since := "for as long as it was used"
	for _, check := range checks {
		if check.GetGood() {
			since = "some time after " + instant(check.GetStationTime().AsTime(), now)
		}
	}
	off, way := newest.GetShown()-newest.GetReferenceValue(), "high"
	if off < 0 {
		off, way = -off, "low"
	}
	return fmt.Sprintf("found wrong: %s too %s, since %s", quantityWords(off, g.GetQuantity(), ""), way, since)
}
