package rules

import (
	"cmp"

	pb "bayround/proto/bayround/v1"
)

// met is a rule that was met, or could not be worked out.
type met struct {
	rule  *compiled
	fault string  // that was seen; empty for a rule on values
	limit holding // how its limit was judged; empty when it has none
	err   error   // why it could not be worked out
}

// undecided tells that nobody can tell whether the rule's limit is kept.
func (m met) undecided() bool {
	return m.limit.outcome == pb.LimitOutcome_LIMIT_OUTCOME_CANNOT_TELL
}

// met judges a rule on a scene; fault is the one that may set it off, if any.
// It gives nothing when the rule is not met. The condition comes first: where it
// does not hold, the limit is none.
func (r *compiled) met(s *scene, fault string) []met {
	if r.when != nil {
		holds, err := r.when.holds(s)
		if err != nil {
			return []met{{rule: r, fault: fault, err: err}}
		}
		if !holds {
			return nil
		}
	}
	if r.limit == nil {
		return []met{{rule: r, fault: fault}}
	}
	held, err := r.limit.judge(s)
	if err == nil && held.outcome == pb.LimitOutcome_LIMIT_OUTCOME_MEETS {
		return nil
	}
	return []met{{rule: r, fault: fault, limit: held, err: err}}
}

// compare orders by pack, rule and fault.
func (m met) compare(other met) int {
	return cmp.Or(
		cmp.Compare(m.rule.pack.name, other.rule.pack.name),
		cmp.Compare(m.rule.index, other.rule.index),
		cmp.Compare(m.fault, other.fault),
	)
}
