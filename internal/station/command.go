package station

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/journal"
	"bayround/internal/roundproof"
	pb "bayround/proto/bayround/v1"
)

// command is one command while it is decided. It belongs to the committer.
type command struct {
	state  *state
	id     string
	sender *pb.Sender // nil for what the station does by itself
	roles  rolesAt
	// unproven are the people whose role is not.
	unproven []string
	time     time.Time // of all its events
	raw      time.Time // what the clock showed, put right
	ran      time.Duration
	events   [][]byte
	rows     rowSet
	apart    []journal.Apart
	erase    [][32]byte
}

// begin starts a command.
func (s *Station) begin(ctx context.Context, id string) *command {
	at, raw := s.instant()
	return &command{state: s.work, id: id, sender: senderOf(ctx), roles: s.rolesAt, time: at, raw: s.right.Right(raw), ran: s.right.Ran(raw)}
}

// lookedBy is when somebody looked: as long ago as the station's clock says, and
// never later than now. It counts back from the station's time, which goes on
// when its clock, which shows raw when it is put right, is set back. Where the device knew how far its
// clock was ahead, its time is put right first.
func lookedBy(r *pb.Result, now, raw time.Time) time.Time {
	device := r.GetDeviceTime().AsTime().Add(-aheadOf(r))
	return now.Add(-max(0, raw.Sub(device)))
}

// aheadOf is how far a device knew its clock to be ahead; 0 when it did not know.
func aheadOf(r *pb.Result) time.Duration {
	return time.Duration(r.GetDeviceAheadS() * float64(time.Second))
}

// event completes an event so that it can be marshalled and applied.
func (c *command) event(ev *pb.JournalEvent) *pb.JournalEvent {
	ev.Sequence = c.state.sequence + 1
	ev.CommandId = c.id
	ev.StationTime = timestamppb.New(c.time)
	ev.Schema = schema
	ev.Sender, ev.RoleUnproven = c.sender, c.unproven
	return ev
}

// happen makes an event part of the journal and of the working state. Nothing
// may be refused after the first call. known spares judging a result again.
func (c *command) happen(ev *pb.JournalEvent, known *judgement) (err error) {
	if ev.PreviousInRound, err = c.state.newestOf(roundproof.RoundOf(ev)); err != nil {
		return broken{err}
	}
	return c.put(c.event(ev), known, true)
}

// newestOf is the sequence of a round's newest event; 0 when there is no such round yet.
func (st *state) newestOf(round string) (int64, error) {
	if round == "" {
		return 0, nil
	}
	r, err := st.recall(round)
	if r == nil || err != nil {
		return 0, err
	}
	return r.last(), nil
}

// put is happen for an event that is complete; last tells that no
// configuration event follows it in the same command.
func (c *command) put(ev *pb.JournalEvent, known *judgement, last bool) error {
	recorded, err := c.setApart(ev)
	if err != nil {
		return err
	}
	record, err := proto.Marshal(recorded) // the only time: these bytes are the event
	if err != nil {
		return notUTF8(err)
	}
	if err := c.state.apply(ev, known, last, &c.rows); err != nil {
		return broken{err}
	}
	c.state.ran = c.ran
	c.events = append(c.events, record)
	return nil
}

// broken is an error after which the working state is of no more use.
type broken struct{ error }

func (b broken) Unwrap() error { return b.error }

func notUTF8(cause error) error {
	return fault.New(fault.Invalid, "TEXT_INVALID", "the request holds text that is not UTF-8; send it as UTF-8").Because(cause)
}

// run carries out a command: decide looks at the working state, refuses, or
// lets events happen and gives the answer. A repeated command is answered with
// the first answer, and decide is not called.
func run[R proto.Message](ctx context.Context, s *Station, id string, request proto.Message, decide func(c *command) (R, error)) (R, journal.Receipt, error) {
	var none R
	if err := vouched(senderOf(ctx), request); err != nil {
		return none, journal.Receipt{}, err
	}
	digest, err := digestOf(request)
	if err != nil {
		return none, journal.Receipt{}, err
	}
	answer, decided := none, false
	receipt, err := s.journal.Append(ctx, journal.Command{ID: id, Digest: digest}, func(next uint64) (journal.Entry, error) {
		if err := s.ready(next); err != nil {
			return journal.Entry{}, err
		}
		c := s.begin(ctx, id)
		var err error
		if answer, err = decide(c); err != nil {
			return journal.Entry{}, s.refused(c, err)
		}
		body, err := proto.Marshal(answer)
		if err != nil {
			return journal.Entry{}, s.refused(c, notUTF8(err))
		}
		decided = true
		return journal.Entry{Events: c.events, Rows: c.rows.rows, Receipt: body, Apart: c.apart, Erase: c.erase}, nil
	})
	switch {
	case err != nil && decided:
		// The working state has it, the disk may not.
		s.fail("a decided command was not stored", err)
		return none, receipt, unwritten(err)
	case err != nil:
		return none, receipt, err
	case !receipt.Repeated:
		return answer, receipt, nil
	}
	first, ok := none.ProtoReflect().New().Interface().(R)
	if !ok {
		return none, receipt, unreadable("the receipt of "+id, fmt.Errorf("%T is no message of its own", none))
	}
	if err := proto.Unmarshal(receipt.Body, first); err != nil {
		return none, receipt, unreadable("the receipt of "+id, err)
	}
	return first, receipt, nil
}

// ready refuses commands once the station has failed.
func (s *Station) ready(next uint64) error {
	if isClosed(s.failed) {
		return stopped()
	}
	if int64(next) != s.work.sequence+1 {
		s.fail("the journal and the working state do not agree",
			fmt.Errorf("journal at event %d, working state at %d", next-1, s.work.sequence))
		return stopped()
	}
	return nil
}

// refused passes a refusal on. One that comes after something has happened, or
// because it could not happen, has spoilt the working state.
func (s *Station) refused(c *command, err error) error {
	var spoilt broken
	if errors.As(err, &spoilt) || len(c.events) > 0 {
		s.fail("an event could not be applied", err)
		return stopped()
	}
	return err
}

// unwritten turns what the journal says about a write into words for the caller.
func unwritten(err error) error {
	if fault.Is(err, fault.Unavailable) {
		return err
	}
	return fault.New(fault.Unavailable, "STATION_FAILED",
		"the station could not write this and has stopped; it must be started anew, then repeat with the same id").Because(err)
}

// digestOf tells one request from another that bears the same id.
func digestOf(request proto.Message) (digest [sha256.Size]byte, err error) {
	b := append([]byte(request.ProtoReflect().Descriptor().FullName()), 0)
	b, err = proto.MarshalOptions{Deterministic: true}.MarshalAppend(b, request)
	if err != nil {
		return digest, notUTF8(err)
	}
	return sha256.Sum256(b), nil
}
