package station

import (
	"context"
	"slices"

	"bayround/internal/fault"
	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// Explain returns how a finding of now came about. A finding that an open defect
// still holds is told by the newest look where that is the one that found it.
// People are told by what they are called now, and times by the vehicle's station.
func (s *Station) Explain(_ context.Context, req *pb.ExplainRequest) (*pb.ExplainResponse, error) {
	p := s.current.Load()
	snap, err := p.vehicle(req.GetVehicle())
	if err != nil {
		return nil, err
	}
	f := snap.finding(req.GetFindingId())
	if f == nil || snap.model.judge == nil {
		return nil, fault.New(fault.NotFound, "FINDING_UNKNOWN",
			"%s has no finding %.80q now; read its readiness anew and take one of its reasons", req.GetVehicle(), req.GetFindingId())
	}
	var looked []*pb.Observation
	for i, id := range f.GetStepIds() {
		step := snap.model.steps[id]
		if step == nil {
			continue
		}
		if o := snap.observation(step); o != nil && i < len(f.GetResultIds()) && o.GetResult().GetResultId() == f.GetResultIds()[i] {
			looked = append(looked, o)
		}
	}
	return &pb.ExplainResponse{Explanation: snap.model.judge.Explain(f, looked, rules.Reader{People: p.lib.set.People, Zone: snap.model.zone()})}, nil
}

// finding picks a finding of now, or one that an open defect holds; nil when there
// is none of that id.
func (s *snapshot) finding(id string) *pb.Finding {
	is := func(f *pb.Finding) bool { return f.GetFindingId() == id }
	if i := slices.IndexFunc(s.input.Findings, is); i >= 0 {
		return s.input.Findings[i]
	}
	for _, d := range s.input.Defects {
		if i := slices.IndexFunc(d.GetFindings(), is); i >= 0 {
			return d.GetFindings()[i]
		}
	}
	return nil
}
