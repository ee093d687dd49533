package packtest

import (
	"slices"
	"strings"
	"testing"

	pb "bayround/proto/bayround/v1"
)

func TestPacks_EveryRuleNamesItsSource(t *testing.T) {
	least := map[string]int{policyPack: 715, annexPack: 150, gbPack: 45, usPack: 65}
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
		if r.GetNamesFault() == "" || !slices.ContainsFunc(rows, func(known row) bool { return known["fault_id"] == r.GetNamesFault() }) {
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
		values := r.GetScope() == pb.RuleScope_RULE_SCOPE_RESULT && len(r.GetFaults()) == 0 && !readsHistory(r)
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

// Where a law speaks of a fault that the driver sees, the service's policy takes
// away at least as much; and each law speaks of lamps, view, warning, brakes,
// steering and what must be carried.
func TestPolicy_IsNowhereLaxerThanALaw(t *testing.T) {
	d := ours(t)
	policy := d.judge(t, heavy(), policyPack)
	for pack, least := range map[string]int{gbPack: 60, usPack: 60} {
		law, spoken := d.judge(t, heavy(), pack), 0
		for _, r := range d.packs[pack].GetRules() {
			for _, fault := range r.GetFaults() {
				item := d.items[itemOf(fault)]
				o := showing(t, policy, asked(item), nil, strings.TrimPrefix(fault, item.GetId()+"-"))
				f := by(law.Result(o), r.GetId())
				if f == nil {
					continue // another count of the same fault
				}
				spoken++
				worst := pb.Effect_EFFECT_UNSPECIFIED
				for _, own := range policy.Result(o) {
					worst = max(worst, own.GetEffect())
				}
				if worst < f.GetEffect() && fault != "TYR-220-01" { // the reference's own: a hiss is heard before the tyre is flat
					t.Errorf("%s, %s: %v for %s; the policy says %v", pack, r.GetId(), f.GetEffect(), fault, worst)
				}
			}
		}
		if spoken < least {
			t.Errorf("%s speaks of %d faults, want %d at least", pack, spoken, least)
		}
		for _, fault := range []string{"LMP-060-01", "GLS-010-01", "GLS-040-01", "WRN-010-01", "BRK-010-01", "STR-010-01", "CAB-020-01"} {
			item := d.items[itemOf(fault)]
			if found := law.Result(showing(t, policy, asked(item), nil, strings.TrimPrefix(fault, item.GetId()+"-"))); len(ruleIDs(found)) == 0 {
				t.Errorf("%s says nothing of %s, %s", pack, fault, d.fault(t, fault).GetText())
			}
		}
	}
}

// Direction indicators flash 60 to 120 times a minute (flash-rates.csv: UN R48
// 6.5.9; GB annual test, 1.4 reason c), the annex's line is a quarter beyond;
// blue lamps flash 240 times at most (SAE J845). What is typed counts as it is;
// what is tapped counts against a lamp only where the taps are sure.
func TestFlashRates_PublishedLimits(t *testing.T) {
	d := ours(t)
	rows := table(t, "flash-rates.csv", 11)
	turn, warning := find(t, rows, row{"device": "direction indicator (UN)"}), find(t, rows, row{"device": "emergency optical warning device (SAE)"})
	least, most := turn.number(t, "min_per_minute"), turn.number(t, "max_per_minute")
	for _, tc := range []struct {
		pack, item, rule string
		limit            float64
		upper            bool
	}{
		{policyPack, "LMP-041", "LMP-041-01", least, false},
		{policyPack, "LMP-042", "LMP-042-02", most, true},
		{gbPack, "LMP-041", "flash-rate.too-slow", least, false},
		{gbPack, "LMP-042", "flash-rate.too-fast", most, true},
		{annexPack, "LMP-041", "4.4.4-1.LMP-041-01", least * 0.75, false},
		{annexPack, "LMP-042", "4.4.4-1.LMP-042-02", most * 1.25, true},
		{policyPack, "LMP-121", "LMP-121-02", warning.number(t, "max_per_minute"), true},
	} {
		j := d.judge(t, heavy(), tc.pack)
		for _, s := range around(tc.limit, 1) {
			beyond := tc.upper && s.name == "just above" || !tc.upper && s.name == "just below"
			o := read(step(d.items[tc.item]), s.value)
			if broken := by(j.Result(o), tc.rule) != nil; broken != beyond {
				t.Errorf("%s, %s %v a minute: %v", tc.rule, s.name, tc.limit, broken)
			}
			o.HasUncertainty, o.StandardUncertainty = true, 2 // a hand that taps along
			if found := j.Result(o); len(found) > 0 {
				t.Errorf("%s, %s %v a minute, tapped: %v", tc.rule, s.name, tc.limit, found)
			}
		}
	}
}
