package main

import (
	"fmt"
	"slices"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// ruleDoc writes rules in words. It knows the items and faults they speak of.
type ruleDoc struct {
	*console
	items      map[string]*pb.Item
	faults     map[string]*pb.Fault
	conditions map[string]string // text of the condition that shows a fault
	stops      map[string]string // titles
	order      map[string]int    // of the items: by stop, by family, as the catalogue has them
}

func newRuleDoc(c *console, known *pb.Catalogue) *ruleDoc {
	d := &ruleDoc{
		console: c, items: map[string]*pb.Item{}, faults: map[string]*pb.Fault{}, conditions: map[string]string{},
		stops: map[string]string{}, order: map[string]int{},
	}
	for _, stop := range known.GetStops() {
		d.stops[stop.GetId()] = stop.GetTitle()
		d.arrange(stop.GetId(), known.GetItems())
	}
	for _, item := range known.GetItems() {
		d.items[item.GetId()] = item
		for _, fault := range item.GetFaults() {
			d.faults[fault.GetId()] = fault
		}
		for _, condition := range item.GetConditions() {
			d.conditions[condition.GetFault()] = condition.GetText()
		}
	}
	return d
}

// arrange puts the items of a stop in their order, family by family.
func (d *ruleDoc) arrange(stop string, items []*pb.Item) {
	var families []string
	for _, item := range items {
		if item.GetStop() == stop && !slices.Contains(families, item.GetFamily()) {
			families = append(families, item.GetFamily())
		}
	}
	for _, family := range families {
		for _, item := range items {
			if item.GetStop() == stop && item.GetFamily() == family {
				d.order[item.GetId()] = len(d.order)
			}
		}
	}
}

// packsDoc prints packs as Markdown.
func (c *console) packsDoc(known *pb.Catalogue, packs []*pb.RulePack) {
	d := newRuleDoc(c, known)
	for i, pack := range packs {
		if i > 0 {
			c.Say("")
		}
		d.pack(pack)
	}
}

// pack prints one pack: its rules by stop and family, in the order of the walk.
func (d *ruleDoc) pack(pack *pb.RulePack) {
	d.Say("# %s\n\n%s, version %s. Authority: %s. %s.", pack.GetTitle(), pack.GetName(), pack.GetVersion(), pack.GetAuthority(), count(len(pack.GetRules()), "rule"))
	d.cold(pack.GetColdRules())
	rules := slices.Clone(pack.GetRules())
	slices.SortStableFunc(rules, func(a, b *pb.Rule) int { return d.place(a) - d.place(b) })
	heading := ""
	for _, rule := range rules {
		if now := d.heading(rule); now != heading {
			heading = now
			d.Say("\n## %s", heading)
		}
		d.rule(rule)
	}
}

// cold prints what a pack takes as cold.
func (d *ruleDoc) cold(rules []*pb.ColdRule) {
	if len(rules) == 0 {
		return
	}
	d.Say("\n## What counts as cold\n")
	for _, rule := range rules {
		words := "the engine has stood for " + rule.GetStood().AsDuration().String()
		if km := rule.GetDrivenAtMostKm(); km > 0 {
			words += fmt.Sprintf(", or it was driven no more than %g km since it was cold", km)
		}
		d.Say("- %s: %s. Source: %s.", d.itemWords(rule.GetItems()), words, sourceOf(rule.GetSource()))
	}
}

// itemOf is the first item that a rule looks at; nil when it looks at none.
func (d *ruleDoc) itemOf(rule *pb.Rule) *pb.Item {
	if ids := itemsOf(rule); len(ids) > 0 {
		return d.items[ids[0]]
	}
	return nil
}

// itemsOf are the items a rule looks at: those it names, or those of its faults.
func itemsOf(rule *pb.Rule) []string {
	ids := slices.Clone(rule.GetItems())
	for _, fault := range rule.GetFaults() {
		if item := fault[:strings.LastIndex(fault, "-")]; !slices.Contains(ids, item) {
			ids = append(ids, item)
		}
	}
	return ids
}

// place is where a rule stands on the walk; what has no place comes last.
func (d *ruleDoc) place(rule *pb.Rule) int {
	if item := d.itemOf(rule); item != nil {
		return d.order[item.GetId()]
	}
	return len(d.order)
}

// heading is the stop and the family that a rule stands under.
func (d *ruleDoc) heading(rule *pb.Rule) string {
	item := d.itemOf(rule)
	if item == nil {
		return "The whole vehicle"
	}
	return d.stops[item.GetStop()] + ": " + item.GetFamily()
}

// rule prints one rule.
func (d *ruleDoc) rule(r *pb.Rule) {
	d.Say("\n### %s\n", r.GetId())
	d.Say("%s\n", r.GetText())
	d.line("Looks at", d.itemWords(itemsOf(r))+scopeWords(r))
	d.line("Only for vehicles with", code(r.GetForVehicles()))
	for _, met := range d.met(r) {
		d.line("Met when", met)
	}
	if fault := d.faults[r.GetNamesFault()]; fault != nil {
		d.line("Stands for", fault.GetText()+" ("+fault.GetId()+")")
	}
	d.line("Grade and effect", gradeWord(r.GetGrade())+", "+effectWord(r.GetEffect()))
	d.line("Takes away", strings.Join(r.GetCapabilitiesLost(), ", "))
	for _, limit := range r.GetRestrictions() {
		d.line("Limit while it lasts", limit.GetText())
	}
	d.line("Closed by", closedBy(r))
	d.line("May be deferred", deferral(r))
	d.line("Decides", r.GetDecider())
	d.line("Source", sourceOf(r.GetSource()))
}

// line prints one property of a rule that has it.
func (d *ruleDoc) line(what, words string) {
	if words != "" {
		d.Say("- %s: %s", what, words)
	}
}

// itemWords names items by title and id.
func (d *ruleDoc) itemWords(ids []string) string {
	var words []string
	for _, id := range ids {
		if item := d.items[id]; item != nil {
			words = append(words, item.GetTitle()+" ("+id+")")
			continue
		}
		words = append(words, id)
	}
	if len(words) == 0 {
		return "everything on the vehicle"
	}
	return strings.Join(words, "; ")
}

// scopeWords says what a rule looks at together.
func scopeWords(r *pb.Rule) string {
	words := ""
	switch {
	case r.GetScope() == pb.RuleScope_RULE_SCOPE_VEHICLE:
		words = ", all of the vehicle together"
	case r.GetScope() == pb.RuleScope_RULE_SCOPE_GROUP:
		words = ", together " + groupingWords(r.GetGrouping())
	}
	if r.GetSameRound() {
		words += ", read in one round"
	}
	return words
}

func groupingWords(g pb.Grouping) string {
	switch g {
	case pb.Grouping_GROUPING_AXLE:
		return "the wheels of one axle"
	case pb.Grouping_GROUPING_AXLE_END:
		return "the wheels at one end of an axle"
	case pb.Grouping_GROUPING_LAMP_FUNCTION:
		return "the lamps of one function"
	}
	return "all places of one item"
}

// closedBy says what closes the defect that a rule makes.
func closedBy(r *pb.Rule) string {
	if r.GetRecheckCloses() {
		return "a sound answer later"
	}
	return "a repair and a sound answer after it"
}

// deferral says how long a rule's defect may be deferred.
func deferral(r *pb.Rule) string {
	if days := r.GetLongestDeferralDays(); days > 0 {
		return "for " + count(int(days), "day") + " at the longest"
	}
	return "not at all"
}

// sourceOf is a source with how sure it is.
func sourceOf(s *pb.Source) string {
	words := s.GetTitle()
	if s.GetClause() != "" {
		words += ", " + s.GetClause()
	}
	switch s.GetStatus() {
	case pb.SourceStatus_SOURCE_STATUS_VERIFIED:
		return words + " (seen in the published text)"
	case pb.SourceStatus_SOURCE_STATUS_FROM_MEMORY:
		return words + " (from memory)"
	case pb.SourceStatus_SOURCE_STATUS_COMMON_PRACTICE:
		return words + " (common practice)"
	}
	return words + " (the service's own decision)"
}

// code is an expression as it is written; empty for none.
func code(expression string) string {
	if expression == "" {
		return ""
	}
	return "`" + expression + "`"
}
