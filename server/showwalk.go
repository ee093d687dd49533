package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"bayround/internal/screen"
	pb "bayround/proto/bayround/v1"
)

// showWalk prints the way through the plan of a routine, or draws it.
func (s *remote) showWalk(ctx context.Context, c *console, vehicle string, f showFlags) error {
	routine := inCollection("routines", f.routine)
	resp, err := s.vehicles.GetWalk(ctx, &pb.GetWalkRequest{
		Vehicle: vehicle, Routine: routine, Alone: f.alone, WithinS: int32(f.within.Seconds()), WithNaive: f.output != "svg",
	})
	if err != nil {
		return err
	}
	switch f.output {
	case "table":
		c.Say("%s, %s, %s: %s at %s", vehicle, routine, whoWalks(resp.GetWalk()), count(stepsOf(resp.GetWalk()), "step"), count(len(resp.GetWalk().GetHalts()), "halt"))
		c.walkTable(resp)
		if took := timeOf(resp.GetWalk()); f.within > 0 && took > f.within {
			c.Say("\nWhat must not be missed takes %v, more than the %v there are: nothing else is in this walk.", took, f.within)
		}
		return nil
	case "svg":
		return s.drawWalk(ctx, c, vehicle, routine, resp.GetWalk())
	}
	return c.sayMessage(resp, f.output)
}

// drawWalk prints the picture of a walk.
func (s *remote) drawWalk(ctx context.Context, c *console, vehicle, routine string, w *pb.Walk) error {
	v, err := s.vehicles.GetVehicle(ctx, &pb.GetVehicleRequest{Name: vehicle})
	if err != nil {
		return err
	}
	plan, err := s.vehicles.GetPlan(ctx, &pb.GetPlanRequest{Vehicle: vehicle, Routine: routine})
	if err != nil {
		return err
	}
	right := false
	err = pages(func(token string) (string, error) {
		resp, err := s.vehicles.ListStations(ctx, &pb.ListStationsRequest{PageSize: 200, PageToken: token})
		for _, station := range resp.GetStations() {
			right = right || station.GetName() == v.GetVehicle().GetStation() && station.GetTrafficKeepsRight()
		}
		return resp.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	c.Say("%s", strings.TrimSuffix(screen.DrawWalk(screen.WalkSheet{
		Vehicle: v.GetVehicle(), Walk: w, Routine: lastPart(routine), Catalogue: plan.GetPlan().GetCatalogueVersion(), NearsideRight: right,
	}), "\n"))
	return nil
}

// timeOf is how long a walk takes, looking included.
func timeOf(w *pb.Walk) time.Duration {
	return time.Duration((w.GetWalkingS() + w.GetChangingS() + w.GetLookingS()) * float64(time.Second)).Round(time.Second)
}

func whoWalks(w *pb.Walk) string {
	if w.GetAlone() {
		return "alone"
	}
	return "with an assistant"
}

func stepsOf(w *pb.Walk) (steps int) {
	for _, h := range w.GetHalts() {
		steps += len(h.GetStepIds())
	}
	return steps
}

// walkTable prints a walk halt by halt, and what it costs beside the order of the catalogue.
func (c *console) walkTable(resp *pb.GetWalkResponse) {
	w := resp.GetWalk()
	rows := [][]string{{"HALT", "STOP", "WHERE", "WAY", "TAKES", "STEPS", "ON THE WAY"}}
	for i, h := range w.GetHalts() {
		rows = append(rows, []string{
			fmt.Sprint(i + 1), h.GetStopTitle(), whereOf(h), fmt.Sprintf("%.1f m", h.GetWayM()), fmt.Sprintf("%.1f s", h.GetWayS()),
			fmt.Sprint(len(h.GetStepIds())), orDash(strings.Join(h.GetChanges(), "; ")),
		})
	}
	c.columns(rows)
	c.Say("")
	c.columns(totalRows(w, resp.GetNaive()))
	c.Say("")
	c.Say("%s", strings.ReplaceAll(screen.Proven(w), "\u00a0", " "))
	if w.KeptCostsS != nil {
		c.Say("The order of the former revision was kept; another costs %.1f s less.", w.GetKeptCostsS())
	}
	c.named("cannot be done alone, and has no other accepted way", w.GetNotAlone())
	c.named("left out, because the time does not reach; stays unproven", w.GetLeftOut())
	c.unguarded(w.GetUnguarded())
	c.named(fmt.Sprintf("at which a turnout takes more than the goal of %d s; tell control first", w.GetTurnoutGoalS()), w.GetOverGoal())
	c.named("whose work stays and is put back by no later one: put it back when the walk is done", w.GetLeftUndone())
}

// unguarded lists steps that are done before a precaution, or without it.
func (c *console) unguarded(all []*pb.Unguarded) {
	if len(all) == 0 {
		return
	}
	c.Say("\n%s before what ought to be done first, or without it; see to that yourself:", count(len(all), "step"))
	for _, u := range all {
		c.Say("     %s before %s", u.GetStepId(), strings.Join(u.GetPrecautions(), ", "))
	}
}

// whereOf is where one is at a halt.
func whereOf(h *pb.Halt) string {
	switch {
	case h.GetAssistantWalks():
		return "assistant outside, driver in the cab"
	case h.GetInside() && h.GetAssistant():
		return "inside, with the assistant"
	case h.GetInside():
		return "inside"
	case h.GetAssistant():
		return "outside, with the assistant"
	}
	return "outside"
}

// totalRows are what a walk costs, and beside it what the order of the catalogue does.
func totalRows(w, naive *pb.Walk) [][]string {
	rows := [][]string{{"", "THIS WALK", "ITEM AFTER ITEM"}}
	add := func(what, format string, of func(*pb.Walk) float64) {
		rows = append(rows, []string{what, fmt.Sprintf(format, of(w)), fmt.Sprintf(format, of(naive))})
	}
	add("walked", "%.0f m", (*pb.Walk).GetWalkedM)
	add("walking and climbing", "%.0f s", (*pb.Walk).GetWalkingS)
	add("changing", "%.0f s", (*pb.Walk).GetChangingS)
	add("looking, at least", "%.0f s", (*pb.Walk).GetLookingS)
	add("climbs into the cab", "%.0f", func(w *pb.Walk) float64 { return float64(w.GetCabTrips()) })
	if !w.GetAlone() {
		add("assistant needed", "%.0f s", (*pb.Walk).GetAssistantS)
	}
	add("weighted", "%.1f s", (*pb.Walk).GetCostS)
	return rows
}

// named lists steps by id under what is said of them.
func (c *console) named(what string, ids []string) {
	if len(ids) == 0 {
		return
	}
	c.Say("\n%s %s:", count(len(ids), "step"), what)
	for _, id := range slices.Sorted(slices.Values(ids)) {
		c.Say("     %s", id)
	}
}
