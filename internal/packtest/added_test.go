package packtest

import (
	"slices"
	"strings"
	"testing"

	pb "bayround/proto/bayround/v1"
)

// added are the faults that the fault catalogue of the reference does not have and
// that can be seen: they tell apart what the annex tells apart.
func added(t *testing.T, d *defaults) (faults []string) {
	t.Helper()
	reference := map[string]bool{}
	for _, r := range table(t, "fault-catalogue.csv", 715) {
		reference[r["fault_id"]] = true
	}
	answerable := d.answerable()
	for _, id := range d.itemIDs() {
		for _, f := range d.items[id].GetFaults() {
			if !reference[f.GetId()] && answerable[f.GetId()] {
				faults = append(faults, f.GetId())
			}
		}
	}
	return faults
}

// A fault that was added for the annex fires one rule of the policy and one of the
// annex; no dangerous one may wait, and one that limits says how.
func TestAdded_PolicyAndAnnexSpeakOfEveryFaultOnce(t *testing.T) {
	d := ours(t)
	policy, annex := d.judge(t, heavy(), policyPack), d.judge(t, heavy(), annexPack)
	faults := added(t, d)
	if len(faults) != 172 {
		t.Fatalf("%d faults are added, this test knows 172", len(faults))
	}
	for _, fault := range faults {
		item := d.items[itemOf(fault)]
		o := showing(t, policy, asked(item), nil, strings.TrimPrefix(fault, item.GetId()+"-"))
		found := policy.Result(o)
		if len(found) != 1 || found[0].GetFault() != fault {
			t.Errorf("%s sets off %v of the policy, want one rule", fault, ruleIDs(found))
			continue
		}
		f := found[0]
		if dangerous := f.GetGrade() == pb.Grade_GRADE_DANGEROUS; dangerous && f.GetLongestDeferralDays() != 0 || f.GetDecider() == "" {
			t.Errorf("%s: %v for %d days, decided by %q", fault, f.GetGrade(), f.GetLongestDeferralDays(), f.GetDecider())
		}
		if graded := annex.Result(o); !slices.ContainsFunc(graded, func(g *pb.Finding) bool { return g.GetFault() == fault }) {
			t.Errorf("%s sets off %v of the annex", fault, ruleIDs(graded))
		}
	}
}
