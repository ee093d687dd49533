package rules

import (
	"cmp"
)

// met is a rule that was met, or could not be worked out.
type met struct {
	rule  *compiled
	fault string // that was seen; empty for a rule on values
	err   error  // why it could not be worked out
}

// met judges a rule on a scene; fault is the one that may set it off, if any.
// It gives nothing when the rule is not met.
func (r *compiled) met(s *scene, fault string) []met {
	if r.when == nil {
		return []met{{rule: r, fault: fault}}
	}
	holds, err := r.when.holds(s)
	if err == nil && !holds {
		return nil
	}
	return []met{{rule: r, fault: fault, err: err}}
}

// compare orders by pack, rule and fault.
func (m met) compare(other met) int {
	return cmp.Or(
		cmp.Compare(m.rule.pack.name, other.rule.pack.name),
		cmp.Compare(m.rule.index, other.rule.index),
		cmp.Compare(m.fault, other.fault),
	)
}
