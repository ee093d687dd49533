package packtest

import (
	"slices"
	"strings"
	"testing"

	pb "bayround/proto/bayround/v1"
)

// statuses are what the coverage table may say of a row of the annex.
var statuses = []string{"covered", "needs tools or lifting: out of scope", "not for this vehicle category"}

// codes are the rows of the annex a rule's clause names.
func codes(r *pb.Rule) []string {
	return strings.Split(strings.TrimPrefix(r.GetSource().GetClause(), "Annex I, "), "; ")
}

// Every row of Directive 2014/45/EU, Annex I, point 3 (the table's source
// column), is accounted for, in the table's order.
func TestAnnex_EveryRowIsAccountedFor(t *testing.T) {
	annex, coverage := table(t, "eu-2014-45-annex.csv", 394), table(t, "eu-annex-coverage.csv", 394)
	if len(annex) != len(coverage) {
		t.Fatalf("%d rows of the annex, %d of the coverage", len(annex), len(coverage))
	}
	covered := 0
	for i, c := range coverage {
		if c["code"] != annex[i]["code"] || gradeNamed(t, c["grade"]) != annexGrade(t, annex[i]) {
			t.Errorf("row %d: %s %s, the annex has %s %v", i, c["code"], c["grade"], annex[i]["code"], annexGrade(t, annex[i]))
		}
		if !slices.Contains(statuses, c["status"]) {
			t.Errorf("%s: status %q", c["code"], c["status"])
		}
		if isCovered := c["status"] == "covered"; isCovered {
			covered++
		} else if c["why"] == "" {
			t.Errorf("%s is %s and does not say why", c["code"], c["status"])
		}
	}
	if covered != 288 {
		t.Errorf("%d rows are covered, want 288", covered)
	}
}

// The pack and the coverage table say the same: each rule stands in the rows its
// clause names, with the annex's grade; a row has rules where it is covered.
func TestAnnex_PackAndCoverageAgree(t *testing.T) {
	d := ours(t)
	annex := table(t, "eu-2014-45-annex.csv", 394)
	ids := map[string][]string{}
	for _, r := range d.packs[annexPack].GetRules() {
		for _, code := range codes(r) {
			ids[code] = append(ids[code], r.GetId())
			if want := annexGrade(t, find(t, annex, row{"code": code})); r.GetGrade() != want {
				t.Errorf("%s is %v; the annex grades %s %v", r.GetId(), r.GetGrade(), code, want)
			}
		}
	}
	for _, c := range table(t, "eu-annex-coverage.csv", 394) {
		listed := strings.Fields(c["rules"])
		slices.Sort(listed)
		slices.Sort(ids[c["code"]])
		if !slices.Equal(listed, ids[c["code"]]) {
			t.Errorf("%s lists %v, the pack has %v", c["code"], listed, ids[c["code"]])
		}
		if (len(listed) > 0) != (c["status"] == "covered") {
			t.Errorf("%s is %s and lists %v", c["code"], c["status"], listed)
		}
	}
}

// Every covered row fires on a made answer, with the annex's grade, and the
// service's policy is never laxer on the same answer (job map, A13: none laxer).
func TestAnnex_EveryCoveredRowFires(t *testing.T) {
	d := ours(t)
	answerable := d.answerable()
	annex := table(t, "eu-2014-45-annex.csv", 394)
	fired := map[string]bool{}
	for _, r := range d.packs[annexPack].GetRules() {
		for _, fault := range r.GetFaults() {
			if !answerable[fault] {
				t.Errorf("%s waits for %s, which no answer can show", r.GetId(), fault)
				continue
			}
			fireFault(t, d, r, fault)
			fired[r.GetId()] = true
		}
		if len(r.GetFaults()) == 0 && r.GetScope() == pb.RuleScope_RULE_SCOPE_RESULT {
			fireValue(t, d, r)
			fired[r.GetId()] = true
		}
	}
	for id, found := range fireTogether(t, d) {
		fired[id] = true
		want := annexGrade(t, find(t, annex, row{"code": codes(d.rule(t, annexPack, id))[0]}))
		if f := by(found, id); f == nil || f.GetGrade() != want {
			t.Errorf("%s did not fire as %v: %v", id, want, ruleIDs(found))
		}
	}
	for _, c := range table(t, "eu-annex-coverage.csv", 394) {
		if c["status"] == "covered" && !slices.ContainsFunc(strings.Fields(c["rules"]), func(id string) bool { return fired[id] }) {
			t.Errorf("%s is covered, and nothing made it fire", c["code"])
		}
	}
}

// vehicleAndCounts are the ways an answer is made: a heavy vehicle with diodes
// and a light one with bulbs; no count, a few of many, all, some nuts.
func vehicleAndCounts() ([]*pb.VehicleConfiguration, []*pb.Count) {
	return []*pb.VehicleConfiguration{heavy(), light()},
		[]*pb.Count{nil, {Affected: 3, Of: 24}, {Affected: 24, Of: 24}, {Affected: 1, Of: 2}, {Affected: 2, Of: 10}}
}

// fireFault sets a rule off by its fault and holds the policy against it.
func fireFault(t *testing.T, d *defaults, r *pb.Rule, fault string) {
	t.Helper()
	vehicles, counts := vehicleAndCounts()
	item := d.items[itemOf(fault)]
	ok := false
	for _, v := range vehicles {
		j := d.judge(t, v, annexPack, policyPack)
		for _, count := range counts {
			o := showing(t, j, asked(item), count, strings.TrimPrefix(fault, item.GetId()+"-"))
			ok = holdAgainst(t, r, j.Result(o)) || ok
		}
	}
	if !ok {
		t.Errorf("%s: %s does not set it off", r.GetId(), fault)
	}
}

// fireValue sets a rule off by some value of its item.
func fireValue(t *testing.T, d *defaults, r *pb.Rule) {
	t.Helper()
	ok := false
	for _, v := range []*pb.VehicleConfiguration{heavy(), light()} {
		j := d.judge(t, v, annexPack, policyPack)
		for _, o := range sweep(d.items[r.GetItems()[0]]) {
			ok = holdAgainst(t, r, j.Result(o)) || ok
		}
	}
	if !ok {
		t.Errorf("%s: no value sets it off", r.GetId())
	}
}

// holdAgainst tells whether the rule fired, and fails when the policy's worst
// finding on the same answer has a lower grade or takes away less.
func holdAgainst(t *testing.T, r *pb.Rule, found []*pb.Finding) bool {
	t.Helper()
	fired := by(found, r.GetId())
	if fired == nil || fired.GetPack() != annexPack || fired.GetGrade() != r.GetGrade() {
		return false
	}
	grade, effect := pb.Grade_GRADE_UNSPECIFIED, pb.Effect_EFFECT_UNSPECIFIED
	for _, f := range found {
		if f.GetPack() == policyPack {
			grade, effect = max(grade, f.GetGrade()), max(effect, f.GetEffect())
		}
	}
	if grade < fired.GetGrade() || effect < fired.GetEffect() {
		t.Errorf("%s is %v, %v; the policy says only %v, %v", r.GetId(), fired.GetGrade(), fired.GetEffect(), grade, effect)
	}
	return true
}

// fireTogether makes the answers that only together set a rule off.
func fireTogether(t *testing.T, d *defaults) map[string][]*pb.Finding {
	t.Helper()
	v := heavy()
	v.Lamps = []*pb.Lamp{{Function: pb.LampFunction_LAMP_FUNCTION_STOP}, {Function: pb.LampFunction_LAMP_FUNCTION_STOP}}
	j := d.judge(t, v, annexPack)
	near, off := at("a", 2, pb.Side_SIDE_NEARSIDE), at("b", 2, pb.Side_SIDE_OFFSIDE)
	return map[string][]*pb.Finding{
		"2.3-2.felt": j.Groups([]*pb.Observation{
			read(step(d.items["CAB-140"]), 110), seen(step(d.items["BRK-030"]), nil, "02"),
		}),
		"3.3-a-2.counted": j.Groups([]*pb.Observation{
			seen(step(d.items["GLS-030"], near), nil, "01"), seen(step(d.items["GLS-031"], off), nil, "sound"),
		}),
		"4.3.1-a-3.lamp-by-lamp": j.Groups([]*pb.Observation{
			seen(step(d.items["LMP-060"], near), nil, "03"), seen(step(d.items["LMP-060"], off), nil, "03"),
		}),
	}
}

// Every match drawn by hand between a fault and a row of the annex is in the
// pack, with the grade written beside it; only free play is judged by the
// annex's own example instead (one fifth of the wheel), which is later.
func TestAnnex_EveryMatchDrawnByHandIsInThePack(t *testing.T) {
	d := ours(t)
	matched := 0
	for _, r := range table(t, "fault-catalogue.csv", 715) {
		if r["eu_code"] == "" {
			continue
		}
		matched++
		if strings.HasPrefix(r["fault_id"], "CAB-140-") {
			continue
		}
		if !slices.ContainsFunc(d.packs[annexPack].GetRules(), func(rule *pb.Rule) bool {
			return slices.Contains(codes(rule), r["eu_code"]) && rule.GetGrade() == gradeNamed(t, r["eu_grade"]) &&
				(rule.GetNamesFault() == r["fault_id"] || slices.Contains(rule.GetFaults(), r["fault_id"]))
		}) {
			t.Errorf("%s, %s: no rule of %s stands for it", r["fault_id"], r["fault"], r["eu_code"])
		}
	}
	if matched != 129 {
		t.Errorf("%d faults are matched, want 129", matched)
	}
}
