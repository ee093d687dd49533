package round

import (
	"context"
	"errors"
	"time"

	pb "bayround/proto/bayround/v1"
)

const (
	// undoFor is how long an answer can be taken back without looking for it.
	undoFor = 5 * time.Second
	// longestNap bounds how long the desk trusts a timer to keep step with the
	// clock, which somebody may set.
	longestNap = 10 * time.Second
)

// listen notes what the twin tells of vehicles, until ctx ends.
func (d *Desk) listen(ctx context.Context) {
	err := d.twin.Watch(ctx, nil, func(m *pb.WatchReadinessResponse) error {
		if r := m.GetReadiness(); r != nil && d.isNews(r) {
			select {
			case d.news <- struct{}{}:
			default:
			}
		}
		return nil
	})
	if ctx.Err() == nil {
		d.log.Error("the tablet's own station tells nothing more", "cause", err)
		select {
		case d.news <- struct{}{}: // the view says that nothing can be recorded
		default:
		}
	}
}

// isNews tells that a readiness is not the one that the view rests on. What the
// twin says of a vehicle changes with its events, or with time at a known instant.
func (d *Desk) isNews(r *pb.Readiness) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	known := d.scene.readiness[r.GetVehicle()]
	return known.GetSequence() != r.GetSequence() || !known.GetUntil().AsTime().Equal(r.GetUntil().AsTime())
}

// attend renews the view when the twin or the uplink has news, and when time
// alone changes it, until ctx ends.
func (d *Desk) attend(ctx context.Context) {
	nap := time.NewTimer(0)
	defer nap.Stop()
	heard := d.uplink.Changed() // always taken before the link is looked at
	d.complain(ctx, d.renew(ctx, false))
	for {
		var err error
		select {
		case <-ctx.Done():
			return
		case <-d.news:
			err = d.renew(ctx, true)
		case <-heard:
			heard = d.uplink.Changed()
			err = d.renew(ctx, false)
		case <-nap.C:
			err = d.Tick(ctx)
		}
		d.complain(ctx, err)
		nap.Reset(d.untilWake())
	}
}

// complain notes that the view is not what it should be.
func (d *Desk) complain(ctx context.Context, err error) {
	if err != nil && ctx.Err() == nil {
		d.log.Error("the view could not be renewed", "cause", err)
	}
}

// renew makes the view anew; stale says that the twin has changed.
func (d *Desk) renew(ctx context.Context, stale bool) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.stale = d.stale || stale || d.otherLibrary(ctx)
	return errors.Join(d.look(ctx), d.show(ctx))
}

// otherLibrary tells that something else is in force than when the desk last looked.
func (d *Desk) otherLibrary(ctx context.Context) bool {
	lib, err := d.twin.GetLibrary(ctx, &pb.GetLibraryRequest{KnownDigest: d.scene.digest})
	return err == nil && lib.GetLibrary() != nil
}

// untilWake is how long time alone changes nothing.
func (d *Desk) untilWake() time.Duration {
	d.mu.Lock()
	defer d.mu.Unlock()
	now, wait := d.now(), longestNap
	for _, at := range []time.Time{d.wakeAt, d.idleAt()} {
		if !at.IsZero() {
			wait = min(wait, max(at.Sub(now), 0))
		}
	}
	return max(wait, time.Millisecond)
}
