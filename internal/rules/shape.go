package rules

import (
	"fmt"
	"slices"

	pb "bayround/proto/bayround/v1"
)

// checkShape finds what is wrong with a rule beside its expressions: above all
// what would keep it from ever being met.
func (k *vocabulary) checkShape(rule *pb.Rule) []complaint {
	var found []complaint
	wrong := func(field, wrong, right string) {
		found = append(found, complaint{field: field, wrong: wrong, right: right})
	}
	for i, item := range rule.GetItems() {
		if k.items[item] == nil {
			wrong(fmt.Sprintf("items[%d]", i), fmt.Sprintf("the catalogue has no item %q", item), didYouMean(item, k.ids))
		}
	}
	for i, fault := range rule.GetFaults() {
		field := fmt.Sprintf("faults[%d]", i)
		switch {
		case k.faults[fault] == nil:
			wrong(field, fmt.Sprintf("the catalogue has no fault %q", fault), didYouMean(fault, k.ids))
		case slices.Contains(rule.GetFaults()[:i], fault):
			wrong(field, fmt.Sprintf("%q is listed twice", fault), "list it once")
		case len(rule.GetItems()) > 0 && !slices.Contains(rule.GetItems(), k.owner[fault]):
			wrong(field, fmt.Sprintf("%q belongs to item %q, which the rule does not look at", fault, k.owner[fault]), "list the item too, or leave items empty")
		}
	}
	if name := rule.GetNamesFault(); name != "" && k.faults[name] == nil {
		wrong("names_fault", fmt.Sprintf("the catalogue has no fault %q", name), didYouMean(name, k.ids))
	}
	if rule.GetNamesFault() != "" && len(rule.GetFaults()) > 0 {
		wrong("names_fault", "the rule is set off by faults and names another", "leave names_fault empty; the fault that was seen is the one")
	}
	if len(rule.GetFaults()) == 0 && rule.GetWhen() == "" && rule.GetLimit() == nil {
		wrong("", "nothing sets the rule off", "give faults, a condition in when, or a limit")
	}
	if len(rule.GetFaults()) == 0 && len(rule.GetItems()) == 0 {
		wrong("items", "a rule on values looks at no item", "list the items whose results it judges")
	}
	return append(found, checkScope(rule)...)
}

// checkScope finds settings that do not go with the rule's scope.
func checkScope(rule *pb.Rule) []complaint {
	var found []complaint
	grouped := rule.GetGrouping() != pb.Grouping_GROUPING_UNSPECIFIED
	switch scope := rule.GetScope(); {
	case scope == pb.RuleScope_RULE_SCOPE_UNSPECIFIED || pb.RuleScope_name[int32(scope)] == "":
		found = append(found, complaint{field: "scope", wrong: "it is not said what the rule looks at", right: "one of RULE_SCOPE_RESULT, RULE_SCOPE_GROUP, RULE_SCOPE_VEHICLE"})
	case scope == pb.RuleScope_RULE_SCOPE_GROUP && (!grouped || pb.Grouping_name[int32(rule.GetGrouping())] == ""):
		found = append(found, complaint{field: "grouping", wrong: "it is not said how results are grouped", right: "one of GROUPING_AXLE, GROUPING_AXLE_END, GROUPING_LAMP_FUNCTION, GROUPING_ITEM"})
	case scope != pb.RuleScope_RULE_SCOPE_GROUP && grouped:
		found = append(found, complaint{field: "grouping", wrong: "only a rule of RULE_SCOPE_GROUP groups its results", right: "leave grouping empty, or set the scope"})
	}
	if rule.GetScope() == pb.RuleScope_RULE_SCOPE_RESULT && rule.GetSameRound() {
		found = append(found, complaint{field: "same_round", wrong: "a rule on one result has no rounds to tell apart", right: "leave same_round empty, or set the scope"})
	}
	return found
}

// itemsOf gives the items a rule looks at: its own, or those of its faults.
func (k *vocabulary) itemsOf(rule *pb.Rule) []string {
	items := slices.Clone(rule.GetItems())
	if len(items) == 0 {
		for _, fault := range rule.GetFaults() {
			items = append(items, k.owner[fault])
		}
	}
	slices.Sort(items)
	return slices.Compact(items)
}

// checkColdRules finds what is wrong with what a pack says of cold readings.
func (k *vocabulary) checkColdRules(p *pb.RulePack) Errors {
	var wrong Errors
	for i, rule := range p.GetColdRules() {
		at := func(field, what, right string) {
			wrong = append(wrong, Error{Pack: p.GetName(), RuleIndex: -1, Field: fmt.Sprintf("cold_rules[%d]%s", i, field), Wrong: what, Right: right})
		}
		for n, item := range rule.GetItems() {
			if k.items[item] == nil {
				at(fmt.Sprintf(".items[%d]", n), fmt.Sprintf("the catalogue has no item %q", item), didYouMean(item, k.ids))
			}
		}
		if rule.GetStood().AsDuration() <= 0 {
			at(".stood", "it is not said how long the engine must have stood", "give a time, for instance 3h")
		}
	}
	return wrong
}
