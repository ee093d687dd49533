package main

import (
	"cmp"
	"context"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/command"
	pb "bayround/proto/bayround/v1"
)

const dueHelp = `Say which checks are overdue, due and coming, the worst first. Times are those of the vehicles'
own stations. A check is done when every item of it was looked at, be it in one round or several.
The items of one that is shared out have their turns in different watches; for one VEHICLE the
items of this watch are listed.
What is due says nothing of whether a vehicle may respond: "server readiness" does.`

const incidentHelp = `Record that a vehicle came back from an incident. What is checked after one is due from then.`

func newDue(c *console) *cobra.Command {
	var address, station, output string
	var all bool
	cmd := &cobra.Command{
		Use:     "due [VEHICLE]",
		Short:   "Say which checks are due",
		Long:    dueHelp,
		Example: "  server due\n  server due wn11 --all\n  server due --station skarholm-quay -o json",
		Args:    cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := tableOrJSON(output); err != nil {
				return err
			}
			req := &pb.ListDuesRequest{PageSize: 200, Station: inCollection("stations", station)}
			if all {
				req.States = []pb.DueState{pb.DueState_DUE_STATE_QUIET, pb.DueState_DUE_STATE_COMING, pb.DueState_DUE_STATE_DUE, pb.DueState_DUE_STATE_OVERDUE}
			}
			return c.asking(address, func(s *remote) (err error) {
				if len(args) == 1 {
					if req.Vehicle, err = s.vehicleMeant(cmd.Context(), args[0]); err != nil {
						return err
					}
				}
				return s.due(cmd.Context(), c, req, output)
			})
		},
	}
	serverFlag(cmd, &address)
	cmd.Flags().StringVar(&station, "station", "", "only vehicles of this station")
	cmd.Flags().BoolVar(&all, "all", false, "also checks that nothing makes due now")
	cmd.Flags().StringVarP(&output, "output", "o", "table", "table or json")
	return cmd
}

func (s *remote) due(ctx context.Context, c *console, req *pb.ListDuesRequest, output string) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	all := &pb.ListDuesResponse{}
	err := pages(func(token string) (string, error) {
		req.PageToken = token
		resp, err := s.schedule.ListDues(ctx, req)
		all.Dues, all.WithoutCalendar, all.AsOf = append(all.Dues, resp.GetDues()...), resp.GetWithoutCalendar(), resp.GetAsOf()
		return resp.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	if output == "json" {
		return c.sayMessage(all, output)
	}
	c.dueTable(all.GetDues())
	if req.GetVehicle() != "" {
		c.shareTables(all.GetDues())
	}
	for _, name := range all.GetWithoutCalendar() {
		c.Say("%s has no calendar: no change of watch makes anything due there", lastPart(name))
	}
	return nil
}

// dueTable prints one row for each check, the worst first.
func (c *console) dueTable(dues []*pb.RoutineDue) {
	if len(dues) == 0 {
		c.Say("nothing is due, and nothing is coming")
		return
	}
	slices.SortStableFunc(dues, func(a, b *pb.RoutineDue) int {
		return cmp.Or(cmp.Compare(b.GetState(), a.GetState()), a.GetDue().AsTime().Compare(b.GetDue().AsTime()))
	})
	rows := [][]string{{"VEHICLE", "STATE", "WHAT", "STEPS LEFT"}}
	for _, d := range dues {
		left := "-"
		if d.GetState() >= pb.DueState_DUE_STATE_DUE {
			left = strconv.Itoa(int(d.GetOpenSteps())) + " of " + strconv.Itoa(int(d.GetSteps()))
		}
		state := strings.ToLower(strings.TrimPrefix(d.GetState().String(), "DUE_STATE_"))
		rows = append(rows, []string{lastPart(d.GetVehicle()), state, d.GetText(), left})
	}
	c.columns(rows)
}

// shareTables print what this watch is to do of the checks that are shared out.
func (c *console) shareTables(dues []*pb.RoutineDue) {
	for _, d := range dues {
		if len(d.GetShare()) == 0 {
			continue
		}
		c.Say("\nthis watch, of the %s:", d.GetTitle())
		rows := [][]string{{"ITEM", "WHAT", "STEPS", "GOOD UNTIL (UTC)"}}
		for _, one := range d.GetShare() {
			rows = append(rows, []string{
				one.GetItem(), one.GetTitle(), strconv.Itoa(int(one.GetSteps())), one.GetGapEnds().AsTime().Format("2006-01-02 15:04"),
			})
		}
		c.columns(rows)
	}
}

func newIncident(c *console) *cobra.Command {
	var address, person, note, returned string
	var used []string
	cmd := &cobra.Command{
		Use:     "incident VEHICLE",
		Short:   "Record that a vehicle came back from an incident",
		Long:    incidentHelp,
		Example: "  server incident wn11 --person arkwith --note barn --used foam --used \"a long pump run\"",
		Args:    exactly(1, "name one vehicle, for instance wn11"),
		RunE: func(cmd *cobra.Command, args []string) error {
			req := &pb.RecordIncidentRequest{
				RequestId: uuid.NewString(), Person: inCollection("people", person), Note: note, Used: used,
			}
			if person == "" {
				return command.Misuse("--person is missing: say who says so, for instance --person arkwith")
			}
			if returned != "" {
				at, err := time.ParseInLocation("2006-01-02T15:04", returned, time.Local)
				if err != nil {
					return command.Misuse("--returned %q: write a minute like 2026-03-06T18:00", returned)
				}
				req.Returned = timestamppb.New(at)
			}
			return c.asking(address, func(s *remote) (err error) {
				if req.Vehicle, err = s.vehicleMeant(cmd.Context(), args[0]); err != nil {
					return err
				}
				return s.incident(cmd.Context(), c, req)
			})
		},
	}
	serverFlag(cmd, &address)
	cmd.Flags().StringVar(&person, "person", "", "who says so")
	cmd.Flags().StringVar(&note, "note", "", "what it was")
	cmd.Flags().StringArrayVar(&used, "used", nil, "what was used, or gone through; may be given more than once")
	cmd.Flags().StringVar(&returned, "returned", "", "when it came back; empty for now")
	return cmd
}

func (s *remote) incident(ctx context.Context, c *console, req *pb.RecordIncidentRequest) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	resp, err := s.schedule.RecordIncident(ctx, req)
	if err != nil {
		return err
	}
	c.Say("recorded as event %d", resp.GetSequence())
	c.dueTable(resp.GetDues())
	return nil
}
