package station

import (
	"time"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// proofs remembers of each required step until when its answer proves
// something. An answer changes one step, and asking verdict about all of them
// for every answer would be most of the work of taking it. What is remembered
// is what verdict.Fold says of a step by itself, so the whole is what Fold
// says of all; a test holds them against each other.
type proofs struct {
	until  []time.Time // by place among the required steps; zero when it proves nothing
	anew   []string    // steps to be asked about again
	allNew bool        // all of them
}

// doubt has a step asked about again at the next fold.
func (p *proofs) doubt(stepID string) { p.anew = append(p.anew, stepID) }

// doubtAll has all steps asked about again.
func (p *proofs) doubtAll() { p.allNew = true }

// fold is verdict.Fold of the vehicle at an instant, which must not lie before
// that of the fold before.
func (v *vehicle) fold(at time.Time) (pb.Verdict, time.Time) {
	in := v.input()
	v.prove(in, at)
	worst, soonest := verdict.FoldFound(in, at)
	if len(in.Required) == 0 {
		worst = max(worst, pb.Verdict_VERDICT_UNPROVEN)
	}
	for _, until := range v.proofs.until {
		if !until.After(at) {
			worst = max(worst, pb.Verdict_VERDICT_UNPROVEN)
		} else if soonest.IsZero() || until.Before(soonest) {
			soonest = until
		}
	}
	return worst, soonest
}

// prove asks about the steps in doubt.
func (v *vehicle) prove(in *verdict.Input, at time.Time) {
	p := &v.proofs
	if p.allNew {
		p.until = make([]time.Time, len(in.Required))
		for place := range in.Required {
			p.until[place] = proofOf(in, place, at)
		}
	} else {
		for _, id := range p.anew {
			if place, required := v.model.places[id]; required {
				p.until[place] = proofOf(in, place, at)
			}
		}
	}
	p.anew, p.allNew = p.anew[:0], false
}

// proofOf asks about one required step: with no other step and no finding in
// the way, it is proven until the verdict changes by itself.
func proofOf(in *verdict.Input, place int, at time.Time) time.Time {
	alone := verdict.Input{Required: in.Required[place : place+1], Latest: in.Latest, Defects: rectifiedAt(in, in.Required[place].GetStepId())}
	_, until := verdict.Fold(&alone, at)
	return until
}

// rectifiedAt picks the defects that a repair has left unproven at a step.
func rectifiedAt(in *verdict.Input, stepID string) []*pb.Defect {
	var found []*pb.Defect
	for _, d := range in.Defects {
		if d.GetStepId() == stepID && d.GetState() == pb.DefectState_DEFECT_STATE_RECTIFIED {
			found = append(found, d)
		}
	}
	return found
}
