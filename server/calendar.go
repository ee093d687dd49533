package main

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/command"
	"bayround/internal/fault"
	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

const watchesHelp = `List the coming watches of a station: when each begins and ends, and whose turn it is.
Times are the station's own; the length is elapsed time, as clocks may change within a watch.`

const calendarHelp = `Write the coming checks of a station's vehicles as an iCalendar file, which calendar programs
read. No person is named in it. "server serve" offers the same beside its metrics, to be
subscribed to: /calendar/skarholm-quay.ics`

func newWatches(c *console) *cobra.Command {
	var address, from, output string
	var days int
	cmd := &cobra.Command{
		Use:     "watches STATION",
		Short:   "List the coming watches of a station",
		Long:    watchesHelp,
		Example: "  server watches skarholm-quay\n  server watches skarholm-quay --from 2026-03-28 --days 2",
		Args:    exactly(1, "name one station, for instance skarholm-quay"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := tableOrJSON(output); err != nil {
				return err
			}
			begin := time.Now()
			if from != "" {
				var err error
				if begin, err = time.ParseInLocation(time.DateOnly, from, time.Local); err != nil {
					return command.Misuse("--from %q: write a day like 2026-03-06", from)
				}
			}
			req := &pb.ListWatchesRequest{
				Station: inCollection("stations", args[0]), From: timestamppb.New(begin), Until: timestamppb.New(begin.AddDate(0, 0, days)),
			}
			return c.asking(address, func(s *remote) error { return s.watches(cmd.Context(), c, req, output) })
		},
	}
	serverFlag(cmd, &address)
	cmd.Flags().StringVar(&from, "from", "", "first day; empty for the watch of now")
	cmd.Flags().IntVar(&days, "days", 7, "how many days ahead")
	cmd.Flags().StringVarP(&output, "output", "o", "table", "table or json")
	return cmd
}

func (s *remote) watches(ctx context.Context, c *console, req *pb.ListWatchesRequest, output string) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	resp, err := s.schedule.ListWatches(ctx, req)
	if err != nil {
		return err
	}
	if output == "json" {
		return c.sayMessage(resp, output)
	}
	zone, err := time.LoadLocation(resp.GetTimeZone())
	if err != nil {
		return fmt.Errorf("the station keeps the time of %q: %w", resp.GetTimeZone(), err)
	}
	rows := [][]string{{"WATCH", "CREW", "BEGINS", "ENDS", "LASTS"}}
	for _, w := range resp.GetWatches() {
		begins, ends := w.GetBegins().AsTime().In(zone), w.GetEnds().AsTime().In(zone)
		crew := w.GetCrew()
		if crew == "" {
			crew = "-"
		}
		rows = append(rows, []string{w.GetName(), crew, begins.Format("Mon 2 Jan 15:04"), ends.Format("Mon 2 Jan 15:04"), ends.Sub(begins).String()})
	}
	c.columns(rows)
	return nil
}

func newCalendar(c *console) *cobra.Command {
	var address string
	var days int32
	cmd := &cobra.Command{
		Use:     "calendar STATION",
		Short:   "Write the coming checks as an iCalendar file",
		Long:    calendarHelp,
		Example: "  server calendar skarholm-quay > skarholm-quay.ics",
		Args:    exactly(1, "name one station, for instance skarholm-quay"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return c.asking(address, func(s *remote) error {
				ctx, cancel := patiently(cmd.Context())
				defer cancel()
				resp, err := s.schedule.GetCalendarFeed(ctx, &pb.GetCalendarFeedRequest{Station: inCollection("stations", args[0]), Days: days})
				if err != nil {
					return err
				}
				_, err = fmt.Fprint(c.Out, resp.GetCalendar())
				return err
			})
		},
	}
	serverFlag(cmd, &address)
	cmd.Flags().Int32Var(&days, "days", 28, "how many days ahead")
	return cmd
}

// calendarPage answers with the coming checks of the station that the path names, for
// calendar programs that subscribe. It only reads, and names nobody.
func calendarPage(st *station.Station) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		name, found := strings.CutSuffix(r.PathValue("file"), ".ics")
		if !found {
			http.Error(w, "ask for a station's calendar as /calendar/skarholm-quay.ics", http.StatusNotFound)
			return
		}
		resp, err := st.GetCalendarFeed(r.Context(), &pb.GetCalendarFeedRequest{Station: "stations/" + name})
		switch {
		case fault.Is(err, fault.NotFound):
			http.Error(w, err.Error(), http.StatusNotFound)
		case err != nil:
			http.Error(w, "the station cannot say now; its log says why", http.StatusServiceUnavailable)
		default:
			w.Header().Set("Content-Type", "text/calendar; charset=utf-8")
			w.Header().Set("Cache-Control", "no-store")
			_, _ = fmt.Fprint(w, resp.GetCalendar())
		}
	})
}
