package station

import (
	"context"
	"strings"

	"bayround/internal/plan"
	pb "bayround/proto/bayround/v1"
)

// GetWalk returns a way through the steps of a plan.
func (s *Station) GetWalk(_ context.Context, req *pb.GetWalkRequest) (*pb.GetWalkResponse, error) {
	state := s.current.Load()
	snap, err := state.vehicle(req.GetVehicle())
	if err != nil {
		return nil, err
	}
	p := snap.model.plan(req.GetRoutine(), req.GetWithItems())
	if p == nil {
		return nil, unknown("routine", req.GetRoutine())
	}
	ask := plan.Ask{
		Alone: req.GetAlone(), Done: req.GetDone(), AtStep: req.GetAtStep(),
		WithinS: int(req.GetWithinS()), EngineWarm: req.GetEngineWarm(),
	}
	in := snap.model.input(snap.model.routine(req.GetRoutine(), req.GetWithItems()))
	if ask.WithinS > 0 {
		in.Worth = worthOf(snap.model.vehicle, state.lib.set.Packs, p.GetSteps())
	}
	resp := &pb.GetWalkResponse{}
	if resp.Walk, err = plan.Walk(in, p, ask); err != nil {
		return nil, err
	}
	if req.GetWithNaive() {
		resp.Naive, err = plan.Naive(in, p, ask)
	}
	return resp, err
}

// weights are what a finding of each grade counts: the published
// weights of the trade (job map A6, source S43): dangerous 40, major 10, minor 1.
var weights = map[pb.Grade]float64{pb.Grade_GRADE_DANGEROUS: 40, pb.Grade_GRADE_MAJOR: 10, pb.Grade_GRADE_MINOR: 1}

// worthOf is what finding out at each step counts: the weight of the worst grade of the
// vehicle's rules that look at its item or at one of its faults; nothing where no rule does.
func worthOf(v *pb.VehicleConfiguration, packs map[string]*pb.RulePack, steps []*pb.CheckStep) map[string]float64 {
	byItem := map[string]float64{}
	for _, name := range v.GetRulePacks() {
		for _, rule := range packs[name].GetRules() {
			for _, item := range rule.GetItems() {
				byItem[item] = max(byItem[item], weights[rule.GetGrade()])
			}
			for _, fault := range rule.GetFaults() {
				item := fault[:max(0, strings.LastIndexByte(fault, '-'))]
				byItem[item] = max(byItem[item], weights[rule.GetGrade()])
			}
		}
	}
	worth := make(map[string]float64, len(steps))
	for _, s := range steps {
		if w := byItem[s.GetItem()]; w > 0 {
			worth[s.GetStepId()] = w
		}
	}
	return worth
}
