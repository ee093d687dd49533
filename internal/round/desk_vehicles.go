package round

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// dues is what is due on each vehicle, worked out for one state of it.
type dues map[string]due

type due struct {
	digest   string // of the library
	sequence int64  // of the readiness
	until    time.Time
	routines []RoutineDue
	required map[string]bool // steps that the verdict rests on
}

// vehiclesInto puts the vehicles into the view, the worst first.
func (d *Desk) vehiclesInto(ctx context.Context, v *View) error {
	v.Vehicles = make([]Vehicle, 0, len(d.scene.vehicles))
	for _, c := range d.scene.vehicles {
		dueNow, err := d.dueOn(ctx, c)
		if err != nil {
			return err
		}
		ready, provisional := d.readinessOf(c.GetName(), v.Link)
		v.Vehicles = append(v.Vehicles, Vehicle{
			Configuration: c, Readiness: ready, Provisional: provisional, Routines: dueNow.routines,
			Resumable: d.scene.readiness[c.GetName()].GetRounds(),
		})
	}
	slices.SortFunc(v.Vehicles, func(a, b Vehicle) int {
		return cmp.Or(cmp.Compare(b.Readiness.GetVerdict(), a.Readiness.GetVerdict()),
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
// state of it. While a round is walked nobody looks at it, and it waits.
func (d *Desk) dueOn(ctx context.Context, c *pb.VehicleConfiguration) (due, error) {
	name := c.GetName()
	ready := d.scene.readiness[name]
	known, worked := d.dues[name]
	fresh := known.digest == d.scene.digest && known.sequence == ready.GetSequence() && known.until.Equal(ready.GetUntil().AsTime())
	if worked && (fresh || known.digest == d.scene.digest && d.session.Phase >= PhaseStep && d.session.Phase != PhaseHandover) {
		return known, nil
	}
	next := due{digest: d.scene.digest, sequence: ready.GetSequence(), until: ready.GetUntil().AsTime(), required: map[string]bool{}}
	plans := map[string]*pb.Plan{}
	for _, r := range d.scene.routines {
		resp, err := d.twin.GetPlan(ctx, &pb.GetPlanRequest{Vehicle: name, Routine: r.GetName()})
		if err != nil {
			return due{}, fmt.Errorf("read the plan of %s for %s: %w", r.GetName(), name, err)
		}
		plans[r.GetName()] = resp.GetPlan()
		if slices.Contains(c.GetRequiredRoutines(), r.GetName()) {
			for _, step := range resp.GetPlan().GetSteps() {
				next.required[step.GetStepId()] = true
			}
		}
	}
	unproven := unprovenSteps(ready)
	for _, r := range d.scene.routines {
		steps := plans[r.GetName()].GetSteps()
		if len(steps) == 0 {
			continue
		}
		one := RoutineDue{Routine: r, Steps: len(steps)}
		for _, step := range steps {
			if unproven[step.GetStepId()] || !next.required[step.GetStepId()] && !holds(step, d.now()) {
				one.Unproven++
			}
		}
		next.routines = append(next.routines, one)
	}
	if d.dues == nil {
		d.dues = dues{}
	}
	d.dues[name] = next
	return next, nil
}

// requiredSteps are the steps that a vehicle's verdict rests on.
func (d *Desk) requiredSteps(vehicle string) map[string]bool { return d.dues[vehicle].required }

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
func holds(step *pb.CheckStep, now time.Time) bool {
	last := step.GetLast()
	return last != nil && last.GetNotChecked() == nil && now.Before(verdict.Looked(last).Add(step.GetGoodFor().AsDuration()))
}
