package round

import (
	"context"
	"errors"
	"time"

	"google.golang.org/grpc"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// deaf is how long a watch may say nothing before another one is tried.
const deaf = 3 * silence

// listen watches the readiness of every vehicle, for ever: a watch that ended is
// begun again.
func (u *Uplink) listen(ctx context.Context) {
	var pauses backoff
	for ctx.Err() == nil {
		began := time.Now()
		err := u.watch(ctx, pauses.over)
		u.heard.ended()
		if ctx.Err() != nil {
			return
		}
		if f := (*fault.Fault)(nil); errors.As(err, &f) && f.Kind == fault.Unidentified {
			u.bar(f.Message)
		}
		if time.Since(began) > longestPause {
			pauses.over() // it waited for a connection
		}
		u.log.Debug("the watch of the station ended and is begun again", "cause", err)
		if !errors.Is(err, errOld) {
			pauses.pause(ctx, nil)
		}
	}
}

// watch is one watch, until it ends. reached is called once the station has told
// every present state.
func (u *Uplink) watch(ctx context.Context, reached func()) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	hushed := time.AfterFunc(deaf, cancel)
	defer hushed.Stop()
	if err := u.recognise(ctx); err != nil {
		return err
	}
	_, known, _ := u.heard.all()
	_, told := u.outbox.station()
	stream, err := u.readiness.WatchReadiness(ctx, &pb.WatchReadinessRequest{})
	if err != nil {
		return err
	}
	w := watching{uplink: u, known: max(known, told)}
	for {
		began := time.Now()
		m, err := stream.Recv()
		if err != nil {
			return err
		}
		if time.Since(began) >= silence {
			return errOld
		}
		hushed.Reset(deaf)
		if err := w.take(ctx, m); err != nil {
			return err
		}
		if m.GetPresent() != nil {
			reached()
		}
	}
}

// recognise makes sure that the station's journal is the one that was sent to
// before.
func (u *Uplink) recognise(ctx context.Context) error {
	resp, err := u.journal.GetCheckpoint(ctx, &pb.GetCheckpointRequest{}, grpc.WaitForReady(true))
	if fault.Is(err, fault.Precondition) {
		return nil // it is empty: the watch will tell how far it has come
	}
	if err != nil {
		return err
	}
	known, _ := u.outbox.station()
	if known != "" && known != resp.GetJournalId() {
		u.startOver(ctx, "the station has another journal than before")
	}
	u.outbox.setStationJournal(resp.GetJournalId())
	return nil
}

// startOver forgets what the station said and sends everything again: a station
// that was restored from a copy is filled from its tablets.
func (u *Uplink) startOver(ctx context.Context, why string) {
	u.log.Warn("everything on this tablet is sent again: " + why)
	u.heard.forget()
	u.adopt.forget()
	u.outbox.beginAnew()
	if err := u.outbox.catchUp(ctx); err != nil {
		u.log.Error("the tablet's own record cannot be read", "cause", err)
	}
	u.keep()
	u.renew()
}

// watching is one watch; it belongs to the goroutine that listens.
type watching struct {
	uplink   *Uplink
	known    int64 // newest event of the station's that was known before
	told     []*pb.Readiness
	complete bool // every present state was told
}

// errOld ends a watch that was silent for too long and then spoke: what it says
// may have waited somewhere, for instance while this program was held still.
var errOld = errors.New("what the station says may be too old to be current")

func (w *watching) take(ctx context.Context, m *pb.WatchReadinessResponse) error {
	u := w.uplink
	switch m := m.GetMessage().(type) {
	case *pb.WatchReadinessResponse_Readiness:
		if !w.complete {
			w.told = append(w.told, m.Readiness)
			return nil
		}
		u.pass(u.heard.readiness(m.Readiness))
	case *pb.WatchReadinessResponse_Present:
		// Only here: a heartbeat may have been made before a state that overtook it.
		// The number alone does not tell: what others recorded since may have brought it further.
		if m.Present.GetSequence() < w.known || u.heard.knewMore(w.told) {
			u.startOver(ctx, "the station's journal has lost its end")
		}
		if !u.Live() {
			u.log.Info("the station is heard", "sequence", m.Present.GetSequence())
		}
		u.pass(u.heard.present(w.told, m.Present.GetSequence()))
		w.told, w.complete = nil, true
		u.bar("")
		u.arrived.ring()
	case *pb.WatchReadinessResponse_Heartbeat:
		if !w.complete {
			return nil
		}
		at := m.Heartbeat.GetStationTime().AsTime()
		reset := u.hearClock(at)
		more := u.heard.heartbeat(m.Heartbeat.GetSequence(), at)
		u.renew() // the display shows how long ago this was
		if more || reset {
			u.changed.ring()
		}
	}
	return nil
}

// bar keeps why the station does not let this tablet in; empty when it does.
func (u *Uplink) bar(why string) {
	u.mu.Lock()
	news := u.barred != why
	u.barred = why
	u.mu.Unlock()
	if !news {
		return
	}
	if why != "" {
		u.log.Warn("the station does not let this tablet in, or is another; what is recorded here is kept", "cause", why)
	}
	u.changed.ring()
}

// pass tells of states that have changed.
func (u *Uplink) pass(passages []passage) {
	u.bay.note(passages)
	u.renew()
	u.changed.ring()
}

// fellSilent tells that nothing was heard for too long.
func (u *Uplink) fellSilent() {
	u.log.Warn("the station was not heard for five seconds")
	u.renew()
	u.changed.ring()
}
