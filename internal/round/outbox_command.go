package round

import (
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/signature"
	pb "bayround/proto/bayround/v1"
)

// outgoing is a driver's command on its way to the station of record.
type outgoing struct {
	sequence int64  // of its event in the twin's journal
	id       string // command id, the same on every try
	vehicle  string
	round    string
	at       time.Time // by the tablet's clock
	request  proto.Message
}

// result is the command as a stream of results takes it; nil when it is none.
func (c *outgoing) result() *pb.RecordResultRequest {
	r, _ := c.request.(*pb.RecordResultRequest)
	return r
}

// outgoingOf turns an event of the twin back into the command it came from; nil
// for what is not a driver's. The same event always gives the same bytes: the
// station takes a repeated id for the same command only then.
//
// Whose device an event names does not matter. The twin gets its commands from
// this tablet alone, and a round that another tablet opened is gone on with here
// under that other tablet's name.
func outgoingOf(ev *pb.JournalEvent) *outgoing {
	c := &outgoing{sequence: ev.GetSequence(), id: ev.GetCommandId(), vehicle: ev.GetVehicle(), at: deviceTime(ev).AsTime()}
	switch e := ev.GetEvent().(type) {
	case *pb.JournalEvent_RoundOpened:
		c.round, c.request = e.RoundOpened.GetRound().GetName(), openingOf(ev, e.RoundOpened.GetRound())
	case *pb.JournalEvent_RoundStateChanged:
		c.round, c.request = e.RoundStateChanged.GetRound(), changeOf(ev, e.RoundStateChanged)
	case *pb.JournalEvent_StepBegun:
		c.round, c.request = e.StepBegun.GetRound(), &pb.BeginStepRequest{
			RequestId: c.id, Round: e.StepBegun.GetRound(), StepId: e.StepBegun.GetUndone().GetStepId(), DeviceTime: deviceTime(ev),
			ControlTold: e.StepBegun.GetControlTold(),
		}
	case *pb.JournalEvent_AssistantChanged:
		c.round, c.request = e.AssistantChanged.GetRound(), &pb.ChangeAssistantRequest{
			RequestId: c.id, Round: e.AssistantChanged.GetRound(), Assistant: e.AssistantChanged.GetAssistant(), DeviceTime: deviceTime(ev),
		}
	case *pb.JournalEvent_RoundSigned:
		c.round, c.request = e.RoundSigned.GetRound(), &pb.SignRoundRequest{
			RequestId: c.id, Round: e.RoundSigned.GetRound(), Signature: asSigned(e.RoundSigned.GetSignature()), Shown: e.RoundSigned.GetShown(),
		}
	case *pb.JournalEvent_LockedOut, *pb.JournalEvent_Unlocked:
		c.request = lockOf(ev)
	case *pb.JournalEvent_HandedOver:
		h := e.HandedOver
		c.round, c.request = h.GetRound(), &pb.ConfirmHandOverRequest{
			RequestId: c.id, Round: h.GetRound(), OffGoing: h.GetOffGoing(), OnComing: h.GetOnComing(), TextSha256: h.GetTextSha256(),
			OffGoingConfirmed: h.GetOffGoingConfirmed(), OnComingConfirmed: h.GetOnComingConfirmed(), Device: h.GetDevice(),
		}
	case *pb.JournalEvent_IncidentRecorded:
		c.request = runOf(ev, e.IncidentRecorded)
	case *pb.JournalEvent_WheelsFitted:
		c.request = wheelsOf(ev, e.WheelsFitted)
	case *pb.JournalEvent_StockMoved:
		c.request = movementOf(ev, e.StockMoved)
	case *pb.JournalEvent_MadeSafe:
		c.round, c.request = e.MadeSafe.GetRound(), &pb.MakeSafeRequest{
			RequestId: c.id, Round: e.MadeSafe.GetRound(), StepIds: e.MadeSafe.GetStepIds(), DeviceTime: deviceTime(ev),
		}
	case *pb.JournalEvent_ResultRecorded:
		r := e.ResultRecorded.GetResult()
		c.round, c.request = r.GetRound(), &pb.RecordResultRequest{Round: r.GetRound(), Result: signature.AsGiven(r)}
	case *pb.JournalEvent_VehicleStopped:
		stop := e.VehicleStopped.GetStop()
		c.request = &pb.StopVehicleRequest{
			RequestId: c.id, Vehicle: c.vehicle, Person: stop.GetPerson(), Reason: stop.GetReason(), StepIds: stop.GetStepIds(),
			Device: ev.GetDevice(), DeviceTime: deviceTime(ev),
		}
	case *pb.JournalEvent_VehicleReleased:
		release := e.VehicleReleased.GetRelease()
		c.request = &pb.ReleaseVehicleRequest{
			RequestId: c.id, Defect: e.VehicleReleased.GetDefect(), Person: release.GetPerson(), Checked: release.GetChecked(),
			Device: ev.GetDevice(), DeviceTime: ev.GetDeviceTime(), // neither of what an older program released
		}
	}
	if c.request == nil {
		return nil
	}
	return c
}

// deviceTime is when it was done by the tablet's clock. The twin's clock is the
// tablet's, so where the command did not say, the twin's time does.
func deviceTime(ev *pb.JournalEvent) *timestamppb.Timestamp {
	if at := ev.GetDeviceTime(); at != nil {
		return at
	}
	return ev.GetStationTime()
}

func openingOf(ev *pb.JournalEvent, r *pb.Round) proto.Message {
	return &pb.OpenRoundRequest{
		Round: r.GetName(), Vehicle: r.GetVehicle(), Routine: r.GetRoutine(), Driver: r.GetDriver(), Assistant: r.GetAssistant(),
		Device: r.GetDevice(), Conditions: r.GetConditions(), DeviceTime: deviceTime(ev),
		WithItems: r.GetWithItems(),
	}
}

// changeOf is nil for a state that no command leads to.
func changeOf(ev *pb.JournalEvent, to *pb.RoundStateChanged) proto.Message {
	id, at := ev.GetCommandId(), deviceTime(ev)
	switch to.GetState() {
	case pb.RoundState_ROUND_STATE_OPEN:
		return &pb.ResumeRoundRequest{RequestId: id, Round: to.GetRound(), Conditions: to.GetConditions(), DeviceTime: at}
	case pb.RoundState_ROUND_STATE_PAUSED:
		return &pb.PauseRoundRequest{RequestId: id, Round: to.GetRound(), Note: to.GetNote(), Turnout: to.GetTurnout(), DeviceTime: at}
	case pb.RoundState_ROUND_STATE_FINISHED:
		return &pb.FinishRoundRequest{RequestId: id, Round: to.GetRound(), Note: to.GetNote(), ShownVerdict: to.GetShownVerdict(), DeviceTime: at, Signature: asSigned(to.GetSignature()), Shown: to.GetShown()}
	case pb.RoundState_ROUND_STATE_GIVEN_UP:
		return &pb.GiveUpRoundRequest{RequestId: id, Round: to.GetRound(), Note: to.GetNote(), DeviceTime: at}
	}
	return nil
}

// runOf tells of a return from a run.
func runOf(ev *pb.JournalEvent, run *pb.IncidentRecorded) proto.Message {
	return &pb.RecordIncidentRequest{
		RequestId: ev.GetCommandId(), Vehicle: ev.GetVehicle(), Person: ev.GetPerson(), Returned: run.GetReturned(), Note: run.GetNote(), Used: run.GetUsed(),
		Device: ev.GetDevice(), DeviceTime: deviceTime(ev),
	}
}

// wheelsOf tells which wheels were fitted. The readings of all are the same.
func wheelsOf(ev *pb.JournalEvent, told *pb.WheelsFitted) proto.Message {
	req := &pb.RecordWheelsFittedRequest{
		RequestId: ev.GetCommandId(), Vehicle: ev.GetVehicle(), Person: ev.GetPerson(), Note: told.GetNote(), Device: ev.GetDevice(), DeviceTime: deviceTime(ev),
	}
	for _, w := range told.GetWheels() {
		_, wheel, _ := strings.Cut(w.GetStepId(), "/")
		req.Wheels, req.Fitted, req.OdometerKm = append(req.Wheels, wheel), w.GetFitted(), w.OdometerKm
	}
	return req
}

// movementOf tells of a delivery or a count. What was used is told with the result that
// used it.
func movementOf(ev *pb.JournalEvent, moved *pb.StockMoved) proto.Message {
	switch moved.GetKind() {
	case pb.StockMovementKind_STOCK_MOVEMENT_KIND_DELIVERED:
		return &pb.RecordDeliveryRequest{
			RequestId: ev.GetCommandId(), Station: moved.GetStation(), Material: moved.GetMaterial(), Person: ev.GetPerson(), AmountMlOrPieces: moved.GetAmountMlOrPieces(),
			Happened: moved.GetHappened(), Note: moved.GetNote(), Device: ev.GetDevice(), DeviceTime: deviceTime(ev),
		}
	case pb.StockMovementKind_STOCK_MOVEMENT_KIND_COUNTED:
		return &pb.CountStockRequest{
			RequestId: ev.GetCommandId(), Station: moved.GetStation(), Material: moved.GetMaterial(), Person: ev.GetPerson(), AmountMlOrPieces: moved.GetAmountMlOrPieces(),
			Happened: moved.GetHappened(), Note: moved.GetNote(), Device: ev.GetDevice(), DeviceTime: deviceTime(ev),
		}
	}
	return nil
}

// lockOf tells who was locked out, or let in again.
func lockOf(ev *pb.JournalEvent) proto.Message {
	if lock := ev.GetLockedOut(); lock != nil {
		return &pb.ReportLockOutRequest{
			RequestId: ev.GetCommandId(), Locked: lock.GetLocked(), Failures: lock.GetFailures(), Device: ev.GetDevice(), DeviceTime: deviceTime(ev),
		}
	}
	return &pb.ReportUnlockRequest{
		RequestId: ev.GetCommandId(), Unlocked: ev.GetUnlocked().GetUnlocked(), Person: ev.GetPerson(), Device: ev.GetDevice(), DeviceTime: deviceTime(ev),
	}
}

// asSigned is a signature as it was given, without the twin's time; nil when there is none.
func asSigned(by *pb.Signature) *pb.Signature {
	if by == nil {
		return nil
	}
	by = proto.CloneOf(by)
	by.StationTime, by.ChangedSince, by.RoleUnproven = nil, nil, false
	return by
}
