package deferral

import (
	"slices"
	"time"

	pb "bayround/proto/bayround/v1"
)

// warnedBefore is how long before its end a deferral is warned of where its pack says
// nothing: the next watch still has its working hours. Source: common practice.
const warnedBefore = 24 * time.Hour

// WarnedFrom is the instant from which the end of a deferral is warned of.
func WarnedFrom(d *pb.Deferral) time.Time {
	if warn := d.GetWarnFrom(); len(warn) > 0 {
		return warn[0].AsTime()
	}
	return d.GetExpires().AsTime().Add(-warnedBefore)
}

// Lapsing are the defects whose deferral holds at an instant and is about to end, the
// soonest first.
func Lapsing(defects []*pb.Defect, at time.Time) (lapsing []*pb.Defect) {
	for _, d := range defects {
		decided := d.GetDeferral()
		holds := d.GetState() == pb.DefectState_DEFECT_STATE_DEFERRED && at.Before(decided.GetExpires().AsTime())
		if holds && !at.Before(WarnedFrom(decided)) {
			lapsing = append(lapsing, d)
		}
	}
	slices.SortStableFunc(lapsing, func(a, b *pb.Defect) int {
		return a.GetDeferral().GetExpires().AsTime().Compare(b.GetDeferral().GetExpires().AsTime())
	})
	return lapsing
}
