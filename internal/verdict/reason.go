package verdict

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	pb "bayround/proto/bayround/v1"
)

// reason is one thing that keeps the verdict from being better, with what its
// place among the others depends on.
type reason struct {
	verdict  pb.Verdict
	grade    pb.Grade
	walk     int               // position of its first step in the walk; behind all for a step not required
	id       string            // to tell reasons apart that are alike in all else
	findings []*pb.Finding     // worst first; none for the unproven steps and for the record
	defect   *pb.Defect        // the open defect it is; nil for the others
	together []*pb.Defect      // the deferred defects it is about; nil for the others
	limits   []*pb.Restriction // beside those of the findings
	message  *pb.Reason
}

// walk is where the required steps stand, by id, and the instant it is looked at.
type walk struct {
	at     map[string]int
	titles []string
	now    time.Time
}

func newWalk(required []*pb.CheckStep, now time.Time) walk {
	w := walk{at: make(map[string]int, len(required)), titles: make([]string, len(required)), now: now}
	for i, step := range required {
		w.at[step.GetStepId()], w.titles[i] = i, step.GetTitle()
	}
	return w
}

// position returns where a step stands, behind all others when it is not required.
func (w walk) position(stepID string) int {
	if i, ok := w.at[stepID]; ok {
		return i
	}
	return len(w.titles)
}

// title returns the words for a step, its id when it is not required.
func (w walk) title(stepID string) string {
	if i, ok := w.at[stepID]; ok && w.titles[i] != "" {
		return w.titles[i]
	}
	return stepID
}

// compare puts steps in walking order; those not required follow by id.
func (w walk) compare(a, b string) int {
	return cmp.Or(cmp.Compare(w.position(a), w.position(b)), cmp.Compare(a, b))
}

// describe returns a finding in words, led by its step where it is about one
// required step and does not name it itself.
func (w walk) describe(f *pb.Finding) string {
	i, known := w.at[firstStep(f)]
	if !known || len(f.GetStepIds()) != 1 || w.titles[i] == "" || strings.Contains(f.GetText(), w.titles[i]) {
		return f.GetText()
	}
	return w.titles[i] + ": " + f.GetText()
}

// gather returns the reasons behind the findings, the defects and the record of an
// input, and the one behind unproven steps where there are any, worst first.
func gather(in *Input, w walk, unproven *pb.Unproven) []reason {
	var reasons []reason
	live := make([][]*pb.Finding, len(in.Defects)) // live findings that a defect stands for
	for _, f := range in.Findings {
		if i := slices.IndexFunc(in.Defects, func(d *pb.Defect) bool { return !isClosed(d) && isAbout(d, f) }); i >= 0 {
			live[i] = append(live[i], f)
			continue
		}
		reasons = append(reasons, ofFinding(f, w))
	}
	for i, d := range in.Defects {
		switch {
		case isOpen(d):
			reasons = append(reasons, ofOpenDefect(d, live[i], w))
		case awaitsRelease(d):
			reasons = append(reasons, ofUnreleased(d, w))
		}
	}
	together(in, func(s *pb.DeferralSystem, on []*pb.Defect) { reasons = append(reasons, ofTogether(s, on, w)) })
	if unproven != nil {
		reasons = append(reasons, ofUnproven(unproven, w))
	}
	if in.Record != nil {
		reasons = append(reasons, ofRecord(in.Record))
	}
	slices.SortFunc(reasons, compareReasons)
	return reasons
}

func compareReasons(a, b reason) int {
	return cmp.Or(
		cmp.Compare(b.verdict, a.verdict),
		cmp.Compare(b.grade, a.grade),
		cmp.Compare(a.walk, b.walk),
		cmp.Compare(a.message.GetText(), b.message.GetText()),
		cmp.Compare(a.id, b.id),
	)
}

// ofFinding makes the reason of a live finding that no open defect stands for.
func ofFinding(f *pb.Finding, w walk) reason {
	v := OfEffect(f.GetEffect())
	return reason{
		verdict: v, grade: f.GetGrade(), walk: w.position(firstStep(f)), id: f.GetFindingId(), findings: []*pb.Finding{f},
		message: &pb.Reason{Verdict: v, Text: w.describe(f), Cause: &pb.Reason_Finding{Finding: f}},
	}
}

// ofOpenDefect makes the reason of an open defect and the live findings it stands for.
func ofOpenDefect(d *pb.Defect, live []*pb.Finding, w walk) reason {
	findings := slices.Concat(d.GetFindings(), live)
	slices.SortFunc(findings, compareFindings)
	findings = slices.CompactFunc(findings, func(a, b *pb.Finding) bool { return compareFindings(a, b) == 0 })
	r := reason{
		verdict: ofDefect(d, w.now), walk: w.position(d.GetStepId()), id: d.GetName(), findings: findings, defect: d,
		message: &pb.Reason{Text: w.title(d.GetStepId()) + ": a defect of which nobody knows what was found", Cause: &pb.Reason_Defect{Defect: d.GetName()}},
	}
	if len(findings) > 0 {
		for _, f := range live {
			if !waits(d, w.now) || !covers(d.GetDeferral(), f) {
				r.verdict = max(r.verdict, OfEffect(f.GetEffect()))
			}
		}
		r.grade = findings[0].GetGrade()
		r.message.Text = w.describe(findings[0])
	}
	if isDeferred(d) {
		r.limits = d.GetDeferral().GetRestrictions()
		r.message.Text = sayDeferral(r.message.GetText(), d, w.now)
	}
	if d.GetRepeats() > 0 {
		r.message.Text += " A repeat: it was put right before."
	}
	if d.GetTimesFound() > 1 {
		r.message.Text += fmt.Sprintf(" (found %d times)", d.GetTimesFound())
	}
	r.message.Verdict = r.verdict
	return r
}

// ofUnreleased makes the reason of a stopped vehicle that was repaired.
func ofUnreleased(d *pb.Defect, w walk) reason {
	v := ofDefect(d, w.now)
	return reason{
		verdict: v, walk: w.position(d.GetStepId()), id: d.GetName(), defect: d,
		message: &pb.Reason{
			Verdict: v, Cause: &pb.Reason_Defect{Defect: d.GetName()},
			Text: strings.Join(saidDefects([]*pb.Defect{d}, w), "") + ". It is repaired; a second person must check it again and release the vehicle.",
		},
	}
}

// compareFindings puts the worst first and is total over findings that differ
// in what is shown of them.
func compareFindings(a, b *pb.Finding) int {
	return cmp.Or(
		cmp.Compare(OfEffect(b.GetEffect()), OfEffect(a.GetEffect())),
		cmp.Compare(b.GetGrade(), a.GetGrade()),
		cmp.Compare(a.GetPack(), b.GetPack()),
		cmp.Compare(a.GetRule(), b.GetRule()),
		cmp.Compare(a.GetFindingId(), b.GetFindingId()),
		cmp.Compare(a.GetText(), b.GetText()),
	)
}

// compareDefects puts the worst first; a repaired one stands behind an open one that is as bad.
func (w walk) compareDefects(a, b *pb.Defect) int {
	return cmp.Or(
		cmp.Compare(ofDefect(b, w.now), ofDefect(a, w.now)),
		compareClaims(isRectified(a), isRectified(b)),
		cmp.Compare(worstGrade(b), worstGrade(a)),
		w.compareByPlace(a, b),
	)
}

// compareByPlace puts defects in walking order.
func (w walk) compareByPlace(a, b *pb.Defect) int {
	return cmp.Or(w.compare(a.GetStepId(), b.GetStepId()), cmp.Compare(a.GetName(), b.GetName()))
}

// compareClaims puts what is not so first.
func compareClaims(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return 1
	}
	return -1
}

func worstGrade(d *pb.Defect) (worst pb.Grade) {
	for _, f := range d.GetFindings() {
		worst = max(worst, f.GetGrade())
	}
	return worst
}

// restrictions returns the limits of all reasons, each once, those of the worst reason first.
func restrictions(reasons []reason) []*pb.Restriction {
	type limit struct {
		kind pb.RestrictionKind
		text string
		kmh  float64
	}
	seen := map[limit]bool{}
	var limits []*pb.Restriction
	take := func(some []*pb.Restriction) {
		for _, l := range some {
			key := limit{l.GetKind(), l.GetText(), l.GetSpeedKmh()}
			if !seen[key] {
				seen[key] = true
				limits = append(limits, l)
			}
		}
	}
	for _, r := range reasons {
		for _, f := range r.findings {
			take(f.GetRestrictions())
		}
		take(r.limits)
	}
	return limits
}

// capabilities returns what the vehicle is configured to be able to do, in that
// order, and what takes it away.
func capabilities(v *pb.VehicleConfiguration, reasons []reason, w walk) []*pb.CapabilityState {
	states := make([]*pb.CapabilityState, 0, len(v.GetCapabilities()))
	for _, capability := range v.GetCapabilities() {
		state := &pb.CapabilityState{Capability: capability, Available: true}
		for _, r := range reasons {
			for _, f := range r.findings {
				if !slices.Contains(f.GetCapabilitiesLost(), capability) {
					continue
				}
				state.Available = false
				if why := w.describe(f); !slices.Contains(state.GetLostBecause(), why) {
					state.LostBecause = append(state.LostBecause, why)
				}
			}
		}
		states = append(states, state)
	}
	return states
}
