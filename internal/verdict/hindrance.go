package verdict

import (
	"slices"
	"time"

	pb "bayround/proto/bayround/v1"
)

// hindrance is one thing that holds the verdict back, and what takes it away.
// Findings about groups of steps are no hindrances of their own: what takes
// them away has to be searched.
type hindrance struct {
	verdict pb.Verdict
	step    string     // answering it is enough, unless a repair is needed
	repair  *pb.Defect // needs this repair; nil when an answer is enough
	endless bool       // nothing takes it away
}

// hindrances returns what holds the verdict back, worst first, and every open
// defect that only a repair closes, by its step.
func hindrances(in *Input, at time.Time) (all []hindrance, repairs map[string][]*pb.Defect) {
	repairs = map[string][]*pb.Defect{}
	w := newWalk(in.Required, at)
	for _, r := range gather(in, w, nil) {
		if len(r.together) > 0 {
			all = append(all, ofAllButOne(r)...)
			continue
		}
		if h, ok := ofReason(r); ok {
			all = append(all, h)
			if h.repair != nil {
				repairs[h.step] = append(repairs[h.step], h.repair)
			}
		}
	}
	unproven := findUnproven(in, newProver(in, at), w)
	for _, s := range unproven.GetSteps() {
		all = append(all, hindrance{verdict: pb.Verdict_VERDICT_UNPROVEN, step: s.GetStepId()})
	}
	if len(in.Required) == 0 {
		all = append(all, hindrance{verdict: pb.Verdict_VERDICT_UNPROVEN, endless: true})
	}
	return all, repairs
}

// ofAllButOne returns the hindrances behind deferrals that count together: when one
// is left it counts by itself. The first on the walk is left.
func ofAllButOne(r reason) (all []hindrance) {
	for _, d := range r.together[1:] {
		h := hindrance{verdict: r.verdict, step: d.GetStepId()}
		if !recheckCloses(d) {
			h.repair = d
		}
		all = append(all, h)
	}
	return all
}

// ofReason returns the hindrance behind the reason of a finding, a defect or the
// record; false for a finding about a group.
func ofReason(r reason) (hindrance, bool) {
	h := hindrance{verdict: r.verdict}
	if r.message.GetRecord() != nil {
		h.endless = true // nothing that can be done at the vehicle
		return h, true
	}
	if r.defect != nil {
		h.step = r.defect.GetStepId()
		if !recheckCloses(r.defect) {
			h.repair = r.defect
		}
		return h, true
	}
	f := r.findings[0]
	h.step = firstStep(f)
	h.endless = h.step == ""
	return h, f.GetScope() == pb.RuleScope_RULE_SCOPE_RESULT
}

// recheckCloses tells that a sound answer later is enough to close a defect.
func recheckCloses(d *pb.Defect) bool {
	return len(d.GetFindings()) > 0 && !slices.ContainsFunc(d.GetFindings(), func(f *pb.Finding) bool { return !f.GetRecheckCloses() })
}
