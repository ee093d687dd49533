package station

import (
	"context"
	"time"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// BeginStep says that a step is begun. When it undoes something, its undo time
// joins the readiness debt; when it does not, nothing is recorded.
//
// Like a result it is taken on a paused round when it was done before the pause.
func (s *Station) BeginStep(ctx context.Context, req *pb.BeginStepRequest) (*pb.BeginStepResponse, error) {
	if err := checkDeviceTime(req); err != nil {
		return nil, err
	}
	resp, _, err := run(ctx, s, req.GetRequestId(), req, func(c *command) (*pb.BeginStepResponse, error) {
		v, r, err := c.state.running(req.GetRound())
		if err != nil {
			return nil, err
		}
		if err := r.begins(req); err != nil {
			return nil, err
		}
		step := r.plan.steps[req.GetStepId()]
		if step == nil {
			return nil, notInPlan(r.frame, req.GetStepId(), "step_id")
		}
		if step.GetUndoS() > 0 {
			begun := &pb.StepBegun{Round: r.name(), Undone: undoneAt(step, step.GetStepId(), r.name()), ControlTold: req.GetControlTold()}
			if err := c.happen(r.event(&pb.JournalEvent{Event: &pb.JournalEvent_StepBegun{StepBegun: begun}}, req), nil); err != nil {
				return nil, err
			}
		}
		return &pb.BeginStepResponse{ReadinessDebtS: v.debt()}, nil
	})
	return resp, err
}

func paused() error {
	return fault.New(fault.Precondition, "ROUND_PAUSED", "this round is paused; resume it first")
}

func notInPlan(f *frame, stepID, path string) *fault.Fault {
	return fault.New(fault.NotFound, "STEP_UNKNOWN", "step %q is not in the plan of this round; fetch the plan of %s for %s as of revision %d",
		stepID, f.round.GetRoutine(), f.vehicle(), f.round.GetVehicleRevision()).At(path, "not in the plan of this round")
}

// MakeSafe says that what steps had undone was put back. A step of the plan at
// which nothing is undone is left alone, so that two people may say the same.
// It is taken on a round that has ended, too: what was put back was put back.
func (s *Station) MakeSafe(ctx context.Context, req *pb.MakeSafeRequest) (*pb.MakeSafeResponse, error) {
	if err := checkDeviceTime(req); err != nil {
		return nil, err
	}
	resp, _, err := run(ctx, s, req.GetRequestId(), req, func(c *command) (*pb.MakeSafeResponse, error) {
		r, err := c.state.recall(req.GetRound())
		if err != nil {
			return nil, err
		}
		if r == nil {
			return nil, unknown("round", req.GetRound())
		}
		v := c.state.vehicles[r.vehicle()]
		back, err := v.undoneAmong(req.GetStepIds(), r.frame)
		if err != nil {
			return nil, err
		}
		if len(back) > 0 {
			made := &pb.MadeSafe{Round: r.name(), StepIds: back}
			if err := c.happen(r.event(&pb.JournalEvent{Event: &pb.JournalEvent_MadeSafe{MadeSafe: made}}, req), nil); err != nil {
				return nil, err
			}
		}
		return &pb.MakeSafeResponse{StillUndone: v.input().Undone, ReadinessDebtS: v.debt()}, nil
	})
	return resp, err
}

// undoneAmong picks those steps at which something is undone, each once. A
// step that is neither undone nor in the plan is unknown.
func (v *vehicle) undoneAmong(stepIDs []string, f *frame) ([]string, error) {
	var back []string
	picked := map[string]bool{}
	for _, id := range stepIDs {
		switch {
		case picked[id]:
		case v.undone[id] != nil:
			back = append(back, id)
		case f.plan.steps[id] == nil:
			return nil, notInPlan(f, id, "step_ids")
		}
		picked[id] = true
	}
	return back, nil
}

// clockWords is an instant as messages show it.
func clockWords(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05 UTC") }
