package round

import (
	"context"

	pb "bayround/proto/bayround/v1"
)

// words says what a command was about, for whoever reads that it was refused.
func (u *Uplink) words(ctx context.Context, c *outgoing) string {
	switch r := c.request.(type) {
	case *pb.OpenRoundRequest:
		return u.roundWords(ctx, c.round) + ": begun"
	case *pb.PauseRoundRequest:
		return u.roundWords(ctx, c.round) + ": interrupted"
	case *pb.ResumeRoundRequest:
		return u.roundWords(ctx, c.round) + ": gone on with"
	case *pb.ChangeAssistantRequest:
		return u.roundWords(ctx, c.round) + ": who assists"
	case *pb.FinishRoundRequest:
		return u.roundWords(ctx, c.round) + ": signed"
	case *pb.SignRoundRequest:
		return u.roundWords(ctx, c.round) + ": signed by an officer"
	case *pb.ReportLockOutRequest:
		return r.GetLocked() + ": locked out"
	case *pb.ReportUnlockRequest:
		return r.GetUnlocked() + ": unlocked"
	case *pb.ConfirmHandOverRequest:
		return u.roundWords(ctx, c.round) + ": handed over"
	case *pb.RecordIncidentRequest:
		return u.callSign(ctx, c.vehicle) + ": back from a run"
	case *pb.RecordWheelsFittedRequest:
		return u.callSign(ctx, c.vehicle) + ": wheels fitted"
	case *pb.RecordDeliveryRequest:
		return r.GetMaterial() + ": a delivery"
	case *pb.CountStockRequest:
		return r.GetMaterial() + ": a count"
	case *pb.GiveUpRoundRequest:
		return u.roundWords(ctx, c.round) + ": given up"
	case *pb.BeginStepRequest:
		return u.stepWords(ctx, c.round, r.GetStepId()) + ": begun"
	case *pb.MakeSafeRequest:
		return u.stepWords(ctx, c.round, r.GetStepIds()[0]) + ": put back"
	case *pb.RecordResultRequest:
		return u.stepWords(ctx, c.round, r.GetResult().GetStepId())
	case *pb.StopVehicleRequest:
		return u.callSign(ctx, c.vehicle) + ": STOPPED, " + r.GetReason()
	case *pb.ReleaseVehicleRequest:
		return u.callSign(ctx, c.vehicle) + ": released"
	}
	return c.id
}

// roundWords names a round by its routine and call sign.
func (u *Uplink) roundWords(ctx context.Context, name string) string {
	r := u.roundOf(ctx, name)
	routine := r.GetRoutine()
	if resp, err := u.twin.ListRoutines(ctx, &pb.ListRoutinesRequest{}); err == nil {
		for _, known := range resp.GetRoutines() {
			if known.GetName() == routine {
				routine = known.GetTitle()
			}
		}
	}
	return u.callSign(ctx, r.GetVehicle()) + ", " + routine
}

// stepWords names a step by its title, which says where it is.
func (u *Uplink) stepWords(ctx context.Context, round, stepID string) string {
	r := u.roundOf(ctx, round)
	o, err := u.twin.Outline(r.GetVehicle(), r.GetRoutine(), r.GetWithItems())
	if err == nil {
		for _, step := range o.Plan.GetSteps() {
			if step.GetStepId() == stepID {
				return u.callSign(ctx, r.GetVehicle()) + ", " + step.GetTitle()
			}
		}
	}
	return u.callSign(ctx, r.GetVehicle()) + ", " + stepID
}

// roundOf is empty when the twin does not know the round.
func (u *Uplink) roundOf(ctx context.Context, name string) *pb.Round {
	resp, err := u.twin.GetRound(ctx, &pb.GetRoundRequest{Name: name})
	if err != nil {
		return &pb.Round{}
	}
	return resp.GetRound()
}

func (u *Uplink) callSign(ctx context.Context, vehicle string) string {
	resp, err := u.twin.GetVehicle(ctx, &pb.GetVehicleRequest{Name: vehicle})
	if err != nil {
		return vehicle
	}
	return resp.GetVehicle().GetCallSign()
}
