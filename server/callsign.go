package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	pb "bayround/proto/bayround/v1"

	"bayround/internal/changeover"
	"bayround/internal/command"
	"bayround/internal/verdict"
)

const callSignHelp = `Say which vehicle answers to which call sign, and let a reserve take another's place.

  list      every call sign, and who answers to it
  compare   what control must know before one vehicle takes the place of another
  move      a reserve takes a place, with the call sign
  return    the call sign goes back to the vehicle whose own it is

A vehicle that takes a call sign is NOT PROVEN until it was checked as the routine for a
takeover asks, from then on; a takeover check begun in the twelve hours before counts.
"server readiness --call-sign WN12" asks for whichever vehicle answers to it.`

const callSignListHelp = `List every call sign and the vehicle that answers to it; where that is a reserve, in whose place,
since when, who decided it and why, and whether it was checked for it.`

const callSignCompareHelp = `Say in what a vehicle differs from the one whose place it would take, as far as those who send it
must know: height, width, length, mass, seats, and what it cannot do.`

const callSignMoveHelp = `An officer lets a vehicle held in reserve answer to the call sign of another. Control must have been
told first; without --control-told nothing is moved, and what control must know is said.
The reserve is NOT PROVEN until its takeover check is whole.`

const callSignReturnHelp = `An officer gives a call sign back to the vehicle whose own it is, which is NOT PROVEN until it was
checked as at a takeover. The reserve answers to its own call sign again.`

const callSignExample = `  server callsign list
  server callsign compare wn90 wn12
  server callsign move WN12 --to wn90 --person osgarry --reason "rear-steer lamp" --control-told
  server callsign return WN12 --person osgarry --reason "lamp renewed" --control-told`

func newCallSign(c *console) *cobra.Command {
	cmd := &cobra.Command{
		Use:     "callsign",
		Short:   "Move a call sign to a reserve vehicle and back",
		Long:    callSignHelp,
		Example: callSignExample,
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(newCallSignList(c), newCallSignCompare(c), newCallSignMove(c), newCallSignReturn(c))
	return cmd
}

func newCallSignList(c *console) *cobra.Command {
	var server string
	cmd := &cobra.Command{
		Use: "list", Short: "Every call sign, and who answers to it", Long: callSignListHelp, Example: "  server callsign list", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return c.asking(server, func(s *remote) error {
				ctx, cancel := patiently(cmd.Context())
				defer cancel()
				return pages(func(token string) (string, error) {
					resp, err := s.callSigns.ListCallSigns(ctx, &pb.ListCallSignsRequest{PageSize: 200, PageToken: token})
					for _, of := range resp.GetCallSigns() {
						c.Say("%-10s  %s", of.GetCallSign(), answererOf(of))
					}
					return resp.GetNextPageToken(), err
				})
			})
		},
	}
	serverFlag(cmd, &server)
	return cmd
}

// answererOf says who answers to a call sign, and in whose place.
func answererOf(of *pb.CallSign) string {
	if of.GetHome() == of.GetVehicle() {
		return of.GetVehicle()
	}
	h := of.GetHolding()
	checked := "not checked for it yet"
	if h.GetChecked() != nil {
		checked = "checked for it"
	}
	return fmt.Sprintf("%s in place of %s since %s, by %s: %s (%s)", of.GetVehicle(), of.GetHome(),
		h.GetStationTime().AsTime().Local().Format("2006-01-02 15:04"), h.GetPerson(), h.GetReason(), checked)
}

// vehicleMeant is the vehicle that something is told of or asked about. A word that is a
// call sign which a vehicle of another name answers to now is refused: it could mean either.
func (s *remote) vehicleMeant(ctx context.Context, word string) (string, error) {
	if word == "" || strings.Contains(word, "/") {
		return word, nil
	}
	named := inCollection("vehicles", word)
	ctx, cancel := patiently(ctx)
	defer cancel()
	err := pages(func(token string) (string, error) {
		resp, err := s.callSigns.ListCallSigns(ctx, &pb.ListCallSignsRequest{PageSize: 200, PageToken: token})
		for _, of := range resp.GetCallSigns() {
			if strings.EqualFold(of.GetCallSign(), word) && of.GetVehicle() != named {
				return "", command.Misuse("%[1]s answers to %[2]s now: say %[1]s or %[3]s, whichever is meant", of.GetVehicle(), of.GetCallSign(), named)
			}
		}
		return resp.GetNextPageToken(), err
	})
	return named, err
}

// vehiclesMeant are the vehicles that several words mean.
func (s *remote) vehiclesMeant(ctx context.Context, words []string) (names []string, err error) {
	for _, word := range words {
		name, err := s.vehicleMeant(ctx, word)
		if err != nil {
			return nil, err
		}
		names = append(names, name)
	}
	return names, nil
}

func newCallSignCompare(c *console) *cobra.Command {
	var server string
	cmd := &cobra.Command{
		Use: "compare VEHICLE INSTEAD-OF", Short: "What control must know before a vehicle takes a place", Long: callSignCompareHelp, Example: "  server callsign compare wn90 wn12",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 2 {
				return command.Misuse("name the vehicle that would take the place, and the one whose place it is: server callsign compare wn90 wn12")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return c.asking(server, func(s *remote) error {
				ctx, cancel := patiently(cmd.Context())
				defer cancel()
				names, err := s.vehiclesMeant(ctx, args)
				if err != nil {
					return err
				}
				resp, err := s.callSigns.CompareVehicles(ctx, &pb.CompareVehiclesRequest{Vehicle: names[0], InsteadOf: names[1]})
				if err != nil {
					return err
				}
				c.sayDifferences(resp.GetDifferences())
				return nil
			})
		},
	}
	serverFlag(cmd, &server)
	return cmd
}

func (c *console) sayDifferences(all []*pb.VehicleDifference) {
	if len(all) == 0 {
		c.Say("%s", changeover.InWords(nil))
	}
	for _, d := range all {
		c.Say("  %s", d.GetText())
	}
}

// swapFlags are what moving and returning are told by.
type swapFlags struct {
	server, to, person, reason string
	controlTold                bool
}

func (f *swapFlags) on(cmd *cobra.Command) {
	serverFlag(cmd, &f.server)
	cmd.Flags().StringVar(&f.person, "person", "", "officer who decides it")
	cmd.Flags().StringVar(&f.reason, "reason", "", "why")
	cmd.Flags().BoolVar(&f.controlTold, "control-told", false, "control was told, with the differences that compare names")
}

func (f *swapFlags) check() error {
	if f.person == "" || f.reason == "" {
		return command.Misuse("say who decides it with --person, and why with --reason")
	}
	return nil
}

const oneCallSign = "name one call sign, for instance WN12"

func newCallSignMove(c *console) *cobra.Command {
	var f swapFlags
	cmd := &cobra.Command{
		Use: "move CALL-SIGN", Short: "Let a reserve take a place, with the call sign", Long: callSignMoveHelp, Args: exactlyOne(oneCallSign),
		Example: `  server callsign move WN12 --to wn90 --person osgarry --reason "rear-steer lamp" --control-told`,
		RunE: func(cmd *cobra.Command, args []string) error {
			if f.to == "" {
				return command.Misuse("say with --to which reserve vehicle is to answer to %s", args[0])
			}
			return f.carryOut(cmd.Context(), c, func(ctx context.Context, s *remote) (*pb.Readiness, error) {
				to, err := s.vehicleMeant(ctx, f.to)
				if err != nil {
					return nil, err
				}
				resp, err := s.callSigns.MoveCallSign(ctx, &pb.MoveCallSignRequest{
					RequestId: uuid.NewString(), CallSign: args[0], Vehicle: to,
					Person: inCollection("people", f.person), Reason: f.reason, ControlTold: f.controlTold,
				})
				return resp.GetReadiness(), err
			})
		},
	}
	f.on(cmd)
	cmd.Flags().StringVar(&f.to, "to", "", "reserve vehicle that is to answer to it")
	return cmd
}

func newCallSignReturn(c *console) *cobra.Command {
	var f swapFlags
	cmd := &cobra.Command{
		Use: "return CALL-SIGN", Short: "Give a call sign back to the vehicle whose own it is", Long: callSignReturnHelp, Args: exactlyOne(oneCallSign),
		Example: `  server callsign return WN12 --person osgarry --reason "lamp renewed" --control-told`,
		RunE: func(cmd *cobra.Command, args []string) error {
			return f.carryOut(cmd.Context(), c, func(ctx context.Context, s *remote) (*pb.Readiness, error) {
				resp, err := s.callSigns.ReturnCallSign(ctx, &pb.ReturnCallSignRequest{
					RequestId: uuid.NewString(), CallSign: args[0], Person: inCollection("people", f.person), Reason: f.reason, ControlTold: f.controlTold,
				})
				return resp.GetReadiness(), err
			})
		},
	}
	f.on(cmd)
	return cmd
}

// takeoverHint says which check that is, and how to read it; empty where no routine is due
// at a takeover.
func takeoverHint(r *pb.Readiness) string {
	for _, d := range r.GetRoutineDues() {
		if d.GetBecause() == pb.HappeningKind_HAPPENING_KIND_TAKEOVER {
			return fmt.Sprintf("\nThat is the %s, %s: server show %s --routine %s",
				d.GetTitle(), count(int(d.GetSteps()), "step"), lastPart(d.GetVehicle()), lastPart(d.GetRoutine()))
		}
	}
	return ""
}

// carryOut asks the station to change places and says what became of it.
func (f *swapFlags) carryOut(ctx context.Context, c *console, ask func(ctx context.Context, s *remote) (*pb.Readiness, error)) error {
	if err := f.check(); err != nil {
		return err
	}
	return c.asking(f.server, func(s *remote) error {
		ctx, cancel := patiently(ctx)
		defer cancel()
		r, err := ask(ctx, s)
		if err != nil {
			return err
		}
		c.Say("%s is now %s", verdict.Spoken(r), wordsOf(r))
		if h := r.GetHolding(); h.GetChecked() == nil {
			c.Say("It must be checked as at a takeover before it responds.%s", takeoverHint(r))
		}
		c.sayDifferences(r.GetHolding().GetDifferences())
		return nil
	})
}
