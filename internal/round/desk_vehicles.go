package round

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"bayround/internal/deferral"
	"bayround/internal/station"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// dues is what is due on each vehicle, worked out for one state of it.
type dues map[string]due

type due struct {
	digest   string          // of the library
	shares   string          // of the watch, in words
	required map[string]bool // steps that the verdict rests on

	sequence int64 // of the readiness that routines rests on
	until    time.Time
	routines []RoutineDue
}

// vehiclesInto puts the vehicles into the view, by call sign. The order is the same
// every day and never changes under a finger: a mark says what each may do.
func (d *Desk) vehiclesInto(ctx context.Context, v *View) error {
	v.Vehicles = make([]Vehicle, 0, len(d.scene.vehicles))
	for _, c := range d.scene.vehicles {
		one := Vehicle{Configuration: c, Resumable: d.scene.readiness[c.GetName()].GetRounds()}
		one.Readiness, one.Provisional = d.readinessOf(c.GetName(), v.Link)
		one.Stopped = d.stopsOf(ctx, one.Readiness)
		if waits := d.handOverOf(c.GetName()); waits != nil {
			one.HandOver = waits.At
		}
		one.Lapsing = deferral.Lapsing(one.Readiness.GetOpenDefects(), d.now())
		d.wakeForDeferrals(one.Readiness)
		if d.session.Phase < PhaseStep || d.session.Phase == PhaseTell {
			dueNow, err := d.dueOn(ctx, c)
			if err != nil {
				return err
			}
			one.Routines = dueNow.routines
		}
		v.Vehicles = append(v.Vehicles, one)
	}
	slices.SortFunc(v.Vehicles, func(a, b Vehicle) int {
		return cmp.Or(
			cmp.Compare(a.Configuration.GetCallSign(), b.Configuration.GetCallSign()),
			cmp.Compare(a.Configuration.GetName(), b.Configuration.GetName()))
	})
	for i := range v.Vehicles {
		if v.Vehicles[i].Configuration.GetName() == d.session.Vehicle {
			v.Chosen = &v.Vehicles[i]
		}
	}
	return nil
}

// wakeForDeferrals notes when what is said of deferrals changes by itself: one is warned
// of, or is over.
func (d *Desk) wakeForDeferrals(ready *pb.Readiness) {
	for _, defect := range ready.GetOpenDefects() {
		if decided := defect.GetDeferral(); defect.GetState() == pb.DefectState_DEFECT_STATE_DEFERRED {
			d.wake(deferral.WarnedFrom(decided))
			d.wake(decided.GetExpires().AsTime())
		}
	}
}

// readinessOf is a vehicle's readiness to be shown, and whether it is provisional.
// The station's own counts while it is live and knows everything that was done
// here. Where the two differ the stricter one is shown, and it is provisional.
func (d *Desk) readinessOf(vehicle string, l Link) (ready *pb.Readiness, provisional bool) {
	own := d.scene.readiness[vehicle]
	theirs := d.uplink.Station(vehicle)
	switch {
	case theirs == nil || !l.Live || d.uplink.Pending(vehicle) > 0:
		return own, true
	case theirs.GetVerdict() == own.GetVerdict():
		return theirs, false
	case theirs.GetVerdict() > own.GetVerdict():
		return theirs, true
	}
	return own, true
}

// dueOn works out how much of each routine is due on a vehicle, once for each
// state of it.
func (d *Desk) dueOn(ctx context.Context, c *pb.VehicleConfiguration) (due, error) {
	name, ready := c.GetName(), d.scene.readiness[c.GetName()]
	known := d.dues[name]
	if known.digest == d.scene.digest && known.sequence == ready.GetSequence() && known.until.Equal(ready.GetUntil().AsTime()) && known.shares == sharesOf(ready) && known.routines != nil {
		return known, nil
	}
	next := due{digest: d.scene.digest, sequence: ready.GetSequence(), until: ready.GetUntil().AsTime(), shares: sharesOf(ready)}
	var err error
	if next.required, err = d.requiredSteps(ctx, c); err != nil {
		return due{}, err
	}
	unproven := unprovenSteps(ready)
	for _, r := range d.scene.routines {
		with := along(ready, r.GetName())
		plan, err := d.outline(name, r.GetName(), with)
		if err != nil {
			return due{}, err
		}
		steps := plan.Plan.GetSteps()
		if len(steps) == 0 {
			continue
		}
		one := RoutineDue{Routine: r, Steps: len(steps), Along: shareWords(ready, with)}
		for _, step := range steps {
			id, turn := step.GetStepId(), slices.Contains(with, step.GetItem())
			if turn || unproven[id] || !next.required[id] && !holds(step, plan.Last(id), d.now()) {
				one.Unproven++
			}
		}
		next.routines = append(next.routines, one)
	}
	d.dues[name] = next
	return next, nil
}

// requiredSteps are the steps that a vehicle's verdict rests on.
func (d *Desk) requiredSteps(ctx context.Context, c *pb.VehicleConfiguration) (map[string]bool, error) {
	if known := d.dues[c.GetName()]; known.digest == d.scene.digest && known.required != nil {
		return known.required, nil
	}
	required := map[string]bool{}
	for _, routine := range c.GetRequiredRoutines() {
		plan, err := d.outline(c.GetName(), routine, nil)
		if err != nil {
			return nil, err
		}
		for _, step := range plan.Plan.GetSteps() {
			required[step.GetStepId()] = true
		}
	}
	if d.dues == nil {
		d.dues = dues{}
	}
	d.dues[c.GetName()] = due{digest: d.scene.digest, required: required}
	return required, nil
}

func (d *Desk) outline(vehicle, routine string, with []string) (station.Outline, error) {
	o, err := d.twin.Outline(vehicle, routine, with)
	if err != nil {
		return o, fmt.Errorf("read the plan of %s for %s: %w", routine, vehicle, err)
	}
	return o, nil
}

// unprovenSteps are the steps that a readiness says prove nothing.
func unprovenSteps(ready *pb.Readiness) map[string]bool {
	all := map[string]bool{}
	for _, r := range ready.GetReasons() {
		for _, u := range r.GetUnproven().GetSteps() {
			all[u.GetStepId()] = true
		}
	}
	return all
}

// holds tells that the newest answer to a step, which no verdict rests on, is
// still good.
func holds(step *pb.CheckStep, last *pb.Result, now time.Time) bool {
	return last != nil && last.GetNotChecked() == nil && now.Before(verdict.Looked(last).Add(step.GetGoodFor().AsDuration()))
}
