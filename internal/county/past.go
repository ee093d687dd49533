package county

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/station"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// Past is the past of the county, ready to be lived through at a station.
type Past struct {
	// Station knows the county's people, gauges and vehicles. Its clock is Clock.
	Station *station.Station
	// Clock is what the station was opened with; the past moves it on.
	Clock *Clock
	// Now is the day of the demonstration: the last evening of the past is the one before.
	Now time.Time
	// Heard is told of every answer that was recorded, from several goroutines; nil for nobody.
	Heard func(Told)
	// Lived is told after each day how many there are still to come; nil for nobody.
	Lived func(ago int)
}

// Told is one answer and what the station said of it.
type Told struct {
	Vehicle  string // vehicles/wn11
	Ago      int    // days before today
	Result   *pb.Result
	Findings []*pb.Finding
	Km       float64 // odometer; 0 where there is none
	Hours    float64 // of the engine
}

// Count is what was recorded.
type Count struct{ Rounds, Results, Repairs, Checks int64 }

// routines are those that the past makes use of.
var routines = [...]string{"shift", "weekly", "monthly", "after-repair", "reserve-takeover"}

// Live carries out the whole past: day after day, on each day in the order of the
// hours at which things reached the station, and beside each other what different
// vehicles have of one hour. It is for a fresh record.
func (p *Past) Live(ctx context.Context) (Count, error) {
	c := &carrier{Past: p, midnight: midnight(p.Now)}
	lives, err := c.lives(ctx)
	if err != nil {
		return Count{}, err
	}
	for ago := Days; ago >= 1; ago-- {
		if err := c.day(ctx, ago, lives); err != nil {
			return c.count(), err
		}
		if p.Lived != nil {
			p.Lived(ago - 1)
		}
	}
	p.Clock.moveTo(c.midnight)
	return c.count(), nil
}

// carrier carries out a past.
type carrier struct {
	*Past
	midnight                         time.Time
	rounds, results, repairs, checks atomic.Int64
}

func (c *carrier) count() Count {
	return Count{Rounds: c.rounds.Load(), Results: c.results.Load(), Repairs: c.repairs.Load(), Checks: c.checks.Load()}
}

// chapter is a vehicle with what happens to it, and how far it has come.
type chapter struct {
	*life
	rest []entry
}

// lives makes up the past of every vehicle of the county.
func (c *carrier) lives(ctx context.Context) (all []*chapter, err error) {
	for token := ""; ; {
		page, err := c.Station.ListVehicles(ctx, &pb.ListVehiclesRequest{PageSize: 200, PageToken: token})
		if err != nil {
			return nil, fmt.Errorf("asking for the county's vehicles: %w", err)
		}
		for _, v := range page.GetVehicles() {
			l, err := c.life(ctx, v)
			if err != nil {
				return nil, err
			}
			all = append(all, &chapter{life: l, rest: l.past()})
		}
		if token = page.GetNextPageToken(); token == "" {
			return all, nil
		}
	}
}

// life is a vehicle before its first day.
func (c *carrier) life(ctx context.Context, v *pb.VehicleConfiguration) (*life, error) {
	plans := map[string]*pb.Plan{}
	for _, routine := range routines {
		resp, err := c.Station.GetPlan(ctx, &pb.GetPlanRequest{Vehicle: v.GetName(), Routine: "routines/" + routine})
		if err != nil {
			return nil, fmt.Errorf("the plan of %s for %s: %w", routine, v.GetName(), err)
		}
		plans[routine] = resp.GetPlan()
	}
	return born(v, plans, c.midnight)
}

// day lives through one day, hour by hour.
func (c *carrier) day(ctx context.Context, ago int, lives []*chapter) error {
	hours := []time.Duration{afternoon}
	for _, ch := range lives {
		for _, e := range ch.rest {
			if e.ago != ago {
				break
			}
			hours = append(hours, e.at)
		}
	}
	slices.Sort(hours)
	for _, hour := range slices.Compact(hours) {
		c.Clock.moveTo(c.midnight.Add(-time.Duration(ago) * Day).Add(hour))
		if err := c.hour(ctx, ago, hour, lives); err != nil {
			return err
		}
	}
	return nil
}

// hour carries out what reached the station at one hour, vehicle beside vehicle.
func (c *carrier) hour(ctx context.Context, ago int, at time.Duration, lives []*chapter) error {
	var busy sync.WaitGroup
	failed := make([]error, len(lives))
	for i, ch := range lives {
		n := 0
		for n < len(ch.rest) && ch.rest[n].ago == ago && ch.rest[n].at == at {
			n++
		}
		now := ch.rest[:n]
		ch.rest = ch.rest[n:]
		busy.Go(func() {
			if failed[i] = c.entries(ctx, ch.life, now); failed[i] == nil && at == afternoon {
				failed[i] = c.answer(ctx, ch.life, entry{ago: ago, at: at})
			}
		})
	}
	busy.Wait()
	return errors.Join(failed...)
}

// entries carries out what happened to one vehicle, in its order.
func (c *carrier) entries(ctx context.Context, l *life, all []entry) error {
	for _, e := range all {
		var err error
		switch {
		case e.visit != nil:
			err = c.visit(ctx, l, e)
		case e.repair != nil:
			err = c.repair(ctx, l, e)
		case e.check != nil:
			err = c.check(ctx, l, e)
		}
		if err != nil {
			return fmt.Errorf("%s on D-%d: %w", l.vehicle.GetCallSign(), e.ago, err)
		}
	}
	return nil
}

// answer answers on a weekday who reported what nobody has answered yet: each time the
// workshop plans the next weekday.
func (c *carrier) answer(ctx context.Context, l *life, e entry) error {
	plan := 1
	switch c.Clock.Now().Weekday() {
	case time.Saturday, time.Sunday:
		return nil
	case time.Friday:
		plan = 3
	}
	resp, err := c.Station.GetReadiness(ctx, &pb.GetReadinessRequest{Vehicle: l.vehicle.GetName()})
	if err != nil {
		return err
	}
	for _, d := range resp.GetReadiness().GetOpenDefects() {
		if d.GetState() != pb.DefectState_DEFECT_STATE_OPEN {
			continue
		}
		_, err := c.Station.AcknowledgeDefect(ctx, &pb.AcknowledgeDefectRequest{
			RequestId: l.ids(e)("answer", d.GetName()), Defect: d.GetName(), Person: "people/steddow",
			Planned: timestamppb.New(c.midnight.AddDate(0, 0, plan-e.ago).Add(evening)), Note: "it is on the list of the workshop",
		})
		if err != nil {
			return fmt.Errorf("answering for %s: %w", d.GetName(), err)
		}
	}
	return nil
}

// repair records that the workshop dealt with what is open at a step, or with
// everything that is open.
func (c *carrier) repair(ctx context.Context, l *life, e entry) error {
	resp, err := c.Station.GetReadiness(ctx, &pb.GetReadinessRequest{Vehicle: l.vehicle.GetName()})
	if err != nil {
		return err
	}
	id := l.ids(e)
	for _, d := range resp.GetReadiness().GetOpenDefects() {
		if !verdict.IsOpen(d) || e.repair.step != cmp.Or(d.GetStepId(), e.repair.step) {
			continue
		}
		_, err := c.Station.RecordRepair(ctx, &pb.RecordRepairRequest{
			RequestId: id("repair", d.GetName()), Defect: d.GetName(), Person: "people/steddow", Done: e.repair.done,
		})
		if err != nil {
			return fmt.Errorf("repairing %s: %w", d.GetName(), err)
		}
		c.repairs.Add(1)
	}
	return nil
}

// check records a comparison of a gauge.
func (c *carrier) check(ctx context.Context, l *life, e entry) error {
	_, err := c.Station.CheckGauge(ctx, &pb.CheckGaugeRequest{
		RequestId: l.ids(e)("check", e.check.gauge), Gauge: e.check.gauge, Check: &pb.GaugeCheck{
			Person: "people/steddow", Reference: e.check.reference,
			Shown: e.check.shown, ReferenceValue: e.check.true, Note: e.check.note,
		},
	})
	if err != nil {
		return fmt.Errorf("comparing %s: %w", e.check.gauge, err)
	}
	c.checks.Add(1)
	return nil
}
