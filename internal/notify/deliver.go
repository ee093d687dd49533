package notify

import (
	"context"
	"time"

	"bayround/internal/notice"
)

// deliver sends a notice until the receiver has it or wants no more, it is set aside, or ctx ends.
func (b *branch) deliver(ctx context.Context, n notice.Notice) {
	if b.isAside(n) {
		return
	}
	m, err := n.Message(b.Mode, b.source)
	if err != nil { // nothing in a notice can fail to encode
		b.log.Error("a notice cannot be encoded and is left out", "notice", n.ID, "cause", err)
		return
	}
	for !b.over(ctx) {
		// A clock that was set back must not keep it waiting for longer than anybody may ask for.
		if d := min(b.state.Next.Sub(b.o.Now()), longestAskedFor); d > 0 {
			b.o.Wait(ctx, d)
			if ctx.Err() != nil {
				return
			}
		}
		now := b.o.Now()
		switch got := b.attempt(ctx, b.client, m, now); {
		case got.err == nil:
			b.delivered(ctx, n, now)
			return
		case got.gone:
			b.ended(got.err, now)
		case ctx.Err() == nil:
			aside := b.refuse(ctx, n, got, now)
			b.failed(got, n, now, aside)
			if aside {
				return
			}
		}
	}
}

// delivered notes a success; the place is kept when its step is done. What was set aside
// is tried again when the receiver has come round.
func (b *branch) delivered(ctx context.Context, n notice.Notice, now time.Time) {
	if b.state.Failures > 0 {
		b.owes = true
		b.log.Info("a receiver takes notices again", "failed_for", now.Sub(b.state.Failing))
	}
	b.change(func(s *State) {
		s.Delivered++
		s.Success, s.Failures, s.Failing, s.Error, s.Next = now, 0, time.Time{}, "", time.Time{}
		if s.Refused.ID == n.ID { // another may have been told again after a restart
			s.Refused = Refused{}
		}
	})
	if b.owes {
		b.owes = false
		b.tellAside(ctx)
	}
}

// ended notes that the receiver wants nothing more.
func (b *branch) ended(cause error, now time.Time) {
	b.change(func(s *State) { s.Ended, s.Error, s.Next = now, cause.Error(), time.Time{} })
	b.save()
	b.log.Error("a receiver has ended its subscription (410 Gone); give it another address, or take it out of the file")
}

// failed notes a failure and when to try again: at once when the notice was set aside. It
// says so when the receiver has begun to fail, and when it is dead.
func (b *branch) failed(got outcome, n notice.Notice, now time.Time, aside bool) {
	dead := b.state.Dead(b.saved)
	b.change(func(s *State) {
		s.Failures++
		s.Error, s.Next = got.err.Error(), now.Add(max(got.after, pause(s.Failures, b.o.Dice())))
		if s.Failing.IsZero() {
			s.Failing = now
		}
		if aside {
			s.Next = time.Time{}
		}
	})
	switch {
	case !dead && b.state.Dead(now):
		b.log.Error("a receiver has taken nothing for days: it is dead, or its address is wrong; it is tried further", "since", b.state.Failing, "notice", n.ID, "cause", got.err)
	case b.state.Failures == 1:
		b.log.Warn("a receiver did not take a notice; it is tried again", "notice", n.ID, "cause", got.err)
	}
	b.save()
}
