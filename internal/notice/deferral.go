package notice

import (
	"time"

	pb "bayround/proto/bayround/v1"
)

// deferrals tells of the deferrals that are about to lapse, and of those that are over.
func (c Change) deferrals() (all []Notice) {
	for _, d := range c.Now.GetOpenDefects() {
		now, before := stageOf(d, c.Now), stageOf(same(d, c.Before), c.Before)
		switch {
		case now.over && !before.over && before.waited:
			all = append(all, c.ofDeferral(DeferralOver, "over", d))
		case !now.over && now.warned > before.warned:
			all = append(all, c.ofDeferral(DeferralEnding, "ending", d))
		}
	}
	return all
}

func (c Change) ofDeferral(k Kind, what string, d *pb.Defect) Notice {
	n := c.ofDefect(k, what, d)
	n.Defect.WaitsUntil = d.GetDeferral().GetExpires().AsTime()
	return n
}

// stage is how far a deferral has come.
type stage struct {
	waited bool // there is one, or was
	over   bool
	warned int // how many of its warnings are due
}

// stageOf is how far the deferral of a defect has come in a readiness.
func stageOf(d *pb.Defect, in *pb.Readiness) (s stage) {
	if d.GetDeferral() == nil {
		return s
	}
	s.waited, s.over = true, d.GetState() != pb.DefectState_DEFECT_STATE_DEFERRED
	for _, from := range d.GetDeferral().GetWarnFrom() {
		if !from.AsTime().After(at(in)) {
			s.warned++
		}
	}
	return s
}

// same is the defect as it stood before, under a deferral decided at the same time; nil when there was none.
func same(d *pb.Defect, before *pb.Readiness) *pb.Defect {
	for _, b := range before.GetOpenDefects() {
		if b.GetName() == d.GetName() && b.GetDeferral().GetStationTime().AsTime().Equal(d.GetDeferral().GetStationTime().AsTime()) {
			return b
		}
	}
	return nil
}

func at(r *pb.Readiness) time.Time { return r.GetAsOf().AsTime() }
