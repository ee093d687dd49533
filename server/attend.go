package main

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"

	"bayround/internal/station"
)

// attendance is what goes on beside serving: the record is read through, and
// whoever started this program is told that it is ready and not stuck.
type attendance struct {
	cancel context.CancelFunc
	parts  sync.WaitGroup
	tell   func(state string)
}

// scrubTick is how often it is looked whether the record must be read through again.
const scrubTick = time.Hour

// attend begins once the station serves.
func attend(st *station.Station, log *slog.Logger) *attendance {
	ctx, cancel := context.WithCancel(context.Background())
	a := &attendance{cancel: cancel, tell: func(state string) {
		// Without a service manager this does nothing.
		if _, err := daemon.SdNotify(false, state); err != nil {
			log.Warn("the service manager cannot be told", "state", state, "cause", err)
		}
	}}
	a.parts.Go(func() {
		ticks := time.NewTicker(scrubTick)
		defer ticks.Stop()
		st.KeepScrubbing(ctx, time.Now(), ticks.C)
	})
	every, err := daemon.SdWatchdogEnabled(false)
	if err != nil {
		log.Warn("the service manager's watchdog cannot be understood", "cause", err)
	}
	if every > 0 {
		a.parts.Go(func() {
			ticks := time.NewTicker(every / 3)
			defer ticks.Stop()
			watchdog(ctx, ticks.C, within(every/3, st.Answers), func() { a.tell(daemon.SdNotifyWatchdog) })
		})
	}
	a.tell(daemon.SdNotifyReady)
	return a
}

// end ends all of it and waits.
func (a *attendance) end() {
	a.tell(daemon.SdNotifyStopping)
	a.cancel()
	a.parts.Wait()
}

// within bounds how long an answer is waited for.
func within(limit time.Duration, answers func(context.Context) error) func(context.Context) error {
	return func(ctx context.Context) error {
		ctx, cancel := context.WithTimeout(ctx, limit)
		defer cancel()
		return answers(ctx)
	}
}

// watchdog gives a sign of life at every tick at which the writing side answers:
// only that shows that the station is not stuck.
func watchdog(ctx context.Context, ticks <-chan time.Time, answers func(context.Context) error, alive func()) {
	for {
		select {
		case <-ticks:
			if answers(ctx) == nil {
				alive()
			}
		case <-ctx.Done():
			return
		}
	}
}
