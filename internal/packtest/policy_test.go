package packtest

import (
	"slices"
	"strings"
	"testing"

	pb "bayround/proto/bayround/v1"
)

func TestPacks_EveryRuleNamesItsSource(t *testing.T) {
	least := map[string]int{policyPack: 715, annexPack: 150, gbPack: 15, usPack: 25}
	d := ours(t)
	for name, want := range least {
		p := d.packs[name]
		if len(p.GetRules()) < want {
			t.Errorf("%s has %d rules, want at least %d", name, len(p.GetRules()), want)
		}
		for _, r := range p.GetRules() {
			status := r.GetSource().GetStatus()
			if r.GetSource().GetClause() == "" || (status == pb.SourceStatus_SOURCE_STATUS_SERVICE_POLICY) != (name == policyPack) {
				t.Errorf("%s, %s: clause %q with status %v", name, r.GetId(), r.GetSource().GetClause(), status)
			}
		}
	}
	if len(d.packs) != len(least) {
		t.Errorf("%d packs come with Bayround, %d are tested", len(d.packs), len(least))
	}
}

// A fault that is seen, by itself or beside a value, fires exactly one rule of the
// policy; one that only a value can show is named by a rule on values.
func TestPolicy_SpeaksOfEveryFaultOnce(t *testing.T) {
	d := ours(t)
	j := d.judge(t, heavy(), policyPack)
	answerable := d.answerable()
	for _, r := range table(t, "fault-catalogue.csv", 715) {
		fault := r["fault_id"]
		if !answerable[fault] {
			if speaks := speaking(d, fault); len(speaks) == 0 {
				t.Errorf("no rule speaks of %s, %s", fault, r["fault"])
			}
			continue
		}
		item := d.items[itemOf(fault)]
		found := j.Result(showing(t, j, asked(item), nil, strings.TrimPrefix(fault, item.GetId()+"-")))
		if len(found) != 1 || found[0].GetFault() != fault {
			t.Errorf("%s set off %v, want one rule", fault, ruleIDs(found))
			continue
		}
		checkAgainstTable(t, r, found[0])
	}
}

// speaking lists the policy's rules that stand for a fault.
func speaking(d *defaults, fault string) (rules []*pb.Rule) {
	for _, r := range d.packs[policyPack].GetRules() {
		if r.GetNamesFault() == fault || slices.Contains(r.GetFaults(), fault) {
			rules = append(rules, r)
		}
	}
	return rules
}

// checkAgainstTable holds a finding to the fault catalogue's own grade, effect
// and deferral.
func checkAgainstTable(t *testing.T, r row, f *pb.Finding) {
	t.Helper()
	effect := map[string]pb.Effect{
		"respond": pb.Effect_EFFECT_NOTHING, "respond_with_limits": pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT,
		"drive_only": pb.Effect_EFFECT_RESPONDING, "stay_put": pb.Effect_EFFECT_MOVING,
	}[r["effect"]]
	if f.GetGrade() != gradeNamed(t, r["grade"]) || f.GetEffect() != effect {
		t.Errorf("%s is %v, %v; the table says %s, %s", f.GetFault(), f.GetGrade(), f.GetEffect(), r["grade"], r["effect"])
	}
	if float64(f.GetLongestDeferralDays()) != r.number(t, "max_defer_days") {
		t.Errorf("%s may wait %d days; the table says %s", f.GetFault(), f.GetLongestDeferralDays(), r["max_defer_days"])
	}
	if (r["capability_lost"] != "") != (len(f.GetCapabilitiesLost()) > 0) {
		t.Errorf("%s takes %v; the table says %q", f.GetFault(), f.GetCapabilitiesLost(), r["capability_lost"])
	}
	if r["limits_while_deferred"] != "" && len(f.GetRestrictions()) == 0 {
		t.Errorf("%s has no limit; the table says %q", f.GetFault(), r["limits_while_deferred"])
	}
}

// A rule on values has at least the grade and effect that the fault catalogue
// gives the fault it names.
func TestPolicy_ValueRulesAreAsStrictAsTheFaultTheyName(t *testing.T) {
	d := ours(t)
	rows := table(t, "fault-catalogue.csv", 715)
	named := 0
	for _, r := range d.packs[policyPack].GetRules() {
		if r.GetNamesFault() == "" {
			continue
		}
		named++
		want := find(t, rows, row{"fault_id": r.GetNamesFault()})
		if r.GetGrade() < gradeNamed(t, want["grade"]) {
			t.Errorf("%s is %v; the table says %s", r.GetId(), r.GetGrade(), want["grade"])
		}
		if r.GetGrade() == gradeNamed(t, want["grade"]) && r.GetScope() == pb.RuleScope_RULE_SCOPE_RESULT {
			checkAgainstTable(t, want, &pb.Finding{
				Fault: r.GetNamesFault(), Grade: r.GetGrade(), Effect: r.GetEffect(), Restrictions: r.GetRestrictions(),
				CapabilitiesLost: r.GetCapabilitiesLost(), LongestDeferralDays: r.GetLongestDeferralDays(),
			})
		}
	}
	if named < 100 {
		t.Errorf("only %d rules name a fault", named)
	}
}

// The limit rules of the item catalogue read "first match wins": never do two
// rules of the policy speak of one value, and each speaks of some value.
func TestPolicy_ValueRulesExcludeEachOtherAndAllFire(t *testing.T) {
	d := ours(t)
	fired := map[string]bool{}
	for _, v := range []*pb.VehicleConfiguration{heavy(), light()} {
		j := d.judge(t, v, policyPack)
		for _, id := range d.itemIDs() {
			for _, o := range sweep(d.items[id]) {
				found := j.Result(o)
				if len(found) > 1 {
					t.Fatalf("%s at %v sets off %v", id, o.GetResult(), found)
				}
				for _, f := range found {
					if undecided(f) {
						continue
					}
					if f.GetEffect() == pb.Effect_EFFECT_UNSPECIFIED {
						t.Fatalf("%s at %v: %s", id, o.GetResult(), f.GetText())
					}
					fired[f.GetRule()] = true
				}
			}
		}
	}
	for _, r := range d.packs[policyPack].GetRules() {
		values := r.GetScope() == pb.RuleScope_RULE_SCOPE_RESULT && len(r.GetFaults()) == 0
		if values && !fired[r.GetId()] {
			t.Errorf("%s: no value sets it off", r.GetId())
		}
	}
}

func TestPacks_SoundConditionsSetNothingOff(t *testing.T) {
	d := ours(t)
	j := d.judge(t, heavy(), policyPack, annexPack, gbPack, usPack)
	looked := 0
	for _, id := range d.itemIDs() {
		for _, c := range d.items[id].GetConditions() {
			if !c.GetSound() {
				continue
			}
			looked++
			if found := j.Result(seen(step(d.items[id]), nil, c.GetId())); len(found) > 0 {
				t.Errorf("%s, %s, sets off %v", id, c.GetText(), ruleIDs(found))
			}
		}
	}
	if looked < 150 {
		t.Errorf("only %d sound conditions were tried", looked)
	}
}

// A pump that knows its usual pressure is judged by it (item catalogue, limit
// rule of PMP-030: 0.9 and 0.75 of usual).
func TestPolicy_PumpPressureIsJudgedByTheUsualOne(t *testing.T) {
	d := ours(t)
	j := d.judge(t, heavy(), policyPack)
	for _, tc := range []struct {
		kilopascals float64
		want        string
	}{{1000, ""}, {900, ""}, {899, "PMP-030-02"}, {750, "PMP-030-02"}, {749, "PMP-030-01"}} {
		got := strings.Join(ruleIDs(j.Result(read(step(d.items["PMP-030"], aimedAt(1000)), tc.kilopascals))), " ")
		if got != tc.want {
			t.Errorf("%v kPa of 1000 sets off %q, want %q", tc.kilopascals, got, tc.want)
		}
	}
}
