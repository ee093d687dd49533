package round

import (
	"context"
	"time"

	"bayround/internal/fault"
)

// attest holds the station to what was seen of it, for ever: at each new contact,
// and whenever everything is sent and its record has grown.
func (u *Uplink) attest(ctx context.Context) {
	w := u.witness
	if w == nil {
		return
	}
	var pauses backoff
	for ctx.Err() == nil {
		changed := u.changed.rung()
		watch, through, due := u.attestable()
		if !due {
			u.idle(ctx, changed)
			continue
		}
		w.watching = watch
		err := w.contact(ctx)
		u.showWitness()
		if alarm, _ := w.say(); err == nil && alarm == nil {
			w.watch, w.through = watch, through
			pauses.over()
			continue
		}
		w.watch = 0 // there is more to do
		if err != nil && ctx.Err() == nil {
			w.grumble(err)
		}
		pauses.pause(ctx, nil)
	}
	if w.copy != nil {
		if err := w.copy.close(); err != nil {
			w.log.Error("the copy of the station's record cannot be closed", "cause", err)
		}
	}
}

// attestable tells whether there is anything new to hold the station to, and where
// it stands then. While an alarm is up there always is: it may have been cleared.
func (u *Uplink) attestable() (watch int, through int64, due bool) {
	_, through, watch = u.heard.all()
	if !u.Live() || watch == 0 {
		return watch, through, false
	}
	if alarm, _ := u.witness.say(); alarm != nil || watch != u.witness.watch {
		return watch, through, true
	}
	waiting, _, _ := u.outbox.counts()
	return watch, through, waiting == 0 && through > u.witness.through
}

// sendAgain has everything on this tablet sent again: the station is another than the
// one that had it, or has lost it.
func (u *Uplink) sendAgain(ctx context.Context) {
	if _, told := u.outbox.station(); told == 0 {
		return // no station was told of anything yet
	}
	u.log.Warn("everything on this tablet is sent again: the station's record is not the one that had it")
	u.adopt.forget()
	u.outbox.beginAnew()
	if err := u.outbox.catchUp(ctx); err != nil {
		u.log.Error("the tablet's own record cannot be read", "cause", err)
	}
	u.keep()
}

// idle waits until something has changed.
func (u *Uplink) idle(ctx context.Context, changed <-chan struct{}) {
	timer := time.NewTimer(silence) // a heartbeat that tells of nothing new rings no bell
	defer timer.Stop()
	select {
	case <-changed:
	case <-timer.C:
	case <-ctx.Done():
	}
}

// grumble tells the log why the station could not be held to its record. A station
// that is behind is no news at every try, one that is not there neither.
func (w *recordWitness) grumble(err error) {
	if fault.Is(err, fault.Unavailable) || fault.Is(err, fault.Precondition) {
		w.log.Debug("the station was not held to its record; it will be tried again", "cause", err)
		return
	}
	w.log.Error("the station could not be held to its record; it will be tried again", "cause", err)
}

// showWitness has the pages show what the witness says.
func (u *Uplink) showWitness() {
	u.renew()
	u.changed.ring()
}

// mayBeSent tells whether the station that is heard has proven its record; if it
// has not, it waits until something has changed.
func (u *Uplink) mayBeSent(ctx context.Context) bool {
	changed := u.changed.rung()
	_, _, watch := u.heard.all()
	if u.witness.cleared(watch) {
		return true
	}
	u.idle(ctx, changed)
	return false
}
