package round

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// findingWords is what a finding means, for instance
// "MAJOR · not to respond until put right: Nail in the tread."
func findingWords(f *pb.Finding) string {
	lead := effectWords(f.GetEffect())
	if grade := gradeWords(f.GetGrade()); grade != "" {
		lead = strings.ToUpper(grade) + " · " + lead
	}
	for _, r := range f.GetRestrictions() {
		lead += "; " + r.GetText()
	}
	if lost := f.GetCapabilitiesLost(); len(lost) > 0 {
		lead += "; without " + strings.Join(lost, ", ")
	}
	if f.GetText() == "" {
		return lead
	}
	return lead + ": " + f.GetText()
}

// worst is the finding that takes most away; nil when there is none.
func worst(findings []*pb.Finding) *pb.Finding {
	var w *pb.Finding
	for _, f := range findings {
		if w == nil || cmp.Or(cmp.Compare(verdict.OfEffect(f.GetEffect()), verdict.OfEffect(w.GetEffect())), cmp.Compare(f.GetGrade(), w.GetGrade())) > 0 {
			w = f
		}
	}
	return w
}

// sayDefect is a defect by the worst that was found.
func sayDefect(d *pb.Defect) string {
	f := worst(d.GetFindings())
	if f == nil {
		return d.GetStepId()
	}
	return strings.TrimSuffix(f.GetText(), ".")
}

// notCheckedMeaning is what it means for the vehicle that a step was not checked.
func notCheckedMeaning(ready *pb.Readiness, required bool, stepID string) string {
	for _, r := range ready.GetReasons() {
		if slices.ContainsFunc(r.GetUnproven().GetSteps(), func(u *pb.UnprovenStep) bool { return u.GetStepId() == stepID }) {
			return "not proven until somebody checks it"
		}
	}
	if required {
		return "an earlier answer still holds"
	}
	return "the verdict does not rest on it"
}

// waitWords say why the verdict is not the station's own; empty when it is.
func waitWords(l Link, now time.Time, zone *time.Location) string {
	var why []string
	switch {
	case l.Live:
	case l.Since.IsZero():
		why = append(why, "the station was not heard yet")
	default:
		why = append(why, "no connection since "+clockWords(l.Since, now, zone))
	}
	switch {
	case l.Pending == 1:
		why = append(why, "1 result waits to be sent")
	case l.Pending > 1:
		why = append(why, fmt.Sprintf("%d results wait to be sent", l.Pending))
	}
	if len(why) == 0 {
		return ""
	}
	return strings.Join(why, ", ")
}
