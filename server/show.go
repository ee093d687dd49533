package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"buf.build/go/protoyaml"
	"github.com/spf13/cobra"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
)

const showHelp = `Show what is checked on a vehicle, in walking order: the plan of a routine. With --walk,
show the way through it: every halt, what it costs, and what the order of the catalogue would
cost. With --configuration, show the vehicle itself, as it would be written in a file.`

const showExample = `  server show wn11                         the plan of its shift check
  server show wn11 --routine weekly
  server show wn11 --routine weekly -o json
  server show wn11 --walk                  the way from halt to halt, with an assistant
  server show wn11 --walk --alone -o svg > wn11.svg
  server show wn11 --walk --within 6m      what to look at in six minutes
  server show wn11 --configuration > wn11.yaml`

type showFlags struct {
	server        string
	output        string
	routine       string
	configuration bool
	walk          bool
	alone         bool
	within        time.Duration
}

func newShow(c *console) *cobra.Command {
	var f showFlags
	cmd := &cobra.Command{
		Use:     "show VEHICLE",
		Short:   "Show what is checked on a vehicle, or the vehicle itself",
		Long:    showHelp,
		Example: showExample,
		Args:    exactlyOne("name one vehicle, for instance wn11"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := f.check(); err != nil {
				return err
			}
			return c.asking(f.server, func(s *remote) error {
				vehicle, err := s.vehicleMeant(cmd.Context(), args[0])
				if err != nil {
					return err
				}
				return s.show(cmd.Context(), c, vehicle, f)
			})
		},
	}
	serverFlag(cmd, &f.server)
	cmd.Flags().StringVar(&f.routine, "routine", "shift", "routine whose plan is shown")
	cmd.Flags().BoolVar(&f.configuration, "configuration", false, "show the vehicle itself")
	cmd.Flags().BoolVar(&f.walk, "walk", false, "show the way through the plan")
	cmd.Flags().BoolVar(&f.alone, "alone", false, "with --walk: without an assistant")
	cmd.Flags().DurationVar(&f.within, "within", 0, "with --walk: what can be done in this time, for instance 6m")
	cmd.Flags().StringVarP(&f.output, "output", "o", "", "table, json, yaml, or svg for a walk; table unless said otherwise, yaml for a configuration")
	return cmd
}

// check fills in what was not said and refuses what does not go together.
func (f *showFlags) check() error {
	if f.output == "" {
		f.output = map[bool]string{false: "table", true: "yaml"}[f.configuration]
	}
	switch {
	case f.walk && f.configuration:
		return command.Misuse("--walk and --configuration: ask for one of them")
	case f.alone && !f.walk:
		return command.Misuse("--alone says how one walks: add --walk")
	case f.within != 0 && !f.walk:
		return command.Misuse("--within says how long one walks: add --walk")
	case f.within < 0 || f.within != f.within.Truncate(time.Second) || f.within > 24*time.Hour:
		return command.Misuse("--within %v: say whole seconds up to a day, for instance 6m", f.within)
	case f.output == "svg" && !f.walk:
		return command.Misuse("-o svg draws a walk: add --walk")
	case f.output == "svg" || f.output == "yaml" || f.output == "json" || f.output == "table" && !f.configuration:
		return nil
	}
	return command.Misuse("-o %q: say table, json or yaml, or svg with --walk; a configuration has no table", f.output)
}

// exactlyOne demands one argument, in words that say which.
func exactlyOne(words string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) != 1 {
			return fmt.Errorf("%s; there are %d", words, len(args))
		}
		return nil
	}
}

// show prints a plan or a configuration.
func (s *remote) show(ctx context.Context, c *console, vehicle string, f showFlags) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	if f.configuration {
		resp, err := s.vehicles.GetVehicle(ctx, &pb.GetVehicleRequest{Name: vehicle})
		if err != nil {
			return err
		}
		return c.sayMessage(asFile(resp.GetVehicle(), f.output), f.output)
	}
	if f.walk {
		return s.showWalk(ctx, c, vehicle, f)
	}
	resp, err := s.vehicles.GetPlan(ctx, &pb.GetPlanRequest{Vehicle: vehicle, Routine: inCollection("routines", f.routine)})
	if err != nil {
		return err
	}
	if f.output == "table" {
		c.planTable(resp.GetPlan())
		return nil
	}
	return c.sayMessage(resp.GetPlan(), f.output)
}

// asFile is a configuration as it would stand in a file, which can be applied
// again: without the revision and the kept orders, which the station gives.
func asFile(v *pb.VehicleConfiguration, output string) proto.Message {
	if output != "yaml" {
		return v
	}
	v = proto.CloneOf(v)
	v.Revision, v.KeptOrders = 0, nil
	return &pb.StationFile{Vehicles: []*pb.VehicleConfiguration{v}}
}

// sayMessage prints a message as JSON or YAML, with the names of the proto.
func (c *console) sayMessage(m proto.Message, output string) error {
	var text []byte
	var err error
	if output == "json" {
		text, err = protojson.MarshalOptions{UseProtoNames: true, Multiline: true}.Marshal(m)
	} else {
		text, err = protoyaml.MarshalOptions{UseProtoNames: true}.Marshal(m)
	}
	if err != nil {
		return err
	}
	c.Say("%s", strings.TrimSuffix(string(text), "\n"))
	return nil
}

// planTable prints a plan, stop by stop.
func (c *console) planTable(plan *pb.Plan) {
	c.Say("%s, %s: %s, catalogue %s, revision %d", plan.GetVehicle(), plan.GetRoutine(),
		count(len(plan.GetSteps()), "step"), plan.GetCatalogueVersion(), plan.GetVehicleRevision())
	stop := ""
	for i, step := range plan.GetSteps() {
		if step.GetStop() != stop {
			stop = step.GetStop()
			c.Say("\n%s", step.GetStopTitle())
		}
		must := " "
		if step.GetMustNotMiss() {
			must = "!"
		}
		c.Say("%4d %s %-40s %s: %s", i+1, must, step.GetStepId(), titleOf(step), asks(step))
	}
	c.Say("\n! must not be missed")
}

// asks says in a few words what answer a step wants.
func asks(step *pb.CheckStep) string {
	words := asksFor(step)
	if beside := len(step.GetConditions()); beside > 0 && step.GetAnswerKind() != pb.AnswerKind_ANSWER_KIND_CONDITION {
		words += fmt.Sprintf("; beside it %s can be seen", count(beside, "fault"))
	}
	return words
}

// asksFor says what kind of answer a step wants.
func asksFor(step *pb.CheckStep) string {
	switch step.GetAnswerKind() {
	case pb.AnswerKind_ANSWER_KIND_READING:
		return "read " + strings.Join(step.GetUnits(), ", ") + about(step)
	case pb.AnswerKind_ANSWER_KIND_PROFILE:
		return "depths across, " + strings.Join(step.GetUnits(), ", ")
	case pb.AnswerKind_ANSWER_KIND_LEVEL:
		return "level between the marks"
	default:
		return fmt.Sprintf("one of %s", count(len(step.GetConditions()), "condition"))
	}
}

// about is the value a step aims at, in the unit it is read in.
func about(step *pb.CheckStep) string {
	if step.Target == nil {
		return ""
	}
	value, err := targetIn(step)
	if err != nil {
		return ""
	}
	return ", about " + value.String()
}
