package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
)

// player carries out one round over the wire, as a tablet would.
type player struct {
	station *remote
	file    *roundFile
	heard   func(act, *pb.RecordResultResponse) // told each answer that is safely kept

	opened time.Time // when the station opened the round: the base of all times that are sent
	found  []finding
}

// finding is what the rules said of one result.
type finding struct {
	step     *pb.CheckStep
	result   *pb.Result
	what     *pb.Finding
	putRight bool // a later result of the same step showed nothing any more
}

// play carries out the round and returns the vehicle's readiness after it. When
// it fails half-way, playing again goes on where it stopped.
func (p *player) play(ctx context.Context, acts []act) (*pb.Readiness, error) {
	if err := p.open(ctx); err != nil {
		return nil, err
	}
	for n, a := range acts {
		if err := p.do(ctx, n, a); err != nil {
			return nil, err
		}
	}
	if err := p.finish(ctx); err != nil {
		return nil, err
	}
	all, err := p.station.readinessOf(ctx, []string{p.file.vehicle}, nil)
	if err != nil {
		return nil, err
	}
	return all[0], nil
}

// open opens the round, unless it is open since an earlier try. Every time that
// is sent later counts from its opening, so that each try sends the same.
func (p *player) open(ctx context.Context) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	name := p.file.roundName()
	there, err := p.station.rounds.GetRound(ctx, &pb.GetRoundRequest{Name: name})
	round := there.GetRound()
	if fault.Is(err, fault.NotFound) {
		var opened *pb.OpenRoundResponse
		opened, err = p.station.rounds.OpenRound(ctx, &pb.OpenRoundRequest{
			Round: name, Vehicle: p.file.vehicle, Routine: p.file.routine, Driver: p.file.driver,
			Assistant: p.file.helper, Device: p.file.device, Conditions: p.conditions(),
		})
		round = opened.GetRound()
	}
	if err != nil {
		return fmt.Errorf("opening the round: %w", err)
	}
	if round.GetVehicle() != p.file.vehicle || round.GetRoutine() != p.file.routine {
		return command.Misuse("%s: the key %q belongs to a round of %s for %s; choose another", p.file.file, p.file.key, round.GetRoutine(), round.GetVehicle())
	}
	p.opened = round.GetOpened().AsTime()
	return nil
}

func (p *player) conditions() *pb.RoundConditions {
	c := &pb.RoundConditions{AmbientCelsius: p.file.ambient}
	if p.file.engineStopped != nil {
		c.EngineStopped = timestamppb.New(time.Now().Add(-*p.file.engineStopped))
	}
	return c
}

// do carries out one act, the n-th.
func (p *player) do(ctx context.Context, n int, a act) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	switch {
	case a.begin:
		_, err := p.station.rounds.BeginStep(ctx, &pb.BeginStepRequest{
			RequestId: p.file.id("begin", a.step.GetStepId()), Round: p.file.roundName(), StepId: a.step.GetStepId(),
		})
		return doing("beginning", a.step, err)
	case a.result != nil:
		return doing("recording", a.step, p.record(ctx, n, a))
	default:
		return doing("pausing after", a.step, p.pause(ctx, a))
	}
}

// doing says at which step something went wrong.
func doing(what string, step *pb.CheckStep, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s %s: %w", what, step.GetStepId(), err)
}

func (p *player) record(ctx context.Context, n int, a act) error {
	a.result.DeviceTime = timestamppb.New(p.opened.Add(time.Duration(n) * time.Millisecond))
	resp, err := p.station.rounds.RecordResult(ctx, &pb.RecordResultRequest{Round: p.file.roundName(), Result: a.result})
	if err != nil {
		return err
	}
	for i := range p.found {
		if p.found[i].step == a.step {
			p.found[i].putRight = true
		}
	}
	for _, f := range resp.GetFindings() {
		p.found = append(p.found, finding{step: a.step, result: a.result, what: f})
	}
	p.heard(a, resp)
	return nil
}

// pause interrupts the round, makes safe what is undone and goes on.
func (p *player) pause(ctx context.Context, a act) error {
	round, step := p.file.roundName(), a.step.GetStepId()
	paused, err := p.station.rounds.PauseRound(ctx, &pb.PauseRoundRequest{
		RequestId: p.file.id("pause", step), Round: round, Note: a.pause.note,
	})
	if err != nil {
		return err
	}
	if undone := paused.GetMakeSafe(); a.pause.makeSafe && len(undone) > 0 {
		safe := &pb.MakeSafeRequest{RequestId: p.file.id("make safe", step), Round: round}
		for _, u := range undone {
			safe.StepIds = append(safe.StepIds, u.GetStepId())
		}
		if _, err := p.station.rounds.MakeSafe(ctx, safe); err != nil {
			return err
		}
	}
	if !a.pause.resume {
		return nil
	}
	_, err = p.station.rounds.ResumeRound(ctx, &pb.ResumeRoundRequest{RequestId: p.file.id("resume", step), Round: round})
	return err
}

// finish ends the round as the file says.
func (p *player) finish(ctx context.Context) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	id, round := p.file.id("end"), p.file.roundName()
	var err error
	switch p.file.end {
	case endFinish:
		_, err = p.station.rounds.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: id, Round: round, Note: p.file.note})
	case endGiveUp:
		_, err = p.station.rounds.GiveUpRound(ctx, &pb.GiveUpRoundRequest{RequestId: id, Round: round, Note: p.file.note})
	}
	if err != nil {
		return fmt.Errorf("ending the round: %w", err)
	}
	return nil
}

// prepare fetches what the round needs and works out what will be done.
func (s *remote) prepare(ctx context.Context, file *roundFile) ([]act, error) {
	ctx, cancel := patiently(ctx)
	defer cancel()
	plan, err := s.vehicles.GetPlan(ctx, &pb.GetPlanRequest{Vehicle: file.vehicle, Routine: file.routine})
	if err != nil {
		return nil, err
	}
	vehicle, err := s.vehicles.GetVehicle(ctx, &pb.GetVehicleRequest{Name: file.vehicle})
	if err != nil {
		return nil, err
	}
	acts, err := file.script(plan.GetPlan(), vehicle.GetVehicle())
	if err == nil && len(acts) == 0 && file.end != endLeaveOpen {
		return nil, errors.New("nothing would be answered; say answer: sound, or list steps")
	}
	return acts, err
}
