package rules

import (
	"errors"
	"fmt"
	"math"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/types"

	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// limit is the bound of a rule, ready to be judged. It never changes.
type limit struct {
	said          *pb.Limit
	number, bound *expression
	uncertainty   *expression // nil where the observation itself says what the number is worth
	of            *field      // which number of an observation it is; nil when it is another one
	decision      measure.DecisionRule
}

// acceptances are the decision rules of the contract; never changed.
var acceptances = map[pb.DecisionRule]measure.Acceptance{
	pb.DecisionRule_DECISION_RULE_UNSPECIFIED:      measure.SimpleAcceptance,
	pb.DecisionRule_DECISION_RULE_SIMPLE:           measure.SimpleAcceptance,
	pb.DecisionRule_DECISION_RULE_GUARDED:          measure.GuardedAcceptance,
	pb.DecisionRule_DECISION_RULE_BENEFIT_OF_DOUBT: measure.BenefitOfDoubt,
}

// compileLimit checks the limit of a rule; with complaints, it is not fit for use.
func (w view) compileLimit(rule *pb.Rule, items []string) (*limit, []complaint) {
	said := rule.GetLimit()
	l := &limit{said: said, decision: measure.DecisionRule{Acceptance: acceptances[said.GetDecision()], Confidence: said.GetConfidence()}}
	complaints := checkLimit(rule, l.decision)
	compile := func(name, source string) *expression {
		x, found := w.compile(source, cel.DoubleType)
		for _, c := range found {
			c.field = "limit." + name
			complaints = append(complaints, c)
		}
		return x
	}
	l.number, l.bound = compile("number", said.GetNumber()), compile("bound", said.GetBound())
	if said.GetUncertainty() != "" {
		l.uncertainty = compile("uncertainty", said.GetUncertainty())
	}
	if l.number == nil {
		return l, complaints
	}
	l.of = w.fieldIn(said.GetNumber())
	if c := w.known.checkWorth(l, items); c != nil {
		complaints = append(complaints, *c)
	}
	return l, complaints
}

// checkLimit finds what is wrong with a limit beside its expressions.
func checkLimit(rule *pb.Rule, decision measure.DecisionRule) []complaint {
	var found []complaint
	said := rule.GetLimit()
	if rule.GetScope() != pb.RuleScope_RULE_SCOPE_RESULT {
		found = append(found, complaint{field: "limit", wrong: "only a rule on one result has a limit", right: "set RULE_SCOPE_RESULT, or compare in when"})
	}
	if side := said.GetSide(); side == pb.LimitSide_LIMIT_SIDE_UNSPECIFIED || pb.LimitSide_name[int32(side)] == "" {
		found = append(found, complaint{field: "limit.side", wrong: "it is not said on which side of the bound the number must lie", right: "one of LIMIT_SIDE_AT_LEAST, LIMIT_SIDE_MORE_THAN, LIMIT_SIDE_AT_MOST, LIMIT_SIDE_LESS_THAN"})
	}
	if decision.Acceptance == 0 {
		found = append(found, complaint{field: "limit.decision", wrong: "there is no such decision rule", right: "one of DECISION_RULE_SIMPLE, DECISION_RULE_GUARDED, DECISION_RULE_BENEFIT_OF_DOUBT"})
	} else if decision.Check() != nil {
		found = append(found, complaint{field: "limit.confidence", wrong: fmt.Sprintf("a confidence of %v makes nothing sure", decision.Confidence), right: "give one above 0.5 and below 1, or leave it empty for 0.975"})
	}
	return found
}

// checkWorth finds a limit that could never be decided as it asks to be, because
// nothing says what its number is worth, or no gauge measures it.
func (k *vocabulary) checkWorth(l *limit, items []string) *complaint {
	measured := l.number.touches&(givenValue|givenTread|givenShare) != 0
	for _, item := range items {
		if l.said.GetGuardsLife() && !(measured && k.worth(item, l.of, gaugedPart)) {
			return &complaint{
				field: "limit.guards_life", wrong: fmt.Sprintf("no gauge of the register measures this number of %s", item),
				right: "keep guards_life to pressures, depths, voltages and temperatures read with a gauge",
			}
		}
		if l.uncertainty != nil || l.decision.Acceptance == measure.SimpleAcceptance {
			continue
		}
		if l.of == nil || l.of.of == "level" || !k.worth(item, l.of, worthPart) {
			return &complaint{
				field: "limit.uncertainty", wrong: fmt.Sprintf("nothing says what this number of %s is worth, so it could never be decided like that", item),
				right: "give its standard uncertainty in the unit of the number, or decide by DECISION_RULE_SIMPLE",
			}
		}
	}
	return nil
}

// worth tells that the part of an item that a number comes from is one of those asked for.
func (k *vocabulary) worth(item string, of *field, asked func(*pb.ReadingPart) bool) bool {
	parts := k.items[item].GetParts()
	for i, p := range parts {
		if of.part() == p.GetId() || of.part() == "" && i == 0 {
			return asked(p)
		}
	}
	return false
}

// worthPart tells that what a part is worth can be known: by its gauge, or from
// what was tapped, timed or watched.
func worthPart(p *pb.ReadingPart) bool {
	return gaugedPart(p) || p.GetHow() != pb.ReadingHow_READING_HOW_UNSPECIFIED
}

// judge holds the number against the bound; the outcome says what came of it.
func (l *limit) judge(s *scene) (holding, error) {
	h := holding{limit: l, o: s.observation}
	var err error
	if h.reading.Value, err = l.number.number(s); err != nil {
		return h, err
	}
	if h.bound, err = l.bound.number(s); err != nil {
		return h, fmt.Errorf("the bound: %w", err)
	}
	if h.reading.Uncertainty, h.known, err = l.worthOf(s); err != nil {
		return h, fmt.Errorf("the uncertainty: %w", err)
	}
	h.within, h.bias = interval(l.said.GetSide(), h.bound), l.of.bias(s.observation)
	h.outcome = h.decide()
	return h, nil
}

// worthOf gives the standard uncertainty of the number; false when nobody knows it.
func (l *limit) worthOf(s *scene) (u float64, known bool, err error) {
	if l.uncertainty == nil {
		u, known = l.of.uncertainty(s.observation)
		return u, known, nil
	}
	u, err = l.uncertainty.number(s)
	if err == nil && u < 0 {
		err = errors.New("it is less than nothing")
	}
	return u, err == nil, err
}

// interval is where a number on that side of the bound lies. Where the bound
// itself is out, it begins with the next number that there is.
func interval(side pb.LimitSide, bound float64) measure.Limits {
	switch side {
	case pb.LimitSide_LIMIT_SIDE_AT_LEAST:
		return measure.AtLeast(bound)
	case pb.LimitSide_LIMIT_SIDE_MORE_THAN:
		return measure.AtLeast(math.Nextafter(bound, math.Inf(1)))
	case pb.LimitSide_LIMIT_SIDE_LESS_THAN:
		return measure.AtMost(math.Nextafter(bound, math.Inf(-1)))
	}
	return measure.AtMost(bound)
}

// number works an expression out that gives a number. One that is not finite is
// an error: held against anything it would say nothing.
func (x *expression) number(s *scene) (float64, error) {
	v, err := x.value(s)
	if err != nil {
		return 0, err
	}
	d, ok := v.(types.Double)
	if !ok || !isFinite(float64(d)) {
		return 0, errors.New("it gives no number")
	}
	return float64(d), nil
}
