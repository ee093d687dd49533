package round

import (
	"context"
	"errors"
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// commandKind is which command to the twin waits for its answer. Written out: the
// session file keeps it.
type commandKind int

const (
	commandOpen   commandKind = 1
	commandResume commandKind = 2
	commandPause  commandKind = 3
	commandBegin  commandKind = 4
	commandRecord commandKind = 5
	commandSafe   commandKind = 6
	commandFinish commandKind = 7
	commandGiveUp commandKind = 8
	commandAssist commandKind = 9
	commandSign   commandKind = 10

	commandStop    commandKind = 20
	commandRelease commandKind = 21

	commandHandOver commandKind = 30
	commandIncident commandKind = 31
	commandWheels   commandKind = 32
	commandDelivery commandKind = 33
	commandCount    commandKind = 34

	commandUnlock commandKind = 40
)

// command carries out a command on the twin: it is kept first, so that after a
// kill it is carried out under the same id, and what follows from its answer is
// the same. When the twin refuses, the command is over; when the twin cannot
// answer it stays, and the next act tries it again first.
func (d *Desk) command(ctx context.Context, p *pending, request proto.Message) error {
	b, err := proto.Marshal(request)
	if err != nil {
		return fault.New(fault.Invalid, "TEXT_INVALID", "this holds text that cannot be kept").Because(err)
	}
	p.Request = b
	d.session.Pending = p
	if err := d.session.write(d.dir); err != nil {
		d.session.Pending = nil
		return unkept(err)
	}
	return d.carryOut(ctx)
}

// carryOut carries out the command that waits.
func (d *Desk) carryOut(ctx context.Context) error {
	p := d.session.Pending
	if up, ok := d.uplink.(turns); ok {
		defer up.Turn()()
	}
	d.stale = true                              // from here on the twin may have changed; who looks at it after, looks anew
	err := d.ask(context.WithoutCancel(ctx), p) // whoever tapped may go away; what was begun is ended
	var f *fault.Fault
	switch known := errors.As(err, &f); {
	case err == nil, known && f.Kind != fault.Unavailable:
		d.session.Pending = nil
	case !known:
		err = fmt.Errorf("carry out a command: %w", err)
	}
	if reason(err) == "VALUE_NOT_CONFIRMED" { // that is a question, and the view puts it
		d.session.Confirm = message(err)
		return nil
	}
	return err
}

// ask sends the command that waits to the twin, and does what follows from the answer.
func (d *Desk) ask(ctx context.Context, p *pending) error {
	switch p.Kind {
	case commandOpen:
		return tell(ctx, p, &pb.OpenRoundRequest{}, d.twin.OpenRound, d.opened)
	case commandResume:
		return tell(ctx, p, &pb.ResumeRoundRequest{}, d.twin.ResumeRound, d.resumed)
	case commandPause:
		return tell(ctx, p, &pb.PauseRoundRequest{}, d.twin.PauseRound, d.paused)
	case commandBegin:
		return tell(ctx, p, &pb.BeginStepRequest{}, d.twin.BeginStep, d.begun)
	case commandRecord:
		return tell(ctx, p, &pb.RecordResultRequest{}, d.twin.RecordResult, d.recorded)
	case commandSafe:
		return tell(ctx, p, &pb.MakeSafeRequest{}, d.twin.MakeSafe, d.madeSafe)
	case commandFinish:
		return tell(ctx, p, &pb.FinishRoundRequest{}, d.twin.FinishRound, d.finished)
	case commandSign:
		return tell(ctx, p, &pb.SignRoundRequest{}, d.twin.SignRound, d.signedSecond)
	case commandHandOver:
		return tell(ctx, p, &pb.ConfirmHandOverRequest{}, d.twin.ConfirmHandOver, d.handedOver)
	case commandIncident:
		return tell(ctx, p, &pb.RecordIncidentRequest{}, d.twin.RecordIncident, d.toldOfRun)
	case commandWheels:
		return tell(ctx, p, &pb.RecordWheelsFittedRequest{}, d.twin.RecordWheelsFitted, d.toldOfWheels)
	case commandDelivery:
		return tell(ctx, p, &pb.RecordDeliveryRequest{}, d.twin.RecordDelivery, d.toldOfDelivery)
	case commandCount:
		return tell(ctx, p, &pb.CountStockRequest{}, d.twin.CountStock, d.toldOfCount)
	case commandUnlock:
		return tell(ctx, p, &pb.ReportUnlockRequest{}, d.twin.ReportUnlock, d.unlocked)
	case commandGiveUp:
		return tell(ctx, p, &pb.GiveUpRoundRequest{}, d.twin.GiveUpRound, d.gaveUp)
	case commandAssist:
		return tell(ctx, p, &pb.ChangeAssistantRequest{}, d.twin.ChangeAssistant, d.assisted)
	case commandStop:
		return tell(ctx, p, &pb.StopVehicleRequest{}, d.twin.StopVehicle, d.stopped)
	case commandRelease:
		return tell(ctx, p, &pb.ReleaseVehicleRequest{}, d.twin.ReleaseVehicle, d.released)
	}
	return fault.New(fault.Invalid, "COMMAND_UNKNOWN", "the session file holds a command of a kind that this program does not know")
}

// tell unpacks a command, has it carried out and hands on the answer.
func tell[Q, R proto.Message](ctx context.Context, p *pending, request Q, do func(context.Context, Q) (R, error), then func(context.Context, Q, R) error) error {
	if err := proto.Unmarshal(p.Request, request); err != nil {
		return fault.New(fault.Lost, "COMMAND_UNREADABLE", "the command kept in the session file cannot be read").Because(err)
	}
	response, err := do(ctx, request)
	if err != nil {
		return err
	}
	return then(ctx, request, response)
}

func unkept(cause error) error {
	return fault.New(fault.Unavailable, "SESSION_UNWRITTEN", "the tablet cannot write to its disk, so nothing can be recorded; see to its disk").Because(cause)
}

// timestamp is an instant as a message, nil for the zero time.
func timestamp(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}
