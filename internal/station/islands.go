package station

import (
	"fmt"

	"bayround/internal/catalogue"
	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// islandsOf numbers the items that rules of group or vehicle scope look at.
// Items that some such rule looks at together have the same number, so what
// is answered on one island never changes what these rules say of another,
// and a new result need only be judged together with its own island. Where rules
// compare the wheels, all wheels are peers: one island, whatever each rule looks at.
func islandsOf(v *pb.VehicleConfiguration, set *catalogue.Library, compared []string) map[string]int {
	owner := faultOwners(set.Catalogue)
	parent := map[string]string{}
	for _, name := range v.GetRulePacks() {
		for _, rule := range set.Packs[name].GetRules() {
			if rule.GetScope() != pb.RuleScope_RULE_SCOPE_RESULT {
				join(parent, itemsOf(rule, owner))
			}
		}
	}
	if len(compared) > 0 {
		join(parent, compared)
	}
	islands, number := map[string]int{}, map[string]int{}
	for _, item := range sortedKeys(parent) {
		head := find(parent, item)
		if _, known := number[head]; !known {
			number[head] = len(number)
		}
		islands[item] = number[head]
	}
	return islands
}

// faultOwners gives the item of every fault.
func faultOwners(c *pb.Catalogue) map[string]string {
	owner := map[string]string{}
	for _, item := range c.GetItems() {
		for _, fault := range item.GetFaults() {
			owner[fault.GetId()] = item.GetId()
		}
	}
	return owner
}

// itemsOf gives the items a rule looks at: those it names, or those of the
// faults it names.
func itemsOf(rule *pb.Rule, owner map[string]string) []string {
	if len(rule.GetItems()) > 0 {
		return rule.GetItems()
	}
	items := make([]string, 0, len(rule.GetFaults()))
	for _, fault := range rule.GetFaults() {
		items = append(items, owner[fault])
	}
	return items
}

// join puts all items into one set of the union-find forest parent.
func join(parent map[string]string, items []string) {
	for _, item := range items {
		if _, known := parent[item]; !known {
			parent[item] = item
		}
		parent[find(parent, item)] = find(parent, items[0])
	}
}

// find gives the head of the set an item belongs to.
func find(parent map[string]string, item string) string {
	for parent[item] != item {
		parent[item] = parent[parent[item]]
		item = parent[item]
	}
	return item
}

// rulesUnusable is the id of the finding that nothing can be judged.
const rulesUnusable = "rules-unusable"

// prepareJudge makes the judge. A vehicle that cannot be judged, because its
// packs were accepted by an earlier version of the rules and this one refuses
// them, proves nothing and says so; it must not look fit.
func (m *model) prepareJudge(broken error) {
	if m.engine == nil && broken == nil {
		return // nothing is in force yet
	}
	if broken == nil {
		judge, err := m.engine.For(m.vehicle)
		if err == nil {
			m.judge = judge.In(m.circumstances(nil))
			return
		}
		broken = err
	}
	m.judge, m.brokenBy = nil, broken
	m.broken = []*pb.Finding{{
		FindingId: rulesUnusable, Scope: pb.RuleScope_RULE_SCOPE_VEHICLE,
		Text: fmt.Sprintf("The rule packs in force cannot be used by this version of the station, so nothing can be judged: apply packs that it accepts. %v", broken),
	}}
}

// single judges one observation by the rules that look at it alone.
func (m *model) single(o *pb.Observation) []*pb.Finding {
	if m.judge == nil || o == nil {
		return nil
	}
	return m.judge.Result(o)
}

// group judges the observations of one island by the rules that look at
// several.
func (m *model) group(os []*pb.Observation) []*pb.Finding {
	if m.judge == nil || len(os) == 0 {
		return nil
	}
	return m.judge.Groups(os)
}

// observe makes what the rules see of an answer to a step, with all that was
// measured there.
func (m *model) observe(s *step, r *pb.Result, known *measured) *pb.Observation {
	return m.circumstances(known.before(r)).Observe(s.CheckStep, r)
}

// circumstances are those of readings on the vehicle.
func (m *model) circumstances(before *pb.Series) rules.Circumstances {
	return rules.Circumstances{Station: m.station, Gauges: m.gauges, Series: before}
}
