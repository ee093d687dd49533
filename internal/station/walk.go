package station

import (
	"context"

	"bayround/internal/plan"
	pb "bayround/proto/bayround/v1"
)

// GetWalk returns a way through the steps of a plan.
func (s *Station) GetWalk(_ context.Context, req *pb.GetWalkRequest) (*pb.GetWalkResponse, error) {
	snap, err := s.current.Load().vehicle(req.GetVehicle())
	if err != nil {
		return nil, err
	}
	p := snap.model.plan(req.GetRoutine())
	if p == nil {
		return nil, unknown("routine", req.GetRoutine())
	}
	ask := plan.Ask{
		Alone: req.GetAlone(), Done: req.GetDone(), AtStep: req.GetAtStep(),
		WithinS: int(req.GetWithinS()), EngineWarm: req.GetEngineWarm(),
	}
	in := snap.model.input(snap.model.routines[req.GetRoutine()])
	resp := &pb.GetWalkResponse{}
	if resp.Walk, err = plan.Walk(in, p, ask); err != nil {
		return nil, err
	}
	if req.GetWithNaive() {
		resp.Naive, err = plan.Naive(in, p, ask)
	}
	return resp, err
}
