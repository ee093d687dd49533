package main

import (
	"strings"
	"testing"

	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
)

func TestPacksDoc_EveryRuleAppearsWithItsSource(t *testing.T) {
	printed := must(t, "packs", "doc", "--builtin")
	_, packs, err := builtinPacks(nil)
	if err != nil {
		t.Fatal(err)
	}
	sections := map[string]int{} // how often a rule's heading stands there
	for _, section := range strings.Split(printed, "\n### ")[1:] {
		heading, body, _ := strings.Cut(section, "\n")
		sections[heading]++
		requireIn(t, body, "- Looks at: ", "- Met when: ", "- Grade and effect: ", "- Source: ")
	}
	rules := map[string]int{}
	for _, pack := range packs {
		for _, rule := range pack.GetRules() {
			rules[rule.GetId()]++
			requireIn(t, printed, rule.GetText(), sourceOf(rule.GetSource()))
			for _, limit := range rule.GetRestrictions() {
				requireIn(t, printed, "- Limit while it lasts: "+limit.GetText())
			}
		}
	}
	if len(rules) == 0 {
		t.Fatal("the program brings no rule")
	}
	for id, times := range rules {
		if sections[id] != times {
			t.Errorf("rule %s stands there %d times, want %d", id, sections[id], times)
		}
	}
	for id := range sections {
		if rules[id] == 0 {
			t.Errorf("%q is no rule", id)
		}
	}
}

func TestPacksDoc_HeadingsComeOnceInTheOrderOfTheWalk(t *testing.T) {
	printed := must(t, "packs", "doc", "--builtin", "wendmoor-policy")
	seen := map[string]bool{}
	for _, line := range strings.Split(printed, "\n") {
		if heading, ok := strings.CutPrefix(line, "## "); ok {
			if seen[heading] {
				t.Errorf("%q stands there twice", heading)
			}
			seen[heading] = true
		}
	}
	if strings.Index(printed, "## Before touching the vehicle") > strings.Index(printed, "## Front") {
		t.Error("the front comes before what is done before touching the vehicle")
	}
}

func TestPacksDoc_AsksTheStationOrTheProgram(t *testing.T) {
	s := filled(t)
	requireIn(t, must(t, "packs", "doc", "gb-use", "--server", s.address), "packs/gb-use, version ", "Authority: United Kingdom")
	if all := must(t, "packs", "doc", "--server", s.address); strings.Count(all, "\n### ") != strings.Count(must(t, "packs", "doc", "--builtin"), "\n### ") {
		t.Error("a station with the program's packs knows other rules")
	}
	for _, tc := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"packs", "doc", "moon", "--builtin"}, command.ExitMisused, "the program brings eu-roadworthiness"},
		{[]string{"packs", "doc", "moon", "--server", s.address}, command.ExitRefused, "moon"},
	} {
		got := do(t, tc.args...)
		if got.code != tc.code {
			t.Errorf("%v: exit code %d, want %d", tc.args, got.code, tc.code)
		}
		requireIn(t, got.err, tc.says)
	}
}

func TestRuleDoc_SaysWhenARuleIsMet(t *testing.T) {
	d := newRuleDoc(&console{}, &pb.Catalogue{Items: []*pb.Item{{
		Id: "TYR-030", Title: "Tread", Conditions: []*pb.Condition{{Id: "01", Text: "cord seen", Meaning: &pb.Condition_Fault{Fault: "TYR-030-01"}}},
		Faults: []*pb.Fault{{Id: "TYR-030-01", Text: "Cord exposed"}, {Id: "TYR-030-02", Text: "Worn"}},
	}}})
	for _, tc := range []struct {
		rule *pb.Rule
		want string
	}{
		{
			&pb.Rule{Limit: &pb.Limit{
				Number: "o.tread_band_mm", Side: pb.LimitSide_LIMIT_SIDE_AT_LEAST, Bound: "1.0", Unit: "mm",
				Decision: pb.DecisionRule_DECISION_RULE_GUARDED, GuardsLife: true, Why: "over 3.5 t",
			}},
			"it is not kept that the least tread in the best band of three quarters of the breadth must be at least 1.0 mm (guarded, 97.5 %; guards life, so only a gauge in date proves it); why this limit: over 3.5 t",
		},
		{
			&pb.Rule{Limit: &pb.Limit{
				Number: "o.values['main']", Side: pb.LimitSide_LIMIT_SIDE_LESS_THAN, Bound: "0.9 * o.target", Unit: "kPa",
				Decision: pb.DecisionRule_DECISION_RULE_BENEFIT_OF_DOUBT, Confidence: 0.9, Uncertainty: "5.0",
			}},
			"it is not kept that `o.values['main']` must be less than `0.9 * o.target` kPa (benefit of the doubt, 90 %), with the standard uncertainty `5.0`",
		},
		{&pb.Rule{Limit: &pb.Limit{Number: "o.level", Side: pb.LimitSide_LIMIT_SIDE_AT_MOST, Bound: "1.0"}}, "it is not kept that the level as a share between its marks must be at most 1.0 (the number as it is)"},
		{&pb.Rule{Faults: []string{"TYR-030-01", "TYR-030-02"}}, "seen: cord seen (TYR-030-01); or Worn (TYR-030-02)"},
		{&pb.Rule{Faults: []string{"TYR-030-02"}, When: "o.affected > 2"}, "seen: Worn (TYR-030-02)\nand also `o.affected > 2`"},
	} {
		if got := strings.Join(d.met(tc.rule), "\n"); got != tc.want {
			t.Errorf("met when\n%s\nwant\n%s", got, tc.want)
		}
	}
}
