package verdict

import (
	"time"

	pb "bayround/proto/bayround/v1"
)

// Fold returns the verdict at an instant and the earliest later instant at which
// anything that Of says changes by itself; zero when nothing ever does. It makes
// no messages and allocates nothing.
func Fold(in *Input, at time.Time) (v pb.Verdict, until time.Time) {
	v, until = foldSteps(in, at)
	found, edge := FoldFound(in, at)
	if until.IsZero() || !edge.IsZero() && edge.Before(until) {
		until = edge
	}
	return max(v, found, OfDoubt(in.Record)), until
}

// FoldFound is Fold for findings, defects and a takeover alone, whatever of the
// required steps is proven.
func FoldFound(in *Input, at time.Time) (v pb.Verdict, until time.Time) {
	v = pb.Verdict_VERDICT_FIT
	if !in.Takeover.Whole(in.Latest) {
		v = pb.Verdict_VERDICT_UNPROVEN
	}
	for _, f := range in.Findings {
		if w := OfEffect(f.GetEffect()); w > v && !repaired(in.Defects, f) && !waiting(in.Defects, f, at) {
			v = w
		}
	}
	for _, d := range in.Defects {
		v = max(v, ofDefect(d, at))
		if edge := deferralEdge(d, at); !edge.IsZero() {
			until = sooner(until, edge, at)
		}
	}
	together(in, func(s *pb.DeferralSystem, _ []*pb.Defect) { v = max(v, OfEffect(s.GetTogether())) })
	return v, until
}

// foldSteps is Fold for the required steps alone.
func foldSteps(in *Input, at time.Time) (v pb.Verdict, until time.Time) {
	v = pb.Verdict_VERDICT_FIT
	if len(in.Required) == 0 {
		v = pb.Verdict_VERDICT_UNPROVEN // nothing proves it fit
	}
	p := newProver(in, at)
	for _, step := range in.Required {
		cause, edge := p.prove(step)
		switch {
		case cause != proven:
			v = pb.Verdict_VERDICT_UNPROVEN
		case until.IsZero() || edge.Before(until):
			until = edge
		}
	}
	return v, until
}

// OfEffect returns the verdict that a finding of this effect alone would give.
func OfEffect(e pb.Effect) pb.Verdict {
	switch e {
	case pb.Effect_EFFECT_NOTHING:
		return pb.Verdict_VERDICT_FIT
	case pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT:
		return pb.Verdict_VERDICT_RESTRICTED
	case pb.Effect_EFFECT_RESPONDING:
		return pb.Verdict_VERDICT_MOVE_ONLY
	case pb.Effect_EFFECT_MOVING:
		return pb.Verdict_VERDICT_UNFIT
	default: // a rule that could not be worked out, or a word of a later version
		return pb.Verdict_VERDICT_UNPROVEN
	}
}

// ofDefect returns the verdict that a defect alone would give at an instant.
func ofDefect(d *pb.Defect, at time.Time) pb.Verdict {
	switch {
	case isClosed(d):
		return pb.Verdict_VERDICT_FIT
	case isRectified(d) || len(d.GetFindings()) == 0:
		return pb.Verdict_VERDICT_UNPROVEN
	}
	v := pb.Verdict_VERDICT_FIT
	for _, f := range d.GetFindings() {
		v = max(v, OfEffect(f.GetEffect()))
	}
	if isDeferred(d) {
		return ofDeferred(d, v, at)
	}
	return v
}

func isClosed(d *pb.Defect) bool {
	return d.GetState() == pb.DefectState_DEFECT_STATE_CLOSED
}

func isRectified(d *pb.Defect) bool {
	return d.GetState() == pb.DefectState_DEFECT_STATE_RECTIFIED
}

// awaitsRelease tells that a vehicle was stopped because of a defect and repaired,
// and that nobody has released it.
func awaitsRelease(d *pb.Defect) bool { return isRectified(d) && d.GetStop() != nil }

// awaitsCheck tells that the step of a defect must be checked again after a repair.
func awaitsCheck(d *pb.Defect) bool { return isRectified(d) && d.GetStop() == nil }

// isOpen tells that a defect takes its effect. A state that nobody said counts as open.
func isOpen(d *pb.Defect) bool {
	return !isClosed(d) && !isRectified(d)
}

// repaired tells that a live finding is one that a rectified defect stands for.
func repaired(defects []*pb.Defect, f *pb.Finding) bool {
	for _, d := range defects {
		if isRectified(d) && isAbout(d, f) {
			return true
		}
	}
	return false
}

// isAbout tells that a live finding is the same thing as a defect: the same
// step, and the same fault or, where the finding names none, the same rule.
func isAbout(d *pb.Defect, f *pb.Finding) bool {
	if f.GetScope() != pb.RuleScope_RULE_SCOPE_RESULT || firstStep(f) != d.GetStepId() {
		return false
	}
	for _, known := range d.GetFindings() {
		if known.GetFault() != f.GetFault() {
			continue
		}
		if f.GetFault() != "" || known.GetRule() == f.GetRule() && known.GetPack() == f.GetPack() {
			return true
		}
	}
	return false
}

// firstStep returns the first step a finding looked at; empty when it names none.
func firstStep(f *pb.Finding) string {
	if ids := f.GetStepIds(); len(ids) > 0 {
		return ids[0]
	}
	return ""
}
