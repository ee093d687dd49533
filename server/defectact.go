package main

import (
	"context"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/command"
	"bayround/internal/schedule"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

const defectAcknowledgeHelp = `The workshop answers who reported a defect: by which day it is expected to be put right, and what
else there is to say. A later answer replaces it.`

const defectDeferHelp = `An officer lets a defect wait, with a reason, under limits and until an instant. How long at most
is said by the rule pack, and "server defect show" tells it; without --until it is as long as that.
Only the duty officer extends an interval that is over. What is dangerous never waits.
Where others wait on the same system, name them with --together: they are judged together.`

const defectEndDeferralHelp = `A deferral ends before its time; it is then over as if it had expired.`

const defectRectifyHelp = `The workshop records what it did about a defect. Its step proves nothing until it is checked again.`

const defectStopHelp = `Stop a vehicle at once. Anybody may, alone. It must not move until the workshop has recorded its
work (server defect rectify) and a second person has checked it again and released it.`

const defectReleaseHelp = `Release a stopped vehicle: after the workshop's work, by another person than the one who repaired,
when every step concerned was found sound again.`

// defectFlags are what the commands about a defect are told by.
type defectFlags struct {
	server, person, text, until, doneBy string
	more                                []string // limits, parts or steps
	together                            []string
}

// defectCommand is a command about a defect: it takes a person and words.
type defectCommand struct {
	use, short, long, example string
	argument                  string // what is wrong when it is not exactly one
	textFlag, textUsage       string
	run                       func(ctx context.Context, name string) error
}

// newDefectCommand is the command, which reads its flags into f.
func newDefectCommand(f *defectFlags, d defectCommand) *cobra.Command {
	cmd := &cobra.Command{
		Use: d.use, Short: d.short, Long: d.long, Example: "  " + d.example, Args: exactlyOne(d.argument),
		RunE: func(cmd *cobra.Command, args []string) error {
			if f.person == "" || f.text == "" && d.textFlag != "note" {
				return command.Misuse("say who with --person, and --%s", d.textFlag)
			}
			return d.run(cmd.Context(), args[0])
		},
	}
	serverFlag(cmd, &f.server)
	cmd.Flags().StringVar(&f.person, "person", "", "who does it")
	cmd.Flags().StringVar(&f.text, d.textFlag, "", d.textUsage)
	return cmd
}

const oneDefect = "name one defect, for instance wn11/3f2a9c"

// dayOrInstant reads 2026-03-06 as the end of that day by this computer's clock, and
// 2026-03-06T18:00 as that minute.
func dayOrInstant(flag, text string) (*timestamppb.Timestamp, error) {
	return dayOrInstantIn(flag, text, time.Local)
}

// dayOrInstantIn reads by the clocks of a place. What they show twice is the first time,
// so that nothing waits longer than it was meant to.
func dayOrInstantIn(flag, text string, zone *time.Location) (*timestamppb.Timestamp, error) {
	if text == "" {
		return nil, nil
	}
	if at, err := time.Parse("2006-01-02T15:04", text); err == nil {
		return timestamppb.New(schedule.DateAt(at, time.UTC).At(schedule.TimeOfDay{Hour: at.Hour(), Minute: at.Minute()}, zone)), nil
	}
	day, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return nil, command.Misuse("--%s %q: write a day like 2026-03-06, or a minute like 2026-03-06T18:00", flag, text)
	}
	return timestamppb.New(schedule.DateAt(day, time.UTC).Plus(1).At(schedule.TimeOfDay{}, zone)), nil
}

func newDefectAcknowledge(c *console) *cobra.Command {
	var f defectFlags
	cmd := newDefectCommand(&f, defectCommand{
		use: "acknowledge DEFECT", short: "Answer who reported a defect", long: defectAcknowledgeHelp,
		example:  "server defect acknowledge wn11/3f2a9c --person steddow --planned 2026-03-06 --note \"glass is ordered\"",
		argument: oneDefect, textFlag: "note", textUsage: "what the reporter is told",
		run: func(ctx context.Context, name string) error {
			planned, err := dayOrInstant("planned", f.until)
			if err != nil {
				return err
			}
			if planned == nil {
				return command.Misuse("say with --planned by when it is expected to be put right")
			}
			return c.asking(f.server, func(s *remote) error {
				ctx, cancel := patiently(ctx)
				defer cancel()
				resp, err := s.defects.AcknowledgeDefect(ctx, &pb.AcknowledgeDefectRequest{
					RequestId: uuid.NewString(), Defect: defectName(name), Person: inCollection("people", f.person), Planned: planned, Note: f.text,
				})
				if err != nil {
					return err
				}
				c.acted(resp.GetSequence(), resp.GetDefect(), nil)
				return nil
			})
		},
	})
	cmd.Flags().StringVar(&f.until, "planned", "", "by when it is expected to be put right")
	return cmd
}

func newDefectDefer(c *console) *cobra.Command {
	var f defectFlags
	cmd := newDefectCommand(&f, defectCommand{
		use: "defer DEFECT", short: "Let a defect wait", long: defectDeferHelp,
		example:  "server defect defer wn22/3f2a9c --person osgarry --reason \"glass comes on Thursday\" --limit \"weather: not on night runs in rain\" --until 2026-03-06",
		argument: oneDefect, textFlag: "reason", textUsage: "why it may wait",
		run: func(ctx context.Context, name string) error {
			until, err := dayOrInstant("until", f.until)
			if err != nil {
				return err
			}
			limits, err := limitsOf(f.more)
			if err != nil {
				return err
			}
			together := make([]string, len(f.together))
			for i, other := range f.together {
				together[i] = defectName(other)
			}
			return c.asking(f.server, func(s *remote) error {
				ctx, cancel := patiently(ctx)
				defer cancel()
				resp, err := s.defects.DeferDefect(ctx, &pb.DeferDefectRequest{
					RequestId: uuid.NewString(), Defect: defectName(name), Person: inCollection("people", f.person), Reason: f.text,
					Restrictions: limits, Until: until, TogetherWith: together,
				})
				if err != nil {
					return err
				}
				c.acted(resp.GetSequence(), resp.GetDefect(), resp.GetReadiness())
				return nil
			})
		},
	})
	cmd.Flags().StringVar(&f.until, "until", "", "until when; empty for as long as it may")
	cmd.Flags().StringArrayVar(&f.more, "limit", nil, "a limit while it waits: riders, task, weather, distance or care, a colon, and the words; for several times")
	cmd.Flags().StringArrayVar(&f.together, "together", nil, "another defect that waits on the same system and was looked at with it; for several times")
	return cmd
}

// limitsOf reads limits like "weather: not in rain".
func limitsOf(texts []string) (limits []*pb.Restriction, err error) {
	for _, text := range texts {
		word, words, found := strings.Cut(text, ":")
		kind := pb.RestrictionKind_value["RESTRICTION_KIND_"+strings.ToUpper(strings.TrimSpace(word))]
		if !found || kind == 0 || strings.TrimSpace(words) == "" {
			return nil, command.Misuse("--limit %q: write riders, task, weather, distance, speed or care, a colon, and the words", text)
		}
		limits = append(limits, &pb.Restriction{Kind: pb.RestrictionKind(kind), Text: strings.TrimSpace(words)})
	}
	return limits, nil
}

func newDefectEndDeferral(c *console) *cobra.Command {
	var f defectFlags
	return newDefectCommand(&f, defectCommand{
		use: "end-deferral DEFECT", short: "End a deferral before its time", long: defectEndDeferralHelp,
		example:  "server defect end-deferral wn22/3f2a9c --person osgarry --because \"the chip has grown\"",
		argument: oneDefect, textFlag: "because", textUsage: "why",
		run: func(ctx context.Context, name string) error {
			return c.asking(f.server, func(s *remote) error {
				ctx, cancel := patiently(ctx)
				defer cancel()
				resp, err := s.defects.EndDeferral(ctx, &pb.EndDeferralRequest{
					RequestId: uuid.NewString(), Defect: defectName(name), Person: inCollection("people", f.person), Because: f.text,
				})
				if err != nil {
					return err
				}
				c.acted(resp.GetSequence(), resp.GetDefect(), resp.GetReadiness())
				return nil
			})
		},
	})
}

func newDefectRectify(c *console) *cobra.Command {
	var f defectFlags
	var wheels []string
	var odometer string
	cmd := newDefectCommand(&f, defectCommand{
		use: "rectify DEFECT", short: "Record a repair", long: defectRectifyHelp,
		example:  "server defect rectify wn11/3f2a9c --person steddow --done \"valve renewed\" --part \"valve, rear nearside\"",
		argument: oneDefect, textFlag: "done", textUsage: "what was done",
		run: func(ctx context.Context, name string) error {
			return c.asking(f.server, func(s *remote) error {
				ctx, cancel := patiently(ctx)
				defer cancel()
				km, err := kilometres(odometer)
				if err != nil {
					return err
				}
				resp, err := s.vehicles.RecordRepair(ctx, &pb.RecordRepairRequest{
					RequestId: uuid.NewString(), Defect: defectName(name), Person: inCollection("people", f.person), Done: f.text, Parts: f.more, DoneBy: f.doneBy,
					Wheels: wheels, OdometerKm: km,
				})
				if err != nil {
					return err
				}
				c.acted(resp.GetSequence(), resp.GetDefect(), nil)
				return nil
			})
		},
	})
	cmd.Flags().StringArrayVar(&f.more, "part", nil, "a part that was fitted; for several times")
	cmd.Flags().StringVar(&f.doneBy, "done-by", "", "who did the work when it was not the person, for instance a firm")
	cmd.Flags().StringArrayVar(&wheels, "wheel", nil, "a wheel that was off for it and is fitted again, for instance axle-1-nearside: it is to be torqued again; for several times")
	cmd.Flags().StringVar(&odometer, "odometer", "", "what the odometer showed then, in km")
	return cmd
}

func newDefectStop(c *console) *cobra.Command {
	var f defectFlags
	cmd := newDefectCommand(&f, defectCommand{
		use: "stop VEHICLE", short: "Stop a vehicle, at once", long: defectStopHelp,
		example:  "server defect stop wn11 --person arkwith --reason \"it pulls to the left\"",
		argument: "name one vehicle, for instance wn11", textFlag: "reason", textUsage: "why",
		run: func(ctx context.Context, name string) error {
			return c.asking(f.server, func(s *remote) error {
				vehicle, err := s.vehicleMeant(ctx, name)
				if err != nil {
					return err
				}
				ctx, cancel := patiently(ctx)
				defer cancel()
				resp, err := s.defects.StopVehicle(ctx, &pb.StopVehicleRequest{
					RequestId: uuid.NewString(), Vehicle: vehicle, Person: inCollection("people", f.person), Reason: f.text, StepIds: f.more,
				})
				if err != nil {
					return err
				}
				c.acted(resp.GetSequence(), resp.GetDefect(), resp.GetReadiness())
				return nil
			})
		},
	})
	cmd.Flags().StringArrayVar(&f.more, "step", nil, "a step it is about, to be checked again before the release; for several times")
	return cmd
}

func newDefectRelease(c *console) *cobra.Command {
	var f defectFlags
	return newDefectCommand(&f, defectCommand{
		use: "release DEFECT", short: "Release a stopped vehicle", long: defectReleaseHelp,
		example:  "server defect release wn11/stop-0123456789 --person venholt --checked \"brakes tried in the yard\"",
		argument: oneDefect, textFlag: "checked", textUsage: "what was checked again",
		run: func(ctx context.Context, name string) error {
			return c.asking(f.server, func(s *remote) error {
				ctx, cancel := patiently(ctx)
				defer cancel()
				resp, err := s.defects.ReleaseVehicle(ctx, &pb.ReleaseVehicleRequest{
					RequestId: uuid.NewString(), Defect: defectName(name), Person: inCollection("people", f.person), Checked: f.text,
				})
				if err != nil {
					return err
				}
				c.acted(resp.GetSequence(), resp.GetDefect(), resp.GetReadiness())
				return nil
			})
		},
	})
}

// acted prints what a command has left: its event, the defect, and the verdict where it is known.
func (c *console) acted(sequence int64, d *pb.Defect, r *pb.Readiness) {
	c.Say("recorded as event %d", sequence)
	c.defectTable([]*pb.Defect{d}, time.Now())
	if r != nil {
		c.Say("%s is now %s", verdict.Spoken(r), wordsOf(r))
	}
}
