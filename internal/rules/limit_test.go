package rules_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

const (
	guarded     = pb.DecisionRule_DECISION_RULE_GUARDED
	doubtGiven  = pb.DecisionRule_DECISION_RULE_BENEFIT_OF_DOUBT
	simple      = pb.DecisionRule_DECISION_RULE_SIMPLE
	atLeast     = pb.LimitSide_LIMIT_SIDE_AT_LEAST
	atMost      = pb.LimitSide_LIMIT_SIDE_AT_MOST
	moreThan    = pb.LimitSide_LIMIT_SIDE_MORE_THAN
	lessThan    = pb.LimitSide_LIMIT_SIDE_LESS_THAN
	kept        = pb.LimitOutcome_LIMIT_OUTCOME_MEETS
	broken      = pb.LimitOutcome_LIMIT_OUTCOME_FAILS
	nobodyKnows = pb.LimitOutcome_LIMIT_OUTCOME_CANNOT_TELL
)

// table reads one of testdata/reference, by column.
func table(t testing.TB, name string, least int) []map[string]string {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "..", "testdata", "reference", name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	lines, err := csv.NewReader(file).ReadAll()
	if err != nil || len(lines) <= least {
		t.Fatalf("%s: %v, %d lines", name, err, len(lines))
	}
	var rows []map[string]string
	for _, line := range lines[1:] {
		row := map[string]string{}
		for i, column := range lines[0] {
			row[column] = line[i]
		}
		rows = append(rows, row)
	}
	return rows
}

func figure(t testing.TB, row map[string]string, column string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(row[column], 64)
	if err != nil {
		t.Fatalf("%s of %v: %v", column, row, err)
	}
	return x
}

// limited is a rule with a limit on a pressure, and its judge.
func limited(t testing.TB, l *pb.Limit, change ...func(*pb.Rule)) *rules.Judge {
	t.Helper()
	return judge(t, pack(rule("limit", func(r *pb.Rule) {
		r.Items, r.Limit, r.Text = []string{"TYR-010"}, l, "{o.value} is too little"
		for _, c := range change {
			c(r)
		}
	})))
}

// outcomeOf is what came of a limit: kept when there is no finding.
func outcomeOf(t testing.TB, j *rules.Judge, o *pb.Observation) (pb.LimitOutcome, *pb.Finding) {
	t.Helper()
	switch found := j.Result(o); len(found) {
	case 0:
		return kept, nil
	case 1:
		if found[0].GetLimit() == nil {
			t.Fatalf("a finding without its limit: %v", found[0])
		}
		return found[0].GetLimit().GetOutcome(), found[0]
	default:
		t.Fatalf("%d findings: %v", len(found), found)
		return 0, nil
	}
}

// TestLimit_ConformityCases: the four-way rule of ILAC-G8 with w = U = 2u over
// published cases. What is kept or not only on a condition there, nobody can
// tell here. Cases between two limits are two limits in a pack; their
// probabilities are of both ends together, so they are left out.
func TestLimit_ConformityCases(t *testing.T) {
	outcomes := map[string]pb.LimitOutcome{"PASS": kept, "FAIL": broken, "CONDITIONAL_PASS": nobodyKnows, "CONDITIONAL_FAIL": nobodyKnows}
	held := 0
	for _, row := range table(t, "conformity-cases.csv", 15) {
		if row["lower_limit"] != "" && row["upper_limit"] != "" {
			continue
		}
		held++
		t.Run(row["case"]+": "+row["source"], func(t *testing.T) {
			side, bound := atLeast, row["lower_limit"]
			if bound == "" {
				side, bound = atMost, row["upper_limit"]
			}
			// Φ(2) to nine digits, so that a reading at the end of the guard band is sure.
			l := &pb.Limit{Number: "o.value", Side: side, Bound: bound, Uncertainty: row["standard_uncertainty_u"], Decision: guarded, Confidence: 0.97724986}
			o := reading(step("TYR-010", "a"), 1, figure(t, row, "reading"))
			got, found := outcomeOf(t, limited(t, l), o)
			if want := outcomes[row["four_way_decision_w_equals_U"]]; got != want {
				t.Errorf("%v, want %v", got, want)
			}
			if p := figure(t, row, "probability_conforming"); found != nil && math.Abs(found.GetLimit().GetProbabilityKept()-p) > 1e-9 {
				t.Errorf("P %v, want %v", found.GetLimit().GetProbabilityKept(), p)
			}
		})
	}
	if held < 10 {
		t.Errorf("only %d cases were held", held)
	}
}

// TestLimit_GuardBands: the probability at the end of guard bands of ILAC-G8, table 1.
func TestLimit_GuardBands(t *testing.T) {
	for _, row := range table(t, "guard-band-risk.csv", 6) {
		t.Run(row["rule"], func(t *testing.T) {
			// U = 2u = 20 kPa; nothing is sure enough for this confidence.
			l := &pb.Limit{Number: "o.value", Side: atLeast, Bound: "800.0", Uncertainty: "10.0", Decision: guarded, Confidence: 0.999999}
			o := reading(step("TYR-010", "a"), 1, 800+20*figure(t, row, "guard_band_as_multiple_of_U"))
			_, found := outcomeOf(t, limited(t, l), o)
			if want := figure(t, row, "probability_conforming_at_acceptance_limit"); math.Abs(found.GetLimit().GetProbabilityKept()-want) > 1e-9 {
				t.Errorf("P %v, want %v", found.GetLimit().GetProbabilityKept(), want)
			}
		})
	}
}

// TestLimit_Sides: at the bound itself, and next to it, without uncertainty
// (the words of the contract, LimitSide).
func TestLimit_Sides(t *testing.T) {
	for _, tc := range []struct {
		side              pb.LimitSide
		below, at, beyond pb.LimitOutcome
	}{
		{atLeast, broken, kept, kept},
		{moreThan, broken, broken, kept},
		{atMost, kept, kept, broken},
		{lessThan, kept, broken, broken},
	} {
		for _, decision := range []pb.DecisionRule{0, simple, guarded, doubtGiven} {
			l := &pb.Limit{Number: "o.value", Side: tc.side, Bound: "800.0", Decision: decision, Uncertainty: "0.0"}
			j := limited(t, l)
			for value, want := range map[float64]pb.LimitOutcome{math.Nextafter(800, 0): tc.below, 800: tc.at, math.Nextafter(800, 1000): tc.beyond} {
				if got, _ := outcomeOf(t, j, reading(step("TYR-010", "a"), 1, value)); got != want {
					t.Errorf("%v %v: %v is %v, want %v", decision, tc.side, value, got, want)
				}
			}
		}
	}
}

// TestLimit_Decisions: what each decision rule makes of a reading near the bound,
// and what a gauge can still prove. u of the gauge is 9.68 kPa
// (instrument-uncertainty.csv: 0.0967815409 bar), so that U is about 19 kPa.
func TestLimit_Decisions(t *testing.T) {
	inDate, lapsed := func(*pb.Gauge) {}, func(g *pb.Gauge) { g.CalibrationDue = day(1) }
	high := func(g *pb.Gauge) { g.Checks = []*pb.GaugeCheck{checked(60, 28, false)} }
	low := func(g *pb.Gauge) { g.Checks = []*pb.GaugeCheck{checked(60, -28, false)} }
	for _, tc := range []struct {
		name     string
		decision pb.DecisionRule
		life     bool
		gauge    string
		change   func(*pb.Gauge)
		kpa      float64
		want     pb.LimitOutcome
		text     string // part of it
	}{
		{"simple, just kept", simple, false, "gauges/g-03", inDate, 800, kept, ""},
		{"simple, just not", simple, false, "gauges/g-03", inDate, 799, broken, "799 is too little"},
		{"guarded, sure", guarded, false, "gauges/g-03", inDate, 820, kept, ""},
		{"guarded, near", guarded, false, "gauges/g-03", inDate, 805, nobodyKnows, "Cannot tell: 8.05 bar ± 0.19 bar against at least 8 bar (P 0.70): read it again, or with another gauge."},
		{"guarded, near below", guarded, false, "gauges/g-03", inDate, 795, nobodyKnows, "(P 0.30)"},
		{"guarded, sure below", guarded, false, "gauges/g-03", inDate, 780, broken, "780 is too little"},
		{"doubt given, near below", doubtGiven, false, "gauges/g-03", inDate, 795, kept, ""},
		{"doubt given, sure below", doubtGiven, false, "gauges/g-03", inDate, 780, broken, ""},

		{"guarded, no gauge named", guarded, false, "", inDate, 900, nobodyKnows, "Cannot tell: 9 bar against at least 8 bar, but nobody knows which gauge it was read with: read it again and name the gauge."},
		{"guarded, no gauge named, as read not kept", guarded, false, "", inDate, 799, broken, ""},
		{"doubt given, no gauge named", doubtGiven, false, "", inDate, 801, kept, ""},
		{"guarded, overdue", guarded, false, "gauges/g-03", lapsed, 900, kept, ""},
		{"life, in date", guarded, true, "gauges/g-03", inDate, 900, kept, ""},
		{"life, overdue", guarded, true, "gauges/g-03", lapsed, 900, nobodyKnows, "(P > 0.999), but the gauge's calibration had lapsed, or nobody knows when it does: read it again with a gauge that is in date."},
		{"life, overdue, sure below", guarded, true, "gauges/g-03", lapsed, 700, broken, ""},
		{"life by a simple rule, overdue", simple, true, "gauges/g-03", lapsed, 900, nobodyKnows, "lapsed"},
		{"life, no gauge named", guarded, true, "", inDate, 900, nobodyKnows, "name the gauge"},

		{"read high, far above", guarded, false, "gauges/g-03", high, 850, kept, ""},
		{"read high, the truth may be below", guarded, false, "gauges/g-03", high, 840, nobodyKnows, "the gauge was found wrong, and nobody knows since when: read it again with another gauge."},
		{"read high and below", guarded, false, "gauges/g-03", high, 780, broken, ""},
		{"read low, the truth may be above", guarded, false, "gauges/g-03", low, 780, nobodyKnows, "found wrong"},
		{"read low and far below", guarded, false, "gauges/g-03", low, 750, broken, ""},
		{"simple, read high", simple, false, "gauges/g-03", high, 820, nobodyKnows, "found wrong"},
		{"doubt given, read high", doubtGiven, false, "gauges/g-03", high, 790, kept, ""},
		{"life, read high, far above", guarded, true, "gauges/g-03", high, 1000, nobodyKnows, "found wrong"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			j := limited(t, &pb.Limit{Number: "o.value", Side: atLeast, Bound: "800.0", Unit: "kPa", Decision: tc.decision, GuardsLife: tc.life})
			s, r := pressureOn(50, tc.gauge, tc.kpa)
			s.Units = []string{"bar"}
			got, found := outcomeOf(t, j, rules.Circumstances{Gauges: tyreGauge(tc.change)}.Observe(s, r))
			if got != tc.want {
				t.Fatalf("%v, want %v: %s", got, tc.want, found.GetText())
			}
			if !strings.Contains(found.GetText(), tc.text) {
				t.Errorf("%q, want it to say %q", found.GetText(), tc.text)
			}
			if got == nobodyKnows && found.GetEffect() != pb.Effect_EFFECT_UNSPECIFIED || got == broken && found.GetEffect() != pb.Effect_EFFECT_RESPONDING {
				t.Errorf("effect %v", found.GetEffect())
			}
			if p := found.GetLimit().GetProbabilityKept(); tc.gauge == "" && p != 0 {
				t.Errorf("P %v of what nobody knows the worth of", p)
			}
		})
	}
}

// TestLimit_FindingIsWhole: what a finding says of its limit.
func TestLimit_FindingIsWhole(t *testing.T) {
	l := &pb.Limit{Number: "round(o.share_of_target, 6)", Side: atLeast, Bound: "0.8", Decision: guarded, GuardsLife: true, Why: "run flat below that"}
	j := limited(t, l, func(r *pb.Rule) { r.NamesFault = "TYR-010-01" })
	observe := func(kpa float64) *pb.Observation {
		return rules.Circumstances{Gauges: tyreGauge(func(*pb.Gauge) {})}.Observe(pressureOn(50, "gauges/g-03", kpa))
	}
	_, fails := outcomeOf(t, j, observe(600))
	u := math.Sqrt(16.0*16/3+10.0*10/12) / 850 // GUM 4.3.7 and F.2.2.1, as a share of 850 kPa
	near := protocmp.FilterField(&pb.LimitJudged{}, "standard_uncertainty", cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-12 }))
	want := &pb.LimitJudged{
		Number: "share_of_target", Value: 0.705882, StandardUncertainty: u, Bound: 0.8, Side: atLeast,
		Decision: guarded, Confidence: 0.975, Outcome: broken, Why: "run flat below that",
	}
	if p := fails.GetLimit().GetProbabilityKept(); !(p > 0 && p < 1e-12) { // more than eight u below
		t.Errorf("P %v", p)
	}
	if d := cmp.Diff(want, fails.GetLimit(), protocmp.Transform(), protocmp.IgnoreFields(&pb.LimitJudged{}, "probability_kept"), near); d != "" {
		t.Errorf("limit (-want +got):\n%s", d)
	}
	if fails.GetFault() != "TYR-010-01" || fails.GetEffect() != pb.Effect_EFFECT_RESPONDING {
		t.Errorf("fault %q, effect %v", fails.GetFault(), fails.GetEffect())
	}
	_, open := outcomeOf(t, j, observe(690))
	if open.GetFault() != "" || !open.GetRecheckCloses() || open.GetDriverDoes() != "" || open.GetLimit().GetWhy() == l.GetWhy() {
		t.Errorf("what nobody can tell bears the fault: %v", open)
	}
	if want := "Cannot tell: 81.2 % ± 2.3 % against at least 80 % (P 0.85): read it again, or with another gauge."; open.GetText() != want {
		t.Errorf("%q, want %q", open.GetText(), want)
	}
	if again, _ := outcomeOf(t, j, observe(690)); again != nobodyKnows {
		t.Errorf("the same reading gives %v", again)
	}
	if _, twice := outcomeOf(t, j, observe(690)); twice.GetFindingId() != open.GetFindingId() {
		t.Error("the same finding has two ids")
	}
}

// TestLimit_BesideConditionAndFault: all that a rule names must hold.
func TestLimit_BesideConditionAndFault(t *testing.T) {
	soft := &pb.Limit{Number: "o.value", Side: atLeast, Bound: "o.target", Decision: simple, Unit: "kPa"}
	axle1, axle2 := wheel("TYR-010", 1, nearside, 0), wheel("TYR-010", 2, nearside, pb.TwinPosition_TWIN_POSITION_OUTER)
	first := limited(t, soft, func(r *pb.Rule) { r.When = "o.step.axle == 1" })
	for _, tc := range []struct {
		o    *pb.Observation
		want pb.LimitOutcome
	}{{reading(axle1, 1, 849), broken}, {reading(axle1, 1, 850), kept}, {reading(axle2, 1, 849), kept}} {
		if got, _ := outcomeOf(t, first, tc.o); got != tc.want {
			t.Errorf("%s %v: %v, want %v", tc.o.GetStep().GetStepId(), tc.o.GetValue(), got, tc.want)
		}
	}
	// Fluid low is a fault seen beside a level; only below a quarter is it met.
	low := judge(t, pack(rule("low", func(r *pb.Rule) {
		r.Faults = []string{"FLU-020-02"}
		r.Limit = &pb.Limit{Number: "o.level", Side: atLeast, Bound: "0.25"}
	})))
	for _, tc := range []struct {
		fraction   float64
		conditions []string
		want       int
	}{{0.2, []string{"02"}, 1}, {0.25, []string{"02"}, 0}, {0.2, nil, 0}} {
		o := beside(step("FLU-020", "a"), pb.LevelMark_LEVEL_MARK_BETWEEN, tc.conditions...)
		o.Result.GetLevel().Fraction = tc.fraction
		if found := low.Result(rules.Observe(o.GetStep(), o.GetResult())); len(found) != tc.want {
			t.Errorf("%v with %v: %v", tc.fraction, tc.conditions, found)
		}
	}
}

// TestLimit_CannotBeWorkedOut: no number is no verdict, least of all that it is kept.
func TestLimit_CannotBeWorkedOut(t *testing.T) {
	s := step("TYR-010", "a")
	nothing := rules.Observe(s, result(s, 1, func(r *pb.Result) { r.Answer = &pb.Result_Reading{Reading: &pb.Reading{}} }))
	for name, tc := range map[string]struct {
		l *pb.Limit
		o *pb.Observation
	}{
		"no value":            {&pb.Limit{Number: "o.value", Side: atLeast, Bound: "1.0"}, nothing},
		"number by zero":      {&pb.Limit{Number: "o.value / (o.value - 850.0)", Side: atLeast, Bound: "1.0"}, reading(s, 1, 850)},
		"no bound":            {&pb.Limit{Number: "o.value", Side: atLeast, Bound: `double(vehicle.call_sign)`}, reading(s, 1, 850)},
		"bound without end":   {&pb.Limit{Number: "o.value", Side: atMost, Bound: "o.value * 1e308"}, reading(s, 1, 850)},
		"less than no doubt":  {&pb.Limit{Number: "o.value", Side: atLeast, Bound: "1.0", Uncertainty: "-1.0", Decision: guarded}, reading(s, 1, 850)},
		"worth without value": {&pb.Limit{Number: "o.value", Side: atLeast, Bound: "1.0", Uncertainty: "o.standard_uncertainty", Decision: guarded}, reading(s, 1, 850)},
	} {
		found := limited(t, tc.l).Result(tc.o)
		if len(found) != 1 || found[0].GetEffect() != pb.Effect_EFFECT_UNSPECIFIED || found[0].GetLimit() != nil || !strings.Contains(found[0].GetText(), "could not be worked out") {
			t.Errorf("%s: %v", name, found)
		}
	}
}

// TestLimit_DefaultWorth: where the uncertainty of a number comes from when none is given.
func TestLimit_DefaultWorth(t *testing.T) {
	u := math.Sqrt(16.0*16/3 + 10.0*10/12)
	o := rules.Circumstances{Gauges: tyreGauge(func(*pb.Gauge) {})}.Observe(pressureOn(50, "gauges/g-03", 500))
	for number, want := range map[string]float64{
		"o.value":                           u,
		`o.values["pressure"]`:              u,
		"round(o.value, 1)":                 u,
		"bar(o.value)":                      u / 100,
		"round(psi(o.value), 3)":            u / 6.894757293168361,
		"o.share_of_target":                 u / 850,
		"round(o.share_of_target*100.0, 1)": u / 8.5,
		"(o.value / 10.0)":                  u / 10,
		"o.value * 2.0 + 1.0":               0, // put together: nobody knows
	} {
		_, found := outcomeOf(t, limited(t, &pb.Limit{Number: number, Side: atLeast, Bound: "1e6"}), o)
		if got := found.GetLimit().GetStandardUncertainty(); math.Abs(got-want) > 1e-12 {
			t.Errorf("%s: u = %v, want %v", number, got, want)
		}
	}
}

// TestLimit_MoreUncertaintyIsNeverFirmer: a worse gauge never decides what a better one could not.
func TestLimit_MoreUncertaintyIsNeverFirmer(t *testing.T) {
	rank := map[pb.LimitOutcome]int{nobodyKnows: 0, kept: 1, broken: 1}
	for value := 700.0; value <= 900; value += 7 {
		firm := 1
		for _, u := range []float64{0, 1, 5, 10, 40, 200} {
			l := &pb.Limit{Number: "o.value", Side: atLeast, Bound: "800.0", Uncertainty: fmt.Sprintf("%.1f", u), Decision: guarded}
			got, _ := outcomeOf(t, limited(t, l), reading(step("TYR-010", "a"), 1, value))
			if rank[got] > firm {
				t.Errorf("%v with u = %v: %v, after nobody could tell with less", value, u, got)
			}
			firm = rank[got]
		}
	}
}

// TestLimit_PutTogetherFromAWrongGauge: nobody knows how far a number moves that is
// put together from a reading of a gauge that was found wrong.
func TestLimit_PutTogetherFromAWrongGauge(t *testing.T) {
	for _, tc := range []struct {
		number string
		change func(*pb.Gauge)
		want   pb.LimitOutcome
	}{
		{"o.value + 0.0", func(*pb.Gauge) {}, kept},
		{"o.value + 0.0", func(g *pb.Gauge) { g.Checks = []*pb.GaugeCheck{checked(60, 28, false)} }, nobodyKnows},
		{"double(o.step.axle) + 899.0", func(g *pb.Gauge) { g.Checks = []*pb.GaugeCheck{checked(60, 28, false)} }, kept},
	} {
		j := limited(t, &pb.Limit{Number: tc.number, Side: atLeast, Bound: "800.0", Decision: simple})
		o := rules.Circumstances{Gauges: tyreGauge(tc.change)}.Observe(pressureOn(50, "gauges/g-03", 900))
		if got, _ := outcomeOf(t, j, o); got != tc.want {
			t.Errorf("%s: %v, want %v", tc.number, got, tc.want)
		}
	}
}

// TestFinding_NumbersOfAReading: what was read, what was made of it and what it is
// worth stand among the numbers of a finding, each with its unit in its name.
func TestFinding_NumbersOfAReading(t *testing.T) {
	j := judge(t, pack(rule("any", func(r *pb.Rule) { r.Items, r.When = []string{"TYR-010"}, "true" })))
	c := rules.Circumstances{
		Station: &pb.Station{ReferenceCelsius: 20},
		Gauges:  tyreGauge(func(g *pb.Gauge) { g.Checks = []*pb.GaugeCheck{checked(60, -28, false)} }),
	}
	s := coldWheel(1, nearside, 0)
	o := c.Observe(s, readIn(s, 50, 785.096367, 0)) // 850 kPa at 20 °C (tyre-pressure-temperature.csv)
	want := map[string]float64{
		"pressure_kpa": 850, "as_read_kpa": 785.096367, "air_celsius": 0, "target_kpa": 850, "share_of_target": 1,
		"pressure_uncertainty_kpa": o.GetStandardUncertainty(), "may_read_high_by_kpa": -28 * 293.15 / 273.15,
	}
	got := j.Result(o)[0].GetNumbers()
	if len(got) != len(want) {
		t.Errorf("numbers %v", got)
	}
	for name, x := range want {
		if y, there := got[name]; !there || math.Abs(y-x) > 1e-5 {
			t.Errorf("%s is %v, want %v", name, y, x)
		}
	}
}
