package round

import (
	"context"
	"errors"
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	"bayround/internal/trust"
	pb "bayround/proto/bayround/v1"
)

const (
	// patience is how long one answer of the station is waited for.
	patience = 10 * time.Second
	// bugTries is how often a command is sent that the station answers with a
	// failure of its own while it is alive otherwise. It must not hold up for
	// ever what stands behind it.
	bugTries = 8
)

// send sends what the outbox holds, in order, for ever. Nothing is left out:
// what cannot be sent now is sent again, and what is refused is kept as such.
func (u *Uplink) send(ctx context.Context) {
	s := sender{uplink: u}
	var pauses backoff
	for ctx.Err() == nil {
		p, err := u.outbox.take(ctx)
		if err == nil && !u.mayBeSent(ctx) {
			continue
		}
		if err == nil {
			arrived := u.arrived.rung()
			if err = s.deliver(ctx, p); err == nil {
				pauses.over()
				continue
			}
			u.log.Debug("the station cannot be told now; it will be tried again", "cause", err)
			pauses.pause(ctx, arrived)
			continue
		}
		if ctx.Err() == nil {
			u.fail("The tablet's own record cannot be read; nothing can be sent from it. Start the tablet anew.", err)
			pauses.pause(ctx, nil)
		}
	}
}

// sender delivers portions; it belongs to the goroutine that sends.
type sender struct {
	uplink *Uplink
	era    int
	failed string // id of the command that met a failure of the station's own
	tries  int    // how often it did
}

// deliver sends a portion as far as it comes, and keeps how far that was.
func (s *sender) deliver(ctx context.Context, p portion) error {
	u := s.uplink
	defer u.changed.ring()
	defer u.keep()
	s.era = p.era
	for left := p.commands; len(left) > 0; {
		if run := results(left); run > 1 {
			n, err := s.stream(ctx, left[:run])
			left = left[n:]
			if err != nil {
				return err
			}
			if n == run {
				continue
			}
		}
		if err := s.one(ctx, left[0]); err != nil {
			return err
		}
		left = left[1:]
	}
	u.outbox.pass(p)
	return nil
}

// results counts the results at the beginning.
func results(commands []*outgoing) int {
	for i, c := range commands {
		if c.result() == nil {
			return i
		}
	}
	return len(commands)
}

// one sends one command by itself. An error means that it is to be sent again.
func (s *sender) one(ctx context.Context, c *outgoing) error {
	calling, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	sequence, err := s.uplink.call(calling, c.request)
	switch {
	case err == nil:
		s.acknowledged(c, sequence)
		return nil
	case ctx.Err() != nil || !s.forGood(c, err):
		return err
	}
	u := s.uplink
	what := u.words(ctx, c)
	u.log.Warn("the station refused what was recorded on this tablet", "command", c.id, "what", what, "cause", err)
	u.outbox.settle(s.era, c, 0, refusalOf(c, what, err, u.clock()))
	return nil
}

func (s *sender) acknowledged(c *outgoing, sequence int64) {
	s.failed, s.tries = "", 0
	s.uplink.outbox.settle(s.era, c, sequence, nil)
	if !ends(c.request) {
		s.uplink.adopt.own(c.vehicle, sequence)
	}
}

// ends tells whether a command ends a round. Until then the twin keeps the times at
// which things were found here; at the end it takes over the station's.
func ends(request proto.Message) bool {
	switch request.(type) {
	case *pb.FinishRoundRequest, *pb.GiveUpRoundRequest:
		return true
	}
	return false
}

// forGood tells whether sending a command again would be of no use. A station
// that cannot be reached, has no room, has a record that is damaged or behind, or does
// not let this tablet in now may take it later.
func (s *sender) forGood(c *outgoing, err error) bool {
	var f *fault.Fault
	if errors.As(err, &f) {
		switch f.Kind {
		case fault.Unavailable, fault.Exhausted, fault.Lost, fault.Unidentified:
			return false
		}
		return f.Reason != reasonBehind && // it takes nothing until it is repaired
			f.Reason != trust.ReasonRole // this is no tablet to it, which a person will put right
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) || !s.uplink.Live() {
		return false
	}
	if s.failed != c.id {
		s.failed, s.tries = c.id, 0
	}
	s.tries++
	return s.tries >= bugTries
}

// call sends a command to the station and returns the sequence of its event
// there, 0 when the answer does not say.
func (u *Uplink) call(ctx context.Context, request proto.Message) (sequence int64, err error) {
	switch r := request.(type) {
	case *pb.OpenRoundRequest:
		resp, err := u.rounds.OpenRound(ctx, r)
		return resp.GetRound().GetSequence(), err
	case *pb.PauseRoundRequest:
		resp, err := u.rounds.PauseRound(ctx, r)
		return resp.GetRound().GetSequence(), err
	case *pb.ResumeRoundRequest:
		resp, err := u.rounds.ResumeRound(ctx, r)
		return resp.GetRound().GetSequence(), err
	case *pb.ChangeAssistantRequest:
		resp, err := u.rounds.ChangeAssistant(ctx, r)
		return resp.GetRound().GetSequence(), err
	case *pb.FinishRoundRequest:
		resp, err := u.rounds.FinishRound(ctx, r)
		return resp.GetRound().GetSequence(), err
	case *pb.SignRoundRequest:
		resp, err := u.rounds.SignRound(ctx, r)
		return resp.GetRound().GetSequence(), err
	case *pb.ReportLockOutRequest:
		resp, err := u.people.ReportLockOut(ctx, r)
		return resp.GetSequence(), err
	case *pb.ReportUnlockRequest:
		resp, err := u.people.ReportUnlock(ctx, r)
		return resp.GetSequence(), err
	case *pb.ConfirmHandOverRequest:
		resp, err := u.schedules.ConfirmHandOver(ctx, r)
		return resp.GetSequence(), err
	case *pb.GiveUpRoundRequest:
		resp, err := u.rounds.GiveUpRound(ctx, r)
		return resp.GetRound().GetSequence(), err
	case *pb.BeginStepRequest:
		_, err := u.rounds.BeginStep(ctx, r)
		return 0, err
	case *pb.MakeSafeRequest:
		_, err := u.rounds.MakeSafe(ctx, r)
		return 0, err
	case *pb.RecordResultRequest:
		resp, err := u.rounds.RecordResult(ctx, r)
		return resp.GetSequence(), err
	case *pb.StopVehicleRequest:
		resp, err := u.defects.StopVehicle(ctx, r)
		return resp.GetSequence(), err
	case *pb.ReleaseVehicleRequest:
		resp, err := u.defects.ReleaseVehicle(ctx, r)
		return resp.GetSequence(), err
	}
	return u.callTale(ctx, request)
}

// callTale is call for what is told beside a round.
func (u *Uplink) callTale(ctx context.Context, request proto.Message) (sequence int64, err error) {
	switch r := request.(type) {
	case *pb.RecordIncidentRequest:
		resp, err := u.schedules.RecordIncident(ctx, r)
		return resp.GetSequence(), err
	case *pb.RecordWheelsFittedRequest:
		resp, err := u.schedules.RecordWheelsFitted(ctx, r)
		return resp.GetSequence(), err
	case *pb.RecordDeliveryRequest:
		resp, err := u.stock.RecordDelivery(ctx, r)
		return resp.GetSequence(), err
	case *pb.CountStockRequest:
		resp, err := u.stock.CountStock(ctx, r)
		return resp.GetSequence(), err
	}
	return 0, fmt.Errorf("%T is no command of a driver", request)
}

// stream sends results through one stream and returns how many of them the
// station has acknowledged. It ends without error at one that is refused: sent by
// itself, that one gets an answer which says what kind of refusal it is.
func (s *sender) stream(ctx context.Context, commands []*outgoing) (done int, err error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := s.uplink.rounds.RecordResults(ctx)
	if err != nil {
		return 0, err
	}
	late := time.AfterFunc(patience, cancel)
	defer late.Stop()
	for _, c := range commands {
		late.Reset(patience)
		// An error of Send is io.EOF; Recv knows why.
		_ = stream.Send(&pb.RecordResultsRequest{Record: c.result()})
		answer, err := stream.Recv()
		switch {
		case err != nil:
			return done, err
		case answer.GetResultId() != c.id:
			return done, fmt.Errorf("the station answered result %s where %s was sent", answer.GetResultId(), c.id)
		case answer.GetRecorded() == nil:
			return done, nil
		}
		s.acknowledged(c, answer.GetRecorded().GetSequence())
		done++
	}
	return done, nil
}
