package rules

import (
	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// holding is one number held against one bound.
type holding struct {
	limit   *limit
	o       *pb.Observation
	reading measure.Measured
	known   bool // what the number is worth
	bound   float64
	within  measure.Limits
	bias    float64 // what the gauge may have read too high, in the unit of the number
	outcome pb.LimitOutcome
}

// decide tells whether the bound is kept. A number of which nobody knows what it
// is worth can break a bound, as it was read, but it cannot be sure to keep one;
// nor can a gauge that is not in date prove a bound that guards life.
func (h holding) decide() pb.LimitOutcome {
	rule := h.limit.decision
	if !h.known {
		rule.Acceptance = measure.SimpleAcceptance
	}
	switch rule.DecideWithBias(h.reading, h.bias, h.within) {
	case measure.Fails:
		return pb.LimitOutcome_LIMIT_OUTCOME_FAILS
	case measure.Meets:
		if !h.known && h.limit.decision.Acceptance == measure.GuardedAcceptance {
			return pb.LimitOutcome_LIMIT_OUTCOME_CANNOT_TELL
		}
	default:
		if h.limit.decision.Acceptance != measure.BenefitOfDoubt {
			return pb.LimitOutcome_LIMIT_OUTCOME_CANNOT_TELL
		}
	}
	if h.strayed() || h.limit.said.GetGuardsLife() && h.o.GetGaugeStanding() != pb.GaugeStanding_GAUGE_STANDING_IN_DATE {
		return pb.LimitOutcome_LIMIT_OUTCOME_CANNOT_TELL
	}
	return pb.LimitOutcome_LIMIT_OUTCOME_MEETS
}

// strayed tells that the number rests on a gauge that was found wrong, and that
// nobody can say how far that moves it.
func (h holding) strayed() bool {
	rests := h.limit.number.touches & (givenValue | givenTread | givenShare)
	return h.limit.of == nil && rests != 0 && h.o.GetGaugeStanding() == pb.GaugeStanding_GAUGE_STANDING_FOUND_WRONG
}

// said puts what came of it into a message; nil when there is no limit.
func (h holding) said() *pb.LimitJudged {
	l := h.limit
	if l == nil {
		return nil
	}
	judged := &pb.LimitJudged{
		Number: l.of.name(h.o), Value: h.reading.Value, StandardUncertainty: h.reading.Uncertainty,
		Bound: h.bound, Side: l.said.GetSide(), Unit: l.said.GetUnit(), Decision: l.said.GetDecision(),
		Confidence: l.said.GetConfidence(), Outcome: h.outcome, Why: l.said.GetWhy(),
	}
	if h.known { // a number of which nobody knows what it is worth has no probability
		judged.ProbabilityKept = h.probability()
	}
	if judged.GetNumber() == "" {
		judged.Number = l.said.GetNumber()
	}
	if judged.GetDecision() == pb.DecisionRule_DECISION_RULE_UNSPECIFIED {
		judged.Decision = pb.DecisionRule_DECISION_RULE_SIMPLE
	}
	if judged.GetConfidence() == 0 {
		judged.Confidence = measure.DefaultConfidence
	}
	if h.outcome == pb.LimitOutcome_LIMIT_OUTCOME_CANNOT_TELL {
		judged.Why = h.doubt().why
	}
	return judged
}

// probability is how likely the bound is kept, at the worst the gauge may have been off.
func (h holding) probability() float64 {
	as, _ := h.reading.Probability(h.within)
	corrected, _ := measure.Measured{Value: h.reading.Value - h.bias, Uncertainty: h.reading.Uncertainty}.Probability(h.within)
	return min(as, corrected)
}

// doubt is why nobody can tell, and what settles it.
type doubt struct{ why, cure string }

func (h holding) doubt() doubt {
	standing := h.o.GetGaugeStanding()
	life := h.limit.said.GetGuardsLife()
	switch {
	case standing == pb.GaugeStanding_GAUGE_STANDING_FOUND_WRONG:
		return doubt{"the gauge was found wrong, and nobody knows since when", "read it again with another gauge"}
	case life && standing == pb.GaugeStanding_GAUGE_STANDING_OVERDUE:
		return doubt{"the gauge's calibration had lapsed, or nobody knows when it does", "read it again with a gauge that is in date"}
	case life && standing != pb.GaugeStanding_GAUGE_STANDING_IN_DATE, !h.known && standing == pb.GaugeStanding_GAUGE_STANDING_UNKNOWN:
		return doubt{"nobody knows which gauge it was read with", "read it again and name the gauge"}
	case !h.known:
		return doubt{"nobody knows what the reading is worth", "read it again with a gauge of the register"}
	}
	return near
}

// near is the doubt of a number that is well measured, but not well enough; never changed.
var near = doubt{"it lies too near the bound for what it was read with", "read it again, or with another gauge"}
