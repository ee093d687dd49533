package station

import (
	"fmt"
	"time"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// coldness is what counts as cold at a step; the zero value: it need not be cold.
type coldness struct {
	stood    time.Duration // least time the engine must have stood
	drivenKm float64       // or driven no farther than this; 0 when only standing counts
}

// coldness is what the rule packs in force say of a step that must be cold, and
// where they say nothing what the catalogue does.
func (m *model) coldness(planned *pb.CheckStep) coldness {
	if planned.GetColdAfter() == nil {
		return coldness{}
	}
	if m.judge != nil {
		if rule := m.judge.ColdRule(planned.GetItem()); rule != nil {
			return coldness{stood: rule.GetStood().AsDuration(), drivenKm: rule.GetDrivenAtMostKm()}
		}
	}
	return coldness{stood: planned.GetColdAfter().AsDuration()}
}

// ColdRule is what the rule packs in force say of when an item of a vehicle counts as
// cold; nil where they say nothing, and the catalogue counts.
func (s *Station) ColdRule(vehicle, item string) (*pb.ColdRule, error) {
	snap, err := s.current.Load().vehicle(vehicle)
	if err != nil || snap.model.judge == nil {
		return nil, err
	}
	return snap.model.judge.ColdRule(item), nil
}

// checkCold refuses an answer that only counts on a cold engine while the engine
// was still too warm. Where nobody said when it stopped, it is taken for cold,
// unless it is known to have been driven too far.
func (f *frame) checkCold(c coldness, r *pb.Result) error {
	if c.stood == 0 {
		return nil
	}
	deviceTime, driven := r.GetDeviceTime().AsTime(), f.driven(r)
	if c.drivenKm > 0 && driven != nil && *driven <= c.drivenKm {
		return nil
	}
	stopped, known := f.engineStopped(deviceTime)
	stood := deviceTime.Sub(stopped)
	switch {
	case known && stood >= c.stood, !known && (c.drivenKm == 0 || driven == nil):
		return nil
	case !known:
		return fault.New(fault.Precondition, "ENGINE_TOO_WARM",
			"the vehicle was driven %g km since it was cold, more than %g km, and nobody said when the engine stopped; say it in the conditions, or record it as not checked because the engine is warm",
			*driven, c.drivenKm)
	}
	wait := (c.stood - stood + time.Minute - 1) / time.Minute
	return fault.New(fault.Precondition, "ENGINE_TOO_WARM",
		"the engine had stood for %d minutes and must stand for %d%s; wait %d more minutes, or record it as not checked because the engine is warm",
		stood/time.Minute, c.stood/time.Minute, c.orDriven(), wait)
}

// orDriven are the words for the distance that counts as cold, too.
func (c coldness) orDriven() string {
	if c.drivenKm == 0 {
		return ""
	}
	return fmt.Sprintf(", or be driven no farther than %g km since it was cold", c.drivenKm)
}
