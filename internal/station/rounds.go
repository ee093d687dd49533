package station

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/admit"
	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// OpenRound begins a round; its name is the command id.
func (s *Station) OpenRound(ctx context.Context, req *pb.OpenRoundRequest) (*pb.OpenRoundResponse, error) {
	if snap := s.current.Load().vehicles[req.GetVehicle()]; snap != nil {
		snap.model.plan(req.GetRoutine(), req.GetWithItems()) // ordering takes a while: not on the committer
	}
	if err := checkDeviceTime(req); err != nil {
		return nil, err
	}
	resp, _, err := run(ctx, s, req.GetRound(), req, func(c *command) (*pb.OpenRoundResponse, error) {
		v, err := c.mayOpen(req)
		if err != nil {
			return nil, err
		}
		if err := s.roomForRound(); err != nil {
			return nil, err
		}
		p := v.model.plan(req.GetRoutine(), req.GetWithItems())
		now := timestamppb.New(c.time)
		opened := &pb.Round{
			Name: req.GetRound(), Vehicle: req.GetVehicle(), Routine: req.GetRoutine(), Driver: req.GetDriver(),
			Assistant: req.GetAssistant(), Device: req.GetDevice(), State: pb.RoundState_ROUND_STATE_OPEN,
			Conditions: req.GetConditions(), Opened: now, LastActivity: now, OpenedDeviceTime: req.GetDeviceTime(),
			VehicleRevision: v.model.vehicle.GetRevision(), PlanDigest: p.GetDigest(), Steps: int32(len(p.GetSteps())),
			SpotProofs: spotProofs(req.GetRound(), p), OfficerSigns: v.model.routines[req.GetRoutine()].GetOfficerSigns(),
			WithItems: slices.Sorted(slices.Values(req.GetWithItems())),
		}
		err = c.happen(&pb.JournalEvent{
			Person: req.GetDriver(), Device: req.GetDevice(), Vehicle: v.name, DeviceTime: req.GetDeviceTime(),
			Event: &pb.JournalEvent_RoundOpened{RoundOpened: &pb.RoundOpened{Round: opened}},
		}, nil)
		if err != nil {
			return nil, err
		}
		return &pb.OpenRoundResponse{Round: c.state.rounds[req.GetRound()].progress().message()}, nil
	})
	return resp, err
}

// mayOpen refuses a round that names what is not there.
func (c *command) mayOpen(req *pb.OpenRoundRequest) (*vehicle, error) {
	st := c.state
	v := st.vehicles[req.GetVehicle()]
	if v == nil {
		return nil, unknown("vehicle", req.GetVehicle())
	}
	if v.model.routines[req.GetRoutine()] == nil {
		return nil, unknown("routine", req.GetRoutine())
	}
	if err := st.lib.active(req.GetDriver(), deviceTimeOf(req)); err != nil {
		return nil, err
	}
	if err := c.mayOnce(req.GetDriver(), admit.Drive, req.GetDeviceTime()); err != nil {
		return nil, err
	}
	if err := st.mayAssist(req.GetAssistant(), req.GetDriver(), deviceTimeOf(req)); err != nil {
		return nil, err
	}
	if err := c.mayOnce(req.GetAssistant(), admit.Assist, req.GetDeviceTime()); err != nil {
		return nil, err
	}
	if len(v.model.plan(req.GetRoutine(), req.GetWithItems()).GetSteps()) == 0 {
		return nil, fault.New(fault.Precondition, "PLAN_EMPTY", "nothing in %s applies to %s; choose another routine", req.GetRoutine(), v.name)
	}
	return v, nil
}

// PauseRound interrupts a round and says what must be made safe on the
// vehicle. Pausing a paused round changes nothing.
func (s *Station) PauseRound(ctx context.Context, req *pb.PauseRoundRequest) (*pb.PauseRoundResponse, error) {
	if err := checkDeviceTime(req); err != nil {
		return nil, err
	}
	resp, _, err := run(ctx, s, req.GetRequestId(), req, func(c *command) (*pb.PauseRoundResponse, error) {
		v, r, err := c.state.running(req.GetRound())
		if err != nil {
			return nil, err
		}
		if r.state() != pb.RoundState_ROUND_STATE_PAUSED {
			pause := &pb.RoundStateChanged{State: pb.RoundState_ROUND_STATE_PAUSED, Note: req.GetNote(), Turnout: req.GetTurnout()}
			if err := c.change(r, pause, req); err != nil {
				return nil, err
			}
		}
		return &pb.PauseRoundResponse{Round: r.progress().message(), MakeSafe: v.input().Undone, ReadinessDebtS: v.debt()}, nil
	})
	return resp, err
}

// ResumeRound goes on with a round. Resuming an open round only takes note of
// the conditions.
func (s *Station) ResumeRound(ctx context.Context, req *pb.ResumeRoundRequest) (*pb.ResumeRoundResponse, error) {
	if err := checkDeviceTime(req); err != nil {
		return nil, err
	}
	resp, _, err := run(ctx, s, req.GetRequestId(), req, func(c *command) (*pb.ResumeRoundResponse, error) {
		_, r, err := c.state.running(req.GetRound())
		if err != nil {
			return nil, err
		}
		if r.state() != pb.RoundState_ROUND_STATE_OPEN || req.GetConditions() != nil {
			open := &pb.RoundStateChanged{State: pb.RoundState_ROUND_STATE_OPEN, Conditions: req.GetConditions()}
			if err := c.change(r, open, req); err != nil {
				return nil, err
			}
		}
		return &pb.ResumeRoundResponse{Round: r.progress().message()}, nil
	})
	return resp, err
}

// running returns a round that has not ended, and its vehicle.
func (st *state) running(name string) (*vehicle, *round, error) {
	r, err := st.recall(name)
	if err != nil {
		return nil, nil, err
	}
	if r == nil {
		return nil, nil, unknown("round", name)
	}
	if r.ended() {
		return nil, nil, fault.New(fault.Precondition, "ROUND_ENDED", "this round was %s at %s; open a new one", stateWords(r.state()), clockWords(r.changed))
	}
	return st.vehicles[r.vehicle()], r, nil
}

// stateWords are the words for a state of a round.
func stateWords(s pb.RoundState) string {
	switch s {
	case pb.RoundState_ROUND_STATE_PAUSED:
		return "paused"
	case pb.RoundState_ROUND_STATE_FINISHED:
		return "finished"
	case pb.RoundState_ROUND_STATE_GIVEN_UP:
		return "given up"
	}
	return "opened"
}

// event says of an event that it happened in the round, at the request of its device.
func (f *frame) event(ev *pb.JournalEvent, req timed) *pb.JournalEvent {
	ev.Person, ev.Device, ev.Vehicle, ev.DeviceTime = f.round.GetDriver(), f.round.GetDevice(), f.vehicle(), req.GetDeviceTime()
	return ev
}

// change lets a round change its state.
func (c *command) change(r *round, to *pb.RoundStateChanged, req timed) error {
	to.Round = r.name()
	ev := r.event(&pb.JournalEvent{Event: &pb.JournalEvent_RoundStateChanged{RoundStateChanged: to}}, req)
	if to.GetSignature() != nil {
		ev.Person = to.GetSignature().GetPerson()
	}
	return c.happen(ev, nil)
}

// FinishRound ends a round. The readiness in its answer is that of the moment
// it ended, also when the command is repeated.
func (s *Station) FinishRound(ctx context.Context, req *pb.FinishRoundRequest) (*pb.FinishRoundResponse, error) {
	finish := &pb.RoundStateChanged{
		State: pb.RoundState_ROUND_STATE_FINISHED, Note: req.GetNote(), ShownVerdict: req.GetShownVerdict(),
		Signature: req.GetSignature(), Shown: req.GetShown(),
	}
	r, readiness, err := s.end(ctx, req, finish)
	if err != nil {
		return nil, err
	}
	return &pb.FinishRoundResponse{Round: r, Readiness: readiness}, nil
}

// GiveUpRound ends a round early. The readiness in its answer is that of the
// moment it ended, also when the command is repeated.
func (s *Station) GiveUpRound(ctx context.Context, req *pb.GiveUpRoundRequest) (*pb.GiveUpRoundResponse, error) {
	giveUp := &pb.RoundStateChanged{State: pb.RoundState_ROUND_STATE_GIVEN_UP, Note: req.GetNote()}
	r, readiness, err := s.end(ctx, req, giveUp)
	if err != nil {
		return nil, err
	}
	return &pb.GiveUpRoundResponse{Round: r, Readiness: readiness}, nil
}

// ending is a request to end a round.
type ending interface {
	timed
	GetRequestId() string
	GetRound() string
}

func (s *Station) end(ctx context.Context, req ending, to *pb.RoundStateChanged) (*pb.Round, *pb.Readiness, error) {
	if err := checkDeviceTime(req); err != nil {
		return nil, nil, err
	}
	var left *snapshot // of the vehicle right after the end
	kept, receipt, err := run(ctx, s, req.GetRequestId(), req, func(c *command) (*pb.Round, error) {
		v, r, err := c.state.running(req.GetRound())
		if err != nil {
			return nil, err
		}
		if err := v.nothingUndone(r.name()); err != nil {
			return nil, err
		}
		if to.Signature != nil {
			if to.Signature, err = c.driverSigns(r, to); err != nil {
				return nil, err
			}
		}
		if err := c.change(r, to, req); err != nil {
			return nil, err
		}
		left = v.snapshot()
		return r.progress().message(), nil
	})
	if err != nil {
		return nil, nil, err
	}
	if !receipt.Repeated {
		return kept, left.at(left.standing.at).asOf(left.standing.at), nil
	}
	readiness, err := s.readinessAfter(ctx, kept.GetVehicle(), int64(receipt.Last))
	return kept, readiness, err
}

// nothingUndone refuses to end a round that has left something physically undone.
func (v *vehicle) nothingUndone(round string) error {
	var left []string
	for _, u := range v.input().Undone {
		if u.GetRound() == round {
			left = append(left, fmt.Sprintf("%s (%s)", u.GetTitle(), u.GetPlace()))
		}
	}
	if len(left) == 0 {
		return nil
	}
	return fault.New(fault.Precondition, "STILL_UNDONE", "still undone: %s; put it back and say so, then end the round", strings.Join(left, ", "))
}
