package measure

import (
	"fmt"
	"math"
)

// Measured is a reading with its standard uncertainty: the true value is taken
// to lie round it by a normal distribution, and nothing else is known of it
// (JCGM 106, 7.2).
type Measured struct {
	Value       float64
	Uncertainty float64 // standard uncertainty u; 0 when the value is exact
}

// Limits is what a true value must keep, both ends included. An end at
// infinity is no limit.
type Limits struct {
	Lower, Upper float64
}

// AtLeast is a lower limit alone.
func AtLeast(lower float64) Limits { return Limits{Lower: lower, Upper: math.Inf(1)} }

// AtMost is an upper limit alone.
func AtMost(upper float64) Limits { return Limits{Lower: math.Inf(-1), Upper: upper} }

// Between is a limit on either side.
func Between(lower, upper float64) Limits { return Limits{Lower: lower, Upper: upper} }

// possible says that some true value could keep the limits.
func (l Limits) possible() bool {
	return l.Lower <= l.Upper && !math.IsInf(l.Lower, 1) && !math.IsInf(l.Upper, -1)
}

// known says that the reading tells anything at all.
func (m Measured) known() bool {
	return isFinite(m.Value) && m.Uncertainty >= 0 && !math.IsInf(m.Uncertainty, 1)
}

// Probability returns how likely it is that the true value keeps the limits,
// from 0 to 1; false when that cannot be said, because the reading, its
// uncertainty or a limit is no number, or the lower limit lies above the upper.
func (m Measured) Probability(l Limits) (float64, bool) {
	if !m.known() || !l.possible() {
		return 0, false
	}
	if m.Uncertainty == 0 {
		if m.Value >= l.Lower && m.Value <= l.Upper {
			return 1, true
		}
		return 0, true
	}
	from, to := (l.Lower-m.Value)/m.Uncertainty, (l.Upper-m.Value)/m.Uncertainty
	if from > 0 { // take the difference in the thin tail, where digits are left
		from, to = -to, -from
	}
	return max(0, normalBelow(to)-normalBelow(from)), true
}

// below is the probability that the true value lies below a limit.
func (m Measured) below(limit float64) float64 {
	if m.Uncertainty > 0 {
		return normalBelow((limit - m.Value) / m.Uncertainty)
	}
	if m.Value < limit {
		return 1
	}
	return 0
}

// above is the probability that the true value lies above a limit.
func (m Measured) above(limit float64) float64 {
	return Measured{Value: -m.Value, Uncertainty: m.Uncertainty}.below(-limit)
}

// normalBelow is the standard normal distribution function.
func normalBelow(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

func isFinite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// Decision is whether a measured value keeps its limits. The zero value is the
// one that lets nothing pass and condemns nothing.
type Decision int

// The decisions.
const (
	CannotTell Decision = 0 // take it again, or with a better gauge
	Meets      Decision = 1
	Fails      Decision = 2
)

// String returns the decision in words.
func (d Decision) String() string {
	switch d {
	case Meets:
		return "meets"
	case Fails:
		return "fails"
	}
	return "cannot tell"
}

// Acceptance says who bears the risk of a measurement near a limit.
type Acceptance int

// The acceptances.
const (
	// SimpleAcceptance takes the reading for the truth: both sides share the
	// risk, half and half at the limit (JCGM 106, 8.2; guard band w = 0).
	SimpleAcceptance Acceptance = 1
	// GuardedAcceptance decides only what is sure, either way; for limits that
	// guard life (JCGM 106, 8.3.2).
	GuardedAcceptance Acceptance = 2
	// BenefitOfDoubt fails only what is sure to fail: an authority that must
	// prove its case (JCGM 106, 8.3.3, guarded rejection).
	BenefitOfDoubt Acceptance = 3
)

// DefaultConfidence is the confidence of a decision where none is given: the
// usual 95 % of a two-sided interval leave 97.5 % on one side.
const DefaultConfidence = 0.975

// DecisionRule says how a reading is held against its limits (JCGM 106, 3.3.12).
type DecisionRule struct {
	Acceptance Acceptance
	// Confidence is the probability from which on something counts as sure,
	// above 0.5 and below 1; 0 means DefaultConfidence. A guard band of two
	// standard uncertainties has 0.97725 at its end, which is a little more than
	// the default asks for: the probability decides, not the breadth of the band.
	Confidence float64
}

// Check says what is wrong with the rule.
func (r DecisionRule) Check() error {
	switch {
	case r.Acceptance < SimpleAcceptance || r.Acceptance > BenefitOfDoubt:
		return fmt.Errorf("%d is no acceptance; simple (%d), guarded (%d) and benefit of the doubt (%d) are", r.Acceptance, SimpleAcceptance, GuardedAcceptance, BenefitOfDoubt)
	case !(r.sure() > 0.5 && r.sure() < 1):
		return fmt.Errorf("a confidence of %v makes nothing sure; give one above 0.5 and below 1", r.Confidence)
	}
	return nil
}

func (r DecisionRule) sure() float64 {
	if r.Confidence == 0 {
		return DefaultConfidence
	}
	return r.Confidence
}

// Decide holds a reading against limits. A rule that fails Check, a reading or
// limits that make no sense are CannotTell under every acceptance.
//
// A value is sure to fail when it is sure to lie beyond one of the limits. A
// gauge that is too coarse for the space between two limits therefore proves
// nothing: a greater uncertainty never makes a decision firmer.
func (r DecisionRule) Decide(m Measured, l Limits) Decision {
	decision, _ := r.decide(m, l)
	return decision
}

// DecideWithBias decides for a gauge that was found wrong later: it may have
// read too high by anything between nothing and bias (too low, when bias is
// negative). Only what holds over the whole of that interval is decided.
func (r DecisionRule) DecideWithBias(m Measured, bias float64, l Limits) Decision {
	if !isFinite(bias) {
		return CannotTell
	}
	asRead, readBeyond := r.decide(m, l)
	corrected, correctedBeyond := r.decide(Measured{Value: m.Value - bias, Uncertainty: m.Uncertainty}, l)
	// What meets lies in one piece, so that two ends that meet speak for all in
	// between. What fails lies in two: below and above.
	if asRead != corrected || readBeyond != correctedBeyond {
		return CannotTell
	}
	return asRead
}

// beyond says past which limit a value that fails lies.
type beyond int

const (
	neither beyond = 0
	under   beyond = 1
	over    beyond = 2
)

func (r DecisionRule) decide(m Measured, l Limits) (Decision, beyond) {
	if r.Check() != nil {
		return CannotTell, neither
	}
	keeps, known := m.Probability(l)
	if !known {
		return CannotTell, neither
	}
	if r.Acceptance == SimpleAcceptance {
		return simply(m.Value, l)
	}
	switch {
	case m.below(l.Lower) >= r.sure():
		return Fails, under
	case m.above(l.Upper) >= r.sure():
		return Fails, over
	case r.Acceptance == BenefitOfDoubt, keeps >= r.sure():
		return Meets, neither
	}
	return CannotTell, neither
}

func simply(value float64, l Limits) (Decision, beyond) {
	switch {
	case value < l.Lower:
		return Fails, under
	case value > l.Upper:
		return Fails, over
	}
	return Meets, neither
}

// GuardBand returns how far inside a limit a reading must lie to be sure, at
// that confidence, that the true value keeps it: z·u. It is what to tell people
// who ask what the gauge would have to show; the decision itself is by
// probability. Infinite when the uncertainty or the confidence makes no sense.
func GuardBand(standardUncertainty, confidence float64) float64 {
	if !(confidence > 0.5 && confidence < 1) || !(standardUncertainty >= 0) {
		return math.Inf(1)
	}
	if standardUncertainty == 0 {
		return 0
	}
	return math.Sqrt2 * math.Erfinv(2*confidence-1) * standardUncertainty
}
