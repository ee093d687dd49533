package measure_test

import (
	"math"
	"testing"

	"bayround/internal/measure"

	"pgregory.net/rapid"
)

var (
	nan = math.NaN()
	inf = math.Inf(1)
)

var (
	simple  = measure.DecisionRule{Acceptance: measure.SimpleAcceptance}
	guarded = measure.DecisionRule{Acceptance: measure.GuardedAcceptance}
	doubt   = measure.DecisionRule{Acceptance: measure.BenefitOfDoubt}
)

// limits reads the limits of a row; an empty column is no limit.
func (r row) limits(t testing.TB) measure.Limits {
	l := measure.Between(math.Inf(-1), inf)
	if r["lower_limit"] != "" {
		l.Lower = r.number(t, "lower_limit")
	}
	if r["upper_limit"] != "" {
		l.Upper = r.number(t, "upper_limit")
	}
	return l
}

// TestDecide_PublishedCases holds probabilities and all three acceptances to the
// four-way statements of ILAC-G8.
func TestDecide_PublishedCases(t *testing.T) {
	for _, r := range rows(t, "conformity-cases.csv", 15) {
		m := measure.Measured{Value: r.number(t, "reading"), Uncertainty: r.number(t, "standard_uncertainty_u")}
		l := r.limits(t)
		p, known := m.Probability(l)
		if want := r.number(t, "probability_conforming"); !known || math.Abs(p-want) > 2e-10 {
			t.Errorf("%s: probability %.10f, want %.10f (%s)", r["case"], p, want, r["source"])
		}
		want := map[string][3]measure.Decision{ // simple, guarded, benefit of the doubt
			"PASS":             {measure.Meets, measure.Meets, measure.Meets},
			"CONDITIONAL_PASS": {measure.Meets, measure.CannotTell, measure.Meets},
			"CONDITIONAL_FAIL": {measure.Fails, measure.CannotTell, measure.Meets},
			"FAIL":             {measure.Fails, measure.Fails, measure.Fails},
		}[r["four_way_decision_w_equals_U"]]
		if got := [3]measure.Decision{simple.Decide(m, l), guarded.Decide(m, l), doubt.Decide(m, l)}; got != want {
			t.Errorf("%s: %v, want %v (%s)", r["case"], got, want, r["four_way_decision_w_equals_U"])
		}
	}
}

func TestProbability_NormalTable(t *testing.T) {
	for _, r := range rows(t, "normal-cdf.csv", 17) {
		z := r.number(t, "z")
		below, _ := measure.Measured{Value: -z, Uncertainty: 1}.Probability(measure.AtMost(0))
		if want := r.number(t, "phi"); math.Abs(below-want) > 6e-11 {
			t.Errorf("below %v: %.10f, want %.10f (%s)", z, below, want, r["source"])
		}
		above, _ := measure.Measured{Value: -z, Uncertainty: 1}.Probability(measure.AtLeast(0))
		if want := r.number(t, "one_minus_phi"); math.Abs(above-want) > 6e-11 {
			t.Errorf("above %v: %.10f, want %.10f (%s)", z, above, want, r["source"])
		}
		if phi := r.number(t, "phi"); phi > 0.5 {
			if got := measure.GuardBand(2, phi) / 2; math.Abs(got-z) > 1e-6 {
				t.Errorf("a guard band of %.7f u for %v, want %v", got, phi, z)
			}
		}
	}
}

func TestProbability_RiskAtTheAcceptanceLimit(t *testing.T) {
	const u = 0.1
	for _, r := range rows(t, "guard-band-risk.csv", 6) {
		reading := 1.6 + r.number(t, "guard_band_as_multiple_of_U")*measure.Expanded(u)
		got, _ := measure.Measured{Value: reading, Uncertainty: u}.Probability(measure.AtLeast(1.6))
		if want := r.number(t, "probability_conforming_at_acceptance_limit"); math.Abs(got-want) > 1e-10 {
			t.Errorf("%s: %.10f, want %.10f (%s)", r["rule"], got, want, r["source"])
		}
	}
}

// JCGM 106, 9.5.4: bearings whose error follows a gamma distribution are
// measured; the risks are integrals over the probability that a true value is
// read inside the acceptance limit.
func TestProbability_BallBearing(t *testing.T) {
	table := map[string]float64{}
	for _, r := range rows(t, "jcgm106-ball-bearing.csv", 7) {
		table[r["quantity"]] = r.number(t, "value")
	}
	prior := func(y float64) float64 { return math.Pow(4, 4) / 6 * y * y * y * math.Exp(-4*y) }
	accepted := func(y, limit float64) float64 {
		p, _ := measure.Measured{Value: y, Uncertainty: table["u_m_micrometre"]}.Probability(measure.AtMost(limit))
		return p
	}
	consumer := func(limit float64) float64 {
		return simpson(2, 14, func(y float64) float64 { return prior(y) * accepted(y, limit) })
	}
	producer := func(limit float64) float64 {
		return simpson(0, 2, func(y float64) float64 { return prior(y) * (1 - accepted(y, limit)) })
	}
	guardedLimit := table["acceptance_limit_for_global_consumer_risk_0.001"]
	for name, got := range map[string]float64{
		"prior_probability_nonconforming":       simpson(2, 14, prior),
		"global_consumer_risk_acceptance_at_2":  consumer(2),
		"global_producer_risk_at_2":             producer(2),
		"global_producer_risk_at_guarded_limit": producer(guardedLimit),
		"guard_band":                            2 - guardedLimit,
	} {
		if math.Abs(got-table[name]) > 1e-9 {
			t.Errorf("%s: %.10f, want %.10f (JCGM 106:2012, 9.5.4)", name, got, table[name])
		}
	}
	if got := consumer(guardedLimit); math.Abs(got-0.001) > 1e-9 {
		t.Errorf("the consumer's risk at the guarded limit is %.10f, want 0.001 (JCGM 106:2012, 9.5.4)", got)
	}
}

// simpson integrates a smooth function by Simpson's rule.
func simpson(from, to float64, f func(float64) float64) float64 {
	const strips = 4000 // even
	h := (to - from) / strips
	sum := f(from) + f(to)
	for i := 1; i < strips; i++ {
		sum += f(from+float64(i)*h) * float64(2+2*(i%2))
	}
	return sum * h / 3
}

func TestDecide_EdgesAndNonsense(t *testing.T) {
	for _, tc := range []struct {
		why    string
		rule   measure.DecisionRule
		m      measure.Measured
		limits measure.Limits
		want   measure.Decision
	}{
		{"exact, at the lower limit: ends are included", guarded, measure.Measured{Value: 1.6}, measure.AtLeast(1.6), measure.Meets},
		{"exact, at the upper limit", guarded, measure.Measured{Value: 9}, measure.Between(8, 9), measure.Meets},
		{"exact, just below", guarded, measure.Measured{Value: math.Nextafter(1.6, 0)}, measure.AtLeast(1.6), measure.Fails},
		{"exact, just above", guarded, measure.Measured{Value: math.Nextafter(9, 10)}, measure.Between(8, 9), measure.Fails},
		{"exact, one possible value", guarded, measure.Measured{Value: 5}, measure.Between(5, 5), measure.Meets},
		{"at the guard band of 2u: 0.97725", guarded, measure.Measured{Value: 1.8, Uncertainty: 0.1}, measure.AtLeast(1.6), measure.Meets},
		{"the same, a higher confidence", measure.DecisionRule{Acceptance: measure.GuardedAcceptance, Confidence: 0.98}, measure.Measured{Value: 1.8, Uncertainty: 0.1}, measure.AtLeast(1.6), measure.CannotTell},
		{"inside by 1.95u: 0.9744", guarded, measure.Measured{Value: 1.795, Uncertainty: 0.1}, measure.AtLeast(1.6), measure.CannotTell},
		{"outside by 1.95u: the doubt helps", doubt, measure.Measured{Value: 1.405, Uncertainty: 0.1}, measure.AtLeast(1.6), measure.Meets},
		{"outside by 2u: no doubt", doubt, measure.Measured{Value: 1.4, Uncertainty: 0.1}, measure.AtLeast(1.6), measure.Fails},
		{"a gauge far too coarse proves nothing", guarded, measure.Measured{Value: 8.5, Uncertainty: 1000}, measure.Between(8, 9), measure.CannotTell},
		{"no limit at all", guarded, measure.Measured{Value: 8.5, Uncertainty: 1}, measure.Between(-inf, inf), measure.Meets},
		{"no reading", simple, measure.Measured{Value: nan}, measure.AtLeast(1), measure.CannotTell},
		{"reading without end", simple, measure.Measured{Value: inf}, measure.AtLeast(1), measure.CannotTell},
		{"unknown uncertainty", doubt, measure.Measured{Value: 8, Uncertainty: nan}, measure.AtLeast(1), measure.CannotTell},
		{"negative uncertainty", guarded, measure.Measured{Value: 8, Uncertainty: -1}, measure.AtLeast(1), measure.CannotTell},
		{"infinite uncertainty", simple, measure.Measured{Value: 8, Uncertainty: inf}, measure.AtLeast(1), measure.CannotTell},
		{"unknown limit", doubt, measure.Measured{Value: 8}, measure.AtLeast(nan), measure.CannotTell},
		{"limits crossed", doubt, measure.Measured{Value: 8}, measure.Between(9, 7), measure.CannotTell},
		{"a limit nothing keeps", guarded, measure.Measured{Value: 8}, measure.AtLeast(inf), measure.CannotTell},
		{"no acceptance", measure.DecisionRule{}, measure.Measured{Value: 8}, measure.AtLeast(1), measure.CannotTell},
		{"a coin's confidence", measure.DecisionRule{Acceptance: measure.GuardedAcceptance, Confidence: 0.5}, measure.Measured{Value: 8}, measure.AtLeast(1), measure.CannotTell},
		{"certainty", measure.DecisionRule{Acceptance: measure.GuardedAcceptance, Confidence: 1}, measure.Measured{Value: 8}, measure.AtLeast(1), measure.CannotTell},
	} {
		if got := tc.rule.Decide(tc.m, tc.limits); got != tc.want {
			t.Errorf("%s: %v, want %v", tc.why, got, tc.want)
		}
	}
}

func TestDecideWithBias(t *testing.T) {
	for _, tc := range []struct {
		why    string
		rule   measure.DecisionRule
		value  float64
		bias   float64
		limits measure.Limits
		want   measure.Decision
	}{
		{"deep enough even if read too high", guarded, 3, 0.5, measure.AtLeast(1.6), measure.Meets},
		{"deep enough only if read right", guarded, 1.9, 0.5, measure.AtLeast(1.6), measure.CannotTell},
		{"too shallow only if read too high", guarded, 1.7, 0.5, measure.AtLeast(1.6), measure.CannotTell},
		{"too shallow either way", guarded, 1.3, 0.5, measure.AtLeast(1.6), measure.Fails},
		{"read too low: it only gets better", guarded, 2, -0.5, measure.AtLeast(1.6), measure.Meets},
		{"read too low: perhaps enough", guarded, 1.3, -0.6, measure.AtLeast(1.6), measure.CannotTell},
		{"fails above as read, below when corrected: in between it meets", guarded, 10, 3, measure.Between(8, 9), measure.CannotTell},
		{"the same by the reading alone", simple, 10, 3, measure.Between(8, 9), measure.CannotTell},
		{"fails above over the whole interval", simple, 10, 0.9, measure.Between(8, 9), measure.Fails},
		{"the benefit of the doubt over the whole interval", doubt, 1.55, 0.1, measure.AtLeast(1.6), measure.Meets},
		{"no doubt at one end", doubt, 1.55, 0.3, measure.AtLeast(1.6), measure.CannotTell},
		{"an unknown bias", simple, 3, nan, measure.AtLeast(1.6), measure.CannotTell},
		{"a bias without end", simple, 3, inf, measure.AtLeast(1.6), measure.CannotTell},
	} {
		if got := tc.rule.DecideWithBias(measure.Measured{Value: tc.value, Uncertainty: 0.1}, tc.bias, tc.limits); got != tc.want {
			t.Errorf("%s: %v, want %v", tc.why, got, tc.want)
		}
	}
}

func drawDecision(t *rapid.T) (measure.DecisionRule, measure.Measured, measure.Limits) {
	rule := measure.DecisionRule{
		Acceptance: measure.Acceptance(rapid.IntRange(1, 3).Draw(t, "acceptance")),
		Confidence: rapid.Float64Range(0.51, 0.999).Draw(t, "confidence"),
	}
	m := measure.Measured{
		Value:       rapid.Float64Range(-10, 10).Draw(t, "value"),
		Uncertainty: rapid.OneOf(rapid.Just(0.0), rapid.Float64Range(0, 20)).Draw(t, "u"),
	}
	lower := rapid.Float64Range(-10, 10).Draw(t, "lower")
	limits := []measure.Limits{measure.AtLeast(lower), measure.AtMost(lower), measure.Between(lower, lower+rapid.Float64Range(0, 10).Draw(t, "room"))}
	return rule, m, rapid.SampledFrom(limits).Draw(t, "limits")
}

func TestDecide_MoreUncertaintyNeverMakesItFirmer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		_, m, l := drawDecision(t)
		rule := measure.DecisionRule{Acceptance: measure.GuardedAcceptance, Confidence: rapid.Float64Range(0.51, 0.999).Draw(t, "sure")}
		coarser := measure.Measured{Value: m.Value, Uncertainty: m.Uncertainty + rapid.Float64Range(0, 50).Draw(t, "more")}
		before, after := rule.Decide(m, l), rule.Decide(coarser, l)
		if after != before && after != measure.CannotTell {
			t.Fatalf("u from %v to %v turned %v into %v", m.Uncertainty, coarser.Uncertainty, before, after)
		}
	})
}

func TestDecide_HigherConfidenceNeverMakesItFirmer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rule, m, l := drawDecision(t)
		rule.Acceptance = measure.GuardedAcceptance
		surer := rule
		surer.Confidence = rapid.Float64Range(rule.Confidence, 0.9999).Draw(t, "surer")
		before, after := rule.Decide(m, l), surer.Decide(m, l)
		if after != before && after != measure.CannotTell {
			t.Fatalf("confidence from %v to %v turned %v into %v", rule.Confidence, surer.Confidence, before, after)
		}
	})
}

func TestDecide_AcceptancesAgreeWhereItIsSure(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rule, m, l := drawDecision(t)
		decide := func(a measure.Acceptance) measure.Decision {
			return measure.DecisionRule{Acceptance: a, Confidence: rule.Confidence}.Decide(m, l)
		}
		byReading, sure, lenient := decide(measure.SimpleAcceptance), decide(measure.GuardedAcceptance), decide(measure.BenefitOfDoubt)
		if byReading == measure.CannotTell || lenient == measure.CannotTell {
			t.Fatalf("a sound reading left %v and %v", byReading, lenient)
		}
		if sure != measure.CannotTell && (byReading != sure || lenient != sure) {
			t.Fatalf("sure that it %v, by the reading it %v, with the benefit of the doubt it %v", sure, byReading, lenient)
		}
		if lenient == measure.Fails && sure != measure.Fails {
			t.Fatalf("failed with the benefit of the doubt, but guarded: %v", sure)
		}
		p, _ := m.Probability(l)
		if (sure == measure.Meets) != (p >= rule.Confidence) || (sure == measure.Fails && p > 1-rule.Confidence+1e-12) {
			t.Fatalf("%v with probability %v at confidence %v", sure, p, rule.Confidence)
		}
	})
}

// The interval of a bias is walked through: what is decided for both ends is
// true of every place between them, and what is not decided is undecided
// because two places differ or one is undecided itself.
func TestDecideWithBias_SpeaksForTheWholeInterval(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rule, m, l := drawDecision(t)
		bias := rapid.Float64Range(-15, 15).Draw(t, "bias")
		decided := rule.DecideWithBias(m, bias, l)
		if decided == measure.CannotTell {
			return // TestDecideWithBias says when
		}
		const places = 200
		for i := range places + 1 {
			there := m.Value - bias*float64(i)/places
			if got := rule.Decide(measure.Measured{Value: there, Uncertainty: m.Uncertainty}, l); got != decided {
				t.Fatalf("decided %v, but with a true reading of %v: %v", decided, there, got)
			}
		}
		if without := rule.Decide(m, l); decided != without {
			t.Fatalf("%v as read became %v by a doubt", without, decided)
		}
	})
}

func TestProbability_AllTogetherIsOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		_, m, _ := drawDecision(t)
		lower := rapid.Float64Range(-10, 10).Draw(t, "from")
		upper := lower + rapid.Float64Range(0, 10).Draw(t, "breadth")
		m.Uncertainty += 1e-3
		below, _ := m.Probability(measure.AtMost(lower))
		inside, _ := m.Probability(measure.Between(lower, upper))
		above, _ := m.Probability(measure.AtLeast(upper))
		if sum := below + inside + above; math.Abs(sum-1) > 1e-12 {
			t.Fatalf("%v + %v + %v = %v", below, inside, above, sum)
		}
	})
}

// Turned upside down, the same probability comes out, to the digits of the tail
// that it is part of.
func TestProbability_MirroredIsTheSame(t *testing.T) {
	check := func(t interface{ Fatalf(string, ...any) }, m measure.Measured, l measure.Limits) {
		p, _ := m.Probability(l)
		other, _ := measure.Measured{Value: -m.Value, Uncertainty: m.Uncertainty}.Probability(measure.Between(-l.Upper, -l.Lower))
		fromBelow, _ := m.Probability(measure.AtMost(l.Upper))
		fromAbove, _ := m.Probability(measure.AtLeast(l.Lower))
		if math.Abs(p-other) > 4e-16*min(fromBelow, fromAbove) { // two roundings each way
			t.Fatalf("%v keeps %v with %v, mirrored with %v", m, l, p, other)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		_, m, l := drawDecision(t)
		check(t, m, l)
	})
	check(t, measure.Measured{Value: 1.0 / 32768, Uncertainty: 1}, measure.Between(1.0/32768, 5.0/32768))
	far, _ := measure.Measured{Value: 0, Uncertainty: 1}.Probability(measure.Between(9, 10))
	// The first terms of the asymptotic series of erfc (Abramowitz and Stegun 7.1.23, from memory).
	leading := math.Exp(-81.0/2) / (9 * math.Sqrt(2*math.Pi)) * (1 - 1.0/81 + 3.0/(81*81))
	if !near(far, leading, 2e-4) {
		t.Errorf("nine deviations off: %v, want about %v", far, leading)
	}
}

func TestDecisionRule_CheckSaysWhatIsWrong(t *testing.T) {
	for _, rule := range []measure.DecisionRule{
		{},
		{Acceptance: 4},
		{Acceptance: -1},
		{Acceptance: measure.GuardedAcceptance, Confidence: 0.5},
		{Acceptance: measure.GuardedAcceptance, Confidence: 1},
		{Acceptance: measure.GuardedAcceptance, Confidence: nan},
		{Acceptance: measure.SimpleAcceptance, Confidence: -0.975},
	} {
		if rule.Check() == nil {
			t.Errorf("%+v passed", rule)
		}
	}
	if err := guarded.Check(); err != nil {
		t.Errorf("the default confidence: %v", err)
	}
}

func TestDecision_Words(t *testing.T) {
	for d, want := range map[measure.Decision]string{
		measure.Meets: "meets", measure.Fails: "fails", measure.CannotTell: "cannot tell", 9: "cannot tell",
	} {
		if got := d.String(); got != want {
			t.Errorf("decision %d is %q, want %q", int(d), got, want)
		}
	}
}

func FuzzDecide(f *testing.F) {
	f.Add(1, 0.975, 1.8, 0.1, 1.6, math.Inf(1), 0.5)
	f.Add(2, 0.0, 8.5, 0.0, 8.0, 9.0, -0.5)
	f.Add(3, 0.6, nan, 5e-324, -math.MaxFloat64, math.MaxFloat64, inf)
	f.Add(2, 0.6, math.MaxFloat64, math.MaxFloat64, -math.MaxFloat64, 0.0, -math.MaxFloat64)
	f.Fuzz(func(t *testing.T, acceptance int, confidence, value, u, lower, upper, bias float64) {
		m, l := measure.Measured{Value: value, Uncertainty: u}, measure.Between(lower, upper)
		p, known := m.Probability(l)
		if !(p >= 0 && p <= 1) {
			t.Fatalf("%v keeps %v with probability %v", m, l, p)
		}
		rule := measure.DecisionRule{Acceptance: measure.Acceptance(acceptance), Confidence: confidence}
		for _, d := range []measure.Decision{rule.Decide(m, l), rule.DecideWithBias(m, bias, l)} {
			if d != measure.CannotTell && (!known || rule.Check() != nil) {
				t.Fatalf("%v of %v against %v by %+v", d, m, l, rule)
			}
		}
	})
}
