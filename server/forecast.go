package main

import (
	"context"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
)

const forecastHelp = `Say which places will next reach a limit, soonest first: the likeliest day, and the earliest
and latest by the 95 % interval of the slope. A latest day that is missing means that it may
never come. Places whose trend says too little are left out.`

type forecastFlags struct {
	server  string
	station string
	most    int
	output  string
}

func newForecast(c *console) *cobra.Command {
	var f forecastFlags
	cmd := &cobra.Command{
		Use:     "forecast",
		Short:   "Say which places will next reach a limit",
		Long:    forecastHelp,
		Example: "  server forecast\n  server forecast --station skarholm-quay --most 5",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := tableOrJSON(f.output); err != nil {
				return err
			}
			if f.most < 1 {
				return command.Misuse("--most %d: say how many at most, 1 or more", f.most)
			}
			return c.asking(f.server, func(s *remote) error { return s.forecast(cmd.Context(), c, f) })
		},
	}
	serverFlag(cmd, &f.server)
	cmd.Flags().StringVar(&f.station, "station", "", "only vehicles of this station")
	cmd.Flags().IntVar(&f.most, "most", 20, "how many at most")
	cmd.Flags().StringVarP(&f.output, "output", "o", "table", "table or json")
	return cmd
}

// tableOrJSON refuses any other form of output.
func tableOrJSON(output string) error {
	if output != "table" && output != "json" {
		return command.Misuse("-o %q: say table or json", output)
	}
	return nil
}

// forecast prints what will next reach a limit.
func (s *remote) forecast(ctx context.Context, c *console, f forecastFlags) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	all := &pb.ListForecastsResponse{}
	err := pages(func(token string) (string, error) {
		resp, err := s.history.ListForecasts(ctx, &pb.ListForecastsRequest{
			PageSize: int32(min(f.most, 200)), PageToken: token, Station: inCollection("stations", f.station), //nolint:gosec // at most 200
		})
		all.Forecasts = append(all.Forecasts, resp.GetForecasts()...)
		if len(all.GetForecasts()) >= f.most {
			all.Forecasts = all.Forecasts[:f.most]
			return "", err
		}
		return resp.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	if f.output == "json" {
		return c.sayMessage(all, f.output)
	}
	c.forecastTable(all.GetForecasts())
	return nil
}

// forecastTable prints one row for each place, soonest first.
func (c *console) forecastTable(all []*pb.StepForecast) {
	if len(all) == 0 {
		c.Say("nothing is heading for a limit, as far as anybody can say")
		return
	}
	rows := [][]string{{"VEHICLE", "STEP", "WHERE", "LIKELY", "EARLIEST", "LATEST", "REACHES"}}
	for _, s := range all {
		f := s.GetForecast()
		words := f.GetLimit().GetText()
		if words == "" {
			words = f.GetText()
		}
		rows = append(rows, []string{
			s.GetCallSign(), s.GetStepId(), s.GetTitle(), dayWords(f.GetLikely()), dayWords(f.GetEarliest()), dayWords(f.GetLatest()), clipped(words),
		})
	}
	c.columns(rows)
}

// dayWords is a day, or that nobody knows one.
func dayWords(at *timestamppb.Timestamp) string {
	if at == nil {
		return "perhaps never"
	}
	return at.AsTime().In(time.Local).Format("2 Jan 2006")
}
