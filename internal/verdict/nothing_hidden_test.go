package verdict_test

import (
	"maps"
	"slices"
	"testing"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"

	"pgregory.net/rapid"
)

// TestOf_HidesNothing checks from the outside, by the words of the model, that
// every cause has its reason and the worst of them is the verdict.
func TestOf_HidesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, at := drawInput(t), drawInstant(t, "at")
		r := verdict.Of(in, at)
		worst := pb.Verdict_VERDICT_FIT
		reasons := map[string]int{}
		for i, reason := range r.GetReasons() {
			worst = max(worst, reason.GetVerdict())
			if i > 0 && reason.GetVerdict() > r.GetReasons()[i-1].GetVerdict() {
				t.Errorf("reason %d is worse than the one before it", i)
			}
			if reason.GetText() == "" {
				t.Errorf("reason %d has no words: %v", i, reason)
			}
			reasons[reason.GetFinding().GetFindingId()+reason.GetDefect()]++
		}
		if r.GetVerdict() != worst {
			t.Errorf("verdict %v, but the worst reason is %v", r.GetVerdict(), worst)
		}
		for _, d := range in.Defects {
			if takesEffect(d) != (reasons[d.GetName()] == 1) {
				t.Errorf("defect %v (%v) has %d reasons", d.GetName(), d.GetState(), reasons[d.GetName()])
			}
		}
		for _, f := range in.Findings {
			if standsFor := defectOf(in, f); (standsFor == nil) != (reasons[f.GetFindingId()] == 1) {
				t.Errorf("finding %v has %d reasons beside its defect %v", f.GetFindingId(), reasons[f.GetFindingId()], standsFor.GetName())
			}
		}
		checkGathered(t, in, r)
	})
}

// takesEffect tells that a defect is neither closed nor repaired.
func takesEffect(d *pb.Defect) bool {
	return d.GetState() != pb.DefectState_DEFECT_STATE_CLOSED && d.GetState() != pb.DefectState_DEFECT_STATE_RECTIFIED
}

// defectOf returns the defect, not closed, that is the same thing as a finding.
func defectOf(in *verdict.Input, f *pb.Finding) *pb.Defect {
	for _, d := range in.Defects {
		known := d.GetFindings()[0]
		sameFault := f.GetFault() != "" && known.GetFault() == f.GetFault()
		sameRule := f.GetFault() == "" && known.GetFault() == "" && known.GetRule() == f.GetRule() && known.GetPack() == f.GetPack()
		if d.GetState() != pb.DefectState_DEFECT_STATE_CLOSED && f.GetScope() == pb.RuleScope_RULE_SCOPE_RESULT &&
			d.GetStepId() == f.GetStepIds()[0] && (sameFault || sameRule) {
			return d
		}
	}
	return nil
}

// checkGathered checks that limits and lost capabilities are those of everything that counts.
func checkGathered(t *rapid.T, in *verdict.Input, r *pb.Readiness) {
	t.Helper()
	var counting []*pb.Finding
	for _, f := range in.Findings {
		if d := defectOf(in, f); d == nil || takesEffect(d) {
			counting = append(counting, f)
		}
	}
	for _, d := range in.Defects {
		if takesEffect(d) {
			counting = append(counting, d.GetFindings()...)
		}
	}
	limits, lost := map[string]bool{}, map[string]bool{}
	for _, f := range counting {
		for _, l := range f.GetRestrictions() {
			limits[l.GetText()] = true
		}
		for _, c := range f.GetCapabilitiesLost() {
			lost[c] = true
		}
	}
	for _, d := range in.Defects {
		for _, l := range d.GetDeferral().GetRestrictions() {
			limits[l.GetText()] = limits[l.GetText()] || takesEffect(d)
		}
	}
	maps.DeleteFunc(limits, func(_ string, counts bool) bool { return !counts })
	for _, l := range r.GetRestrictions() {
		if !limits[l.GetText()] {
			t.Errorf("limit %q is shown twice or comes from nowhere", l.GetText())
		}
		delete(limits, l.GetText())
	}
	if len(limits) > 0 {
		t.Errorf("limits not shown: %v", limits)
	}
	for _, c := range r.GetCapabilities() {
		if c.GetAvailable() == lost[c.GetCapability()] || c.GetAvailable() == (len(c.GetLostBecause()) > 0) {
			t.Errorf("capability %v, but findings take %v", c, lost)
		}
	}
	if len(r.GetCapabilities()) != len(in.Vehicle.GetCapabilities()) {
		t.Errorf("%d capabilities shown of %d", len(r.GetCapabilities()), len(in.Vehicle.GetCapabilities()))
	}
}

func TestOf_OrderOfInputChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, at := drawInput(t), drawInstant(t, "at")
		want := bytesOf(t, verdict.Of(in, at))
		shuffled := *in
		shuffled.Findings = rapid.Permutation(in.Findings).Draw(t, "findings shuffled")
		shuffled.Defects = rapid.Permutation(in.Defects).Draw(t, "defects shuffled")
		shuffled.Undone = rapid.Permutation(in.Undone).Draw(t, "undone shuffled")
		shuffled.Rounds = rapid.Permutation(in.Rounds).Draw(t, "rounds shuffled")
		if got := bytesOf(t, verdict.Of(&shuffled, at)); got != want {
			t.Error("the same things in another order give another readiness")
		}
	})
}

// TestOf_OrderOfStepsIsOnlyTheWalk: the required steps in another order are
// another walk, and the same judgement.
func TestOf_OrderOfStepsIsOnlyTheWalk(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, at := drawInput(t), drawInstant(t, "at")
		shuffled := *in
		shuffled.Required = rapid.Permutation(in.Required).Draw(t, "steps shuffled")
		a, b := verdict.Of(in, at), verdict.Of(&shuffled, at)
		if a.GetVerdict() != b.GetVerdict() || !a.GetUntil().AsTime().Equal(b.GetUntil().AsTime()) || len(a.GetReasons()) != len(b.GetReasons()) {
			t.Errorf("%v until %v with %d reasons became %v until %v with %d", a.GetVerdict(), a.GetUntil(), len(a.GetReasons()),
				b.GetVerdict(), b.GetUntil(), len(b.GetReasons()))
		}
		if x, y := unprovenIDs(a), unprovenIDs(b); !slices.Equal(x, y) {
			t.Errorf("unproven steps %v became %v", x, y)
		}
	})
}

func unprovenIDs(r *pb.Readiness) []string {
	var ids []string
	for _, reason := range r.GetReasons() {
		for _, s := range reason.GetUnproven().GetSteps() {
			ids = append(ids, s.GetStepId())
		}
	}
	slices.Sort(ids)
	return ids
}
