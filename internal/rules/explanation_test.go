package rules_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/durationpb"
	"pgregory.net/rapid"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// told is an explanation as people read it.
func told(e *pb.Explanation) string {
	var b strings.Builder
	for _, l := range e.GetLines() {
		b.WriteString(strings.TrimPrefix(l.GetPart().String(), "EXPLANATION_PART_") + " " + l.GetText() + "\n")
	}
	return b.String()
}

// TestExplain_Pressure: a finding on a pressure, from the reading to the source. The
// numbers are worked out by hand: 640 kPa at 4 °C are 672.3 kPa at 15 °C and 4 m;
// u as in TestObserve_NormalisedWorth.
func TestExplain_Pressure(t *testing.T) {
	j := judge(t, pack(rule("soft", func(r *pb.Rule) {
		r.Items, r.NamesFault, r.ForVehicles = []string{"TYR-010"}, "TYR-010-01", "vehicle.gross_mass_kg > 3500.0"
		r.Limit = &pb.Limit{Number: "round(o.share_of_target, 6)", Side: atLeast, Bound: "0.8", Decision: guarded, GuardsLife: true, Why: "run flat below that"}
		r.Source = &pb.Source{Title: "tyre trade", Clause: "80 % rule", Status: pb.SourceStatus_SOURCE_STATUS_COMMON_PRACTICE}
		r.LongestDeferralDays = 0
	})))
	station := &pb.Station{AltitudeM: 4, ReferenceCelsius: 15}
	c := rules.Circumstances{Station: station, Gauges: tyreGauge(func(*pb.Gauge) {}), Series: weekly(700, 695, 690)}
	s := coldWheel(1, nearside, 0)
	s.Title = "Tyre pressure"
	r := readIn(s, 50, 640, 4)
	r.Person = "people/k-vey"
	r.GetReading().GetValues()[0].Again = []float64{6.4, 6.4}
	o := c.Observe(s, r)
	found := j.Result(o)
	if len(found) != 1 {
		t.Fatalf("found %v", found)
	}
	want := `READ Tyre pressure, axle-1-nearside: 6.4 and 6.4 and 6.4 bar, by K. Vey, 20 Apr 2026 10:00 CEST, with G-03.
MADE Mean of 3 readings: 6.4 bar; they scatter by 0 bar.
MADE Brought from 4 to 15 °C at 4 m: (6.4 + 1.013) × 288.15 K / 277.15 K − 1.013 = 6.694 bar.
MADE That is 78.76 % of the 8.5 bar aimed at.
UNCERTAINTY Greatest error ±0.16 bar / √3 = 0.092 bar; step 0.1 bar / √12 = 0.029 bar; thermometer ±2 K / √3 = 0.032 bar; standard uncertainty u = 0.11 bar, U = 2u = 0.21 bar.
LIMIT Rule soft: share of target must be at least 80 %.
WHY Run flat below that; it is for vehicles where vehicle.gross_mass_kg > 3500.0 (test).
CONFIDENCE Kept only when that is sure, and not kept only when that is sure; sure is P 0.975; P that it is kept is 0.16; so nobody can tell: it lies too near the bound for what it was read with.
HISTORY 4 readings in 71 days: too little to speak of a slope.
MEANING Proves nothing: the vehicle is unproven until this is looked at again. Below 80 % of its pressure a tyre counts as run flat: its walls have bent and heated, and it can burst. Do not inflate it before it was taken off and examined by someone trained for it (common practice; local rules come first).
SOURCE tyre trade, 80 % rule; common practice, no published text. Rule pack test 1.
`
	zone, err := time.LoadLocation("Europe/Oslo")
	if err != nil {
		t.Fatal(err)
	}
	people := map[string]*pb.Person{"people/k-vey": {Title: "K. Vey"}}
	e := j.In(c).Explain(found[0], []*pb.Observation{o}, rules.Reader{People: people, Zone: zone})
	if d := cmp.Diff(want, told(e)); d != "" {
		t.Errorf("explanation (-want +got):\n%s", d)
	}
	if d := cmp.Diff(found[0], e.GetFinding(), protocmp.Transform()); d != "" {
		t.Errorf("the finding in it is another: %s", d)
	}
	for _, l := range e.GetLines() {
		if l.GetStepId() != s.GetStepId() {
			t.Errorf("a line about %q", l.GetStepId())
		}
	}
	if u := e.GetLines()[4]; math.Abs(u.GetNumber()-0.1057) > 5e-4 || u.GetUnit() != "bar" {
		t.Errorf("u = %v %s", u.GetNumber(), u.GetUnit())
	}
}

// TestExplain_Others: what stands in explanations of other kinds of findings.
func TestExplain_Others(t *testing.T) {
	tyre := step("TYR-020", "axle-1-nearside")
	lamps := []*pb.Observation{seen(step("LMP-010", "stop-left"), 1, "01"), seen(step("LMP-010", "stop-right"), 2, "01")}
	wheels := []*pb.Observation{}
	for n := range 6 {
		s := coldWheel(int32(n/2+1), nearside, 0)
		s.StepId, s.Place.Title = s.GetStepId()+string(rune('a'+n)), "wheel "+string(rune('a'+n))
		series := &pb.Series{}
		for w := range 10 {
			series.Points = append(series.Points, &pb.SeriesPoint{LookedAt: day(7*w - 70), Value: 850 + float64((w*5+n*3)%4) - float64(n/5*w*6)})
		}
		wheels = append(wheels, rules.Circumstances{Series: series}.Observe(s, readIn(s, 0, 850-float64(n/5*60), 15)))
	}
	oil := step("FLU-010", "engine-flap")
	oil.VolumeBetweenMarksL = 2
	j := judge(t, pack(
		rule("cut", func(r *pb.Rule) { r.Faults, r.Grade = []string{"TYR-020-01"}, pb.Grade_GRADE_DANGEROUS }),
		grouped(pb.Grouping_GROUPING_LAMP_FUNCTION, func(r *pb.Rule) {
			r.Id, r.Items, r.When = "dark", []string{"LMP-010"}, `count_seen(group, ["LMP-010-01"]) == size(group)`
		}),
		rule("spread", func(r *pb.Rule) {
			r.Scope, r.Items, r.When = pb.RuleScope_RULE_SCOPE_VEHICLE, []string{"TYR-010"}, "spread(group.map(x, x.value)) > 50.0"
		}),
		rule("low", func(r *pb.Rule) {
			r.Items, r.When, r.Effect = []string{"FLU-010"}, "o.level < 0.3", pb.Effect_EFFECT_NOTHING
		}),
		rule("broken", func(r *pb.Rule) { r.Items, r.When = []string{"FLU-020"}, "o.value > 1.0" }),
		rule("worn", func(r *pb.Rule) {
			r.Items, r.Limit = []string{"TYR-030"}, &pb.Limit{Number: "o.tread_band_mm", Side: atLeast, Bound: "3.0", Unit: "mm"}
		}),
	))
	one := func(o *pb.Observation) ([]*pb.Finding, []*pb.Observation) { return j.Result(o), []*pb.Observation{o} }
	many := func(os []*pb.Observation) ([]*pb.Finding, []*pb.Observation) { return j.Groups(os), os }
	for _, tc := range []struct {
		name  string
		about func() ([]*pb.Finding, []*pb.Observation)
		wants []string
	}{
		{"a fault", func() ([]*pb.Finding, []*pb.Observation) { return one(seen(tyre, 1, "01")) }, []string{
			"READ TYR-020, axle-1-nearside: seen: cut to the cord, ", "LIMIT Rule cut: cut to the cord is seen.",
			"WHY It is for every vehicle under this pack (test).", "CONFIDENCE What was seen is taken as it was seen.",
			"MEANING The vehicle does not respond; it may be moved to repair; graded dangerous.", "SOURCE invented for the test; the service's own decision.",
		}},
		{"a fault nobody speaks of", func() ([]*pb.Finding, []*pb.Observation) { return one(seen(tyre, 1, "02")) }, []string{
			"READ TYR-020, axle-1-nearside: seen: bulge", "LIMIT No rule of this vehicle's packs speaks of it.", "MEANING Proves nothing",
		}},
		{"a group of lamps", func() ([]*pb.Finding, []*pb.Observation) { return many(lamps) }, []string{
			"READ LMP-010, stop-left: seen: does not light", "READ LMP-010, stop-right: seen: does not light",
			`LIMIT Rule dark: 2 results [where count_seen(group, ["LMP-010-01"]) == size(group)].`, "CONFIDENCE The numbers are taken as they are.",
		}},
		{"six wheels", func() ([]*pb.Finding, []*pb.Observation) { return many(wheels) }, []string{
			"READ And 2 more places.", "MADE From 7.9 bar (wheel f) to 8.5 bar (wheel a): 0.6 bar apart.",
			"UNCERTAINTY 6 of 6 were read with a gauge that was not in date, was found wrong, or that nobody knows.",
			"HISTORY Most against its peers loses wheel f: 0.0", "by 11 days read together.",
		}},
		{"a level", func() ([]*pb.Finding, []*pb.Observation) {
			return one(level(oil, pb.LevelMark_LEVEL_MARK_BETWEEN, 0.25))
		}, []string{
			"READ FLU-010, engine-flap: 25 % of the way from the lower to the upper mark", "MADE 1.5 L bring it to the upper mark.",
			"LIMIT Rule low: Found by low [where o.level < 0.3].", "MEANING Takes nothing away: it is put right in its turn; graded major.",
		}},
		{"one that could not be worked out", func() ([]*pb.Finding, []*pb.Observation) {
			return one(level(step("FLU-020", "a"), pb.LevelMark_LEVEL_MARK_BETWEEN, 0.25))
		}, []string{"CONFIDENCE It could not be worked out, and what cannot be worked out proves nothing."}},
		{"a tread", func() ([]*pb.Finding, []*pb.Observation) { return one(tread(step("TYR-030", "a"), 8, 8, 2, 2, 2)) }, []string{
			"READ TYR-030, a: from the outer to the inner shoulder 8 8 2 2 2 mm",
			"MADE Best continuous band of three quarters of the breadth, all round: from 0 to 0.75 of it, 2 mm at the least; central band 2 mm; anywhere 2 mm.",
			"MADE Worn unevenly: on the inner shoulder.", "LIMIT Rule worn: tread in the best band must be at least 3 mm.",
			"CONFIDENCE The number is taken as it is and the risk is shared; not kept.",
		}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			found, looked := tc.about()
			if len(found) != 1 {
				t.Fatalf("found %v", found)
			}
			text := told(j.Explain(found[0], looked, rules.Reader{}))
			for _, want := range tc.wants {
				if !strings.Contains(text, want) {
					t.Errorf("it does not say %q:\n%s", want, text)
				}
			}
		})
	}
}

// TestExplain_Laws: whatever was found, an explanation fits on a screen, its lines
// come in the order of their parts, and no number in it is none.
func TestExplain_Laws(t *testing.T) {
	j := judge(t, pack(
		rule("soft", func(r *pb.Rule) {
			r.Items, r.Text = []string{"TYR-010"}, "soft"
			r.Limit = &pb.Limit{Number: "o.value", Side: moreThan, Bound: "o.has_target ? o.target : 800.0", Unit: "kPa", Decision: guarded, GuardsLife: true}
		}),
		rule("spread", func(r *pb.Rule) {
			r.Scope, r.Items, r.When = pb.RuleScope_RULE_SCOPE_VEHICLE, []string{"TYR-010"}, "true"
		}),
	))
	rapid.Check(t, func(t *rapid.T) {
		odd := rapid.OneOf(anyDouble(), rapid.Float64Range(0, 1000))
		var os []*pb.Observation
		for n := range rapid.IntRange(1, 7).Draw(t, "wheels") {
			s := coldWheel(int32(n+1), nearside, 0)
			if rapid.Bool().Draw(t, "target") {
				target := odd.Draw(t, "target is")
				s.Target = &target
			}
			c := rules.Circumstances{Gauges: tyreGauge(func(g *pb.Gauge) { g.MaxPermissibleError = odd.Draw(t, "mpe") }), Series: &pb.Series{}}
			if rapid.Bool().Draw(t, "station") {
				c.Station = &pb.Station{AltitudeM: odd.Draw(t, "altitude"), ReferenceCelsius: odd.Draw(t, "reference")}
			}
			for w := range rapid.IntRange(0, 12).Draw(t, "weeks") {
				c.Series.Points = append(c.Series.Points, &pb.SeriesPoint{LookedAt: day(7*w - 100), Value: odd.Draw(t, "was"), Added: odd.Draw(t, "added")})
			}
			r := readIn(s, 0, odd.Draw(t, "kpa"), odd.Draw(t, "air"))
			r.GetReading().GetValues()[0].Again = rapid.SliceOfN(odd, 0, 9).Draw(t, "again")
			os = append(os, c.Observe(s, r))
		}
		var found []*pb.Finding
		for _, o := range os {
			for _, f := range j.Result(o) {
				holdExplanation(t, j.Explain(f, []*pb.Observation{o}, rules.Reader{}))
				found = append(found, f)
			}
		}
		for _, f := range j.Groups(os) {
			holdExplanation(t, j.Explain(f, os, rules.Reader{}))
			found = append(found, f)
		}
		for _, f := range found {
			for name, x := range f.GetNumbers() {
				if math.IsNaN(x) || math.IsInf(x, 0) {
					t.Fatalf("%s is %v", name, x)
				}
			}
			l := f.GetLimit()
			for _, x := range []float64{l.GetValue(), l.GetStandardUncertainty(), l.GetBound(), l.GetProbabilityKept()} {
				if math.IsNaN(x) || math.IsInf(x, 0) {
					t.Fatalf("limit %v", l)
				}
			}
		}
	})
}

func holdExplanation(t *rapid.T, e *pb.Explanation) {
	if n := len(e.GetLines()); n == 0 || n > 14 {
		t.Fatalf("%d lines", n)
	}
	before := pb.ExplanationPart(0)
	for _, l := range e.GetLines() {
		if l.GetPart() < before || l.GetText() == "" {
			t.Fatalf("%v after %v: %q", l.GetPart(), before, l.GetText())
		}
		if strings.Contains(l.GetText(), "NaN") || strings.Contains(l.GetText(), "Inf") || math.IsNaN(l.GetNumber()) || math.IsInf(l.GetNumber(), 0) {
			t.Fatalf("%q arrives at %v", l.GetText(), l.GetNumber())
		}
		before = l.GetPart()
	}
}

// TestLimits: bounds in the unit of what is measured, of rules that apply here now.
func TestLimits(t *testing.T) {
	bound := func(id, number, bound string, side pb.LimitSide, change ...func(*pb.Rule)) *pb.Rule {
		return rule(id, func(r *pb.Rule) {
			r.Items, r.Limit = []string{"TYR-010"}, &pb.Limit{Number: number, Side: side, Bound: bound}
			for _, c := range change {
				c(r)
			}
		})
	}
	j := judge(t, pack(
		bound("value", "o.value", "690.0", atLeast, func(r *pb.Rule) { r.Limit.Unit, r.Limit.Why = "kPa", "policy" }),
		bound("share", "round(o.share_of_target, 6)", "0.8", moreThan),
		bound("psi", "psi(o.value)", "145.0", atMost, func(r *pb.Rule) { r.Limit.Unit = "psi" }),
		bound("turned", "o.value * -1.0", "-700.0", atMost),
		bound("elsewhere", "o.value", "1.0", atLeast, func(r *pb.Rule) { r.When = "o.step.axle == 9" }),
		bound("of nothing", "o.value + 0.0", "1.0", atLeast, func(r *pb.Rule) { r.Id = "sum" }),
		rule("no-limit", func(r *pb.Rule) { r.Items, r.When = []string{"TYR-010"}, "o.value < 1.0" }),
	))
	s := coldWheel(1, nearside, 0)
	var got []string
	for _, l := range j.Limits(rules.Observe(s, readIn(s, 0, 800, 10))) {
		got = append(got, strings.Join([]string{l.GetRule(), l.GetText(), strings.TrimPrefix(l.GetSide().String(), "LIMIT_SIDE_")}, "|"))
		want := map[string]float64{"value": 690, "share": 680, "psi": 145 * 6.894757293168361, "turned": 700}[l.GetRule()]
		if math.Abs(l.GetBound()-want) > 1e-9 || l.GetEffect() != pb.Effect_EFFECT_RESPONDING || l.GetPack() != "packs/test" {
			t.Errorf("%v, want %v kPa", l, want)
		}
	}
	want := []string{
		"value|at least 6.9 bar (policy)|AT_LEAST", "share|more than 80 % of the target|MORE_THAN",
		"psi|at most 9.997 bar|AT_MOST", "turned|at most -700|AT_LEAST",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("limits (-want +got):\n%s", d)
	}
}

// TestColdRule: the strictest of the packs in force.
func TestColdRule(t *testing.T) {
	cold := func(name string, hours int64, km float64) *pb.RulePack {
		p := pack()
		p.Name = name
		p.ColdRules = []*pb.ColdRule{{Items: []string{"TYR-010"}, Stood: durationpb.New(3600e9), DrivenAtMostKm: km}}
		p.ColdRules[0].Stood.Seconds = 3600 * hours
		return p
	}
	a, b, c := cold("packs/a", 3, 2), cold("packs/b", 2, 1), cold("packs/c", 1, 5)
	for _, tc := range []struct {
		packs []*pb.RulePack
		hours int64
		km    float64
	}{
		{[]*pb.RulePack{a}, 3, 2},
		{[]*pb.RulePack{a, b}, 3, 1},
		{[]*pb.RulePack{c, b, a}, 3, 1},
		{[]*pb.RulePack{c, a}, 3, 2},
	} {
		got := judge(t, tc.packs...).ColdRule("TYR-010")
		if got.GetStood().GetSeconds() != 3600*tc.hours || got.GetDrivenAtMostKm() != tc.km {
			t.Errorf("%v, want %d h and %v km", got, tc.hours, tc.km)
		}
	}
	if a.GetColdRules()[0].GetDrivenAtMostKm() != 2 {
		t.Error("the pack was changed")
	}
	j := judge(t, a)
	if got := j.ColdRule("TYR-030"); got != nil {
		t.Errorf("an item no pack speaks of: %v", got)
	}
	wrong := cold("packs/w", 0, 2)
	wrong.ColdRules[0].Items[0] = "TYR-011"
	_, err := rules.Compile([]*pb.RulePack{wrong}, catalogue())
	for _, want := range []string{`cold_rules[0].items[0]: the catalogue has no item "TYR-011"; did you mean TYR-010?`, "cold_rules[0].stood: it is not said how long"} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v does not say %q", err, want)
		}
	}
}
