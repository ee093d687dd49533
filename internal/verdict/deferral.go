package verdict

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"bayround/internal/deferral"
	pb "bayround/proto/bayround/v1"

	"google.golang.org/protobuf/proto"
)

// isDeferred tells that somebody has let a defect wait; whether the deferral still
// holds is another question.
func isDeferred(d *pb.Defect) bool {
	return d.GetState() == pb.DefectState_DEFECT_STATE_DEFERRED && d.GetDeferral().GetExpires() != nil
}

// exceeds tells that a defect is worse than what was deferred. Then the deferral is
// over at once.
func exceeds(d *pb.Defect) bool {
	return len(d.GetFindings()) == 0 ||
		slices.ContainsFunc(d.GetFindings(), func(f *pb.Finding) bool { return !covers(d.GetDeferral(), f) })
}

// covers tells that a finding is no worse than what was deferred. What nobody could
// work out, what is dangerous and what must not move is never covered.
func covers(decided *pb.Deferral, f *pb.Finding) bool {
	if f.GetGrade() >= pb.Grade_GRADE_DANGEROUS || f.GetGrade() > decided.GetGrade() {
		return false
	}
	switch f.GetEffect() {
	case pb.Effect_EFFECT_NOTHING, pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT, pb.Effect_EFFECT_RESPONDING:
		return f.GetEffect() <= decided.GetEffect()
	}
	return false
}

// waits tells that the effect of a defect is replaced by its deferral at an instant.
func waits(d *pb.Defect, at time.Time) bool {
	return isDeferred(d) && !exceeds(d) && at.Before(d.GetDeferral().GetExpires().AsTime())
}

// waiting tells that a live finding is one that a deferral holds back at an instant.
func waiting(defects []*pb.Defect, f *pb.Finding, at time.Time) bool {
	for _, d := range defects {
		if waits(d, at) && isAbout(d, f) && covers(d.GetDeferral(), f) {
			return true
		}
	}
	return false
}

// ofDeferred returns the verdict that a deferred defect alone gives: limited while
// it waits, and at least what its pack says once that is over.
func ofDeferred(d *pb.Defect, found pb.Verdict, at time.Time) pb.Verdict {
	switch {
	case !waits(d, at):
		return max(found, OfEffect(d.GetDeferral().GetWhenOver()))
	case found > pb.Verdict_VERDICT_FIT || len(d.GetDeferral().GetRestrictions()) > 0:
		return pb.Verdict_VERDICT_RESTRICTED
	}
	return pb.Verdict_VERDICT_FIT
}

// deferralEdge returns the first instant after at at which what a deferral says
// changes: it is warned of, or it expires. Zero when there is none.
func deferralEdge(d *pb.Defect, at time.Time) (edge time.Time) {
	if !isDeferred(d) || exceeds(d) {
		return edge
	}
	edge = sooner(edge, d.GetDeferral().GetExpires().AsTime(), at)
	for _, warn := range d.GetDeferral().GetWarnFrom() {
		edge = sooner(edge, warn.AsTime(), at)
	}
	return edge
}

// sooner returns the earlier of two instants of which the second counts only when it lies after at.
func sooner(edge, other, at time.Time) time.Time {
	if other.After(at) && (edge.IsZero() || other.Before(edge)) {
		return other
	}
	return edge
}

// sayDeferral tells of a deferral at an instant, after what was found.
func sayDeferral(found string, d *pb.Defect, at time.Time) string {
	expires, until := d.GetDeferral().GetExpires().AsTime(), d.GetDeferral().GetExpiresLocal()
	found = strings.TrimSuffix(found, ".") + ". "
	switch {
	case exceeds(d):
		return found + "It could wait until " + until + ", but has become worse."
	case !at.Before(expires):
		return found + "It could wait until " + until + ", and that is over."
	}
	for _, warn := range slices.Backward(d.GetDeferral().GetWarnFrom()) {
		if from := warn.AsTime(); !at.Before(from) {
			return found + fmt.Sprintf("It may wait until %s, less than %g h from now.", until, expires.Sub(from).Hours())
		}
	}
	return found + "It may wait until " + until + "."
}

// together calls take for each system with two deferred defects or more. They count
// together until one is put right, also when a deferral is over.
func together(in *Input, take func(*pb.DeferralSystem, []*pb.Defect)) {
	deferred := 0
	for _, d := range in.Defects {
		if isDeferred(d) {
			deferred++
		}
	}
	if deferred < 2 {
		return
	}
	for _, s := range in.Systems {
		var on []*pb.Defect
		for _, d := range in.Defects {
			if isDeferred(d) && deferral.SystemOf(in.Systems, d.GetStepId()) == s {
				on = append(on, d)
			}
		}
		if len(on) >= 2 {
			take(s, on)
		}
	}
}

// ofTogether makes the reason of several deferrals on one system.
func ofTogether(s *pb.DeferralSystem, on []*pb.Defect, w walk) reason {
	on = slices.Clone(on)
	slices.SortFunc(on, w.compareByPlace)
	cause := &pb.DeferredTogether{System: s}
	for _, d := range on {
		cause.Defects = append(cause.Defects, d.GetName())
	}
	v := OfEffect(s.GetTogether())
	return reason{
		verdict: v, grade: pb.Grade_GRADE_MAJOR, walk: w.position(on[0].GetStepId()), id: s.GetId(), together: on, limits: s.GetRestrictions(),
		message: &pb.Reason{
			Verdict: v, Cause: &pb.Reason_Together{Together: cause},
			Text: fmt.Sprintf("%s: %d defects wait, which together are more than each by itself: %s", s.GetTitle(), len(on), nameFirst(saidDefects(on, w))),
		},
	}
}

// DefectAt returns a defect as it stands at an instant: one whose deferral is over or
// exceeded stands where it stood before. It shares what is in it.
func DefectAt(d *pb.Defect, at time.Time) *pb.Defect {
	if d.GetState() != pb.DefectState_DEFECT_STATE_DEFERRED || waits(d, at) {
		return d
	}
	d = proto.CloneOf(d)
	d.State = Undeferred(d)
	return d
}

// Undeferred returns where a defect stands without its deferral.
func Undeferred(d *pb.Defect) pb.DefectState {
	if d.GetAcknowledgement() != nil {
		return pb.DefectState_DEFECT_STATE_ACKNOWLEDGED
	}
	return pb.DefectState_DEFECT_STATE_OPEN
}

// IsOpen tells that a defect takes its effect, or waits with leave: it is neither
// closed nor repaired. A state that nobody said counts as open.
func IsOpen(d *pb.Defect) bool { return isOpen(d) }
