package rules_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// garbagePack has every kind of rule on a pressure; none of them is met at 850 kPa.
func garbagePack() *pb.RulePack {
	return pack(
		rule("limit", func(r *pb.Rule) {
			r.Items, r.Limit = []string{"TYR-010"}, &pb.Limit{Number: "o.value", Side: atLeast, Bound: "800.0", Unit: "kPa"}
		}),
		rule("guarded", func(r *pb.Rule) {
			r.Items, r.Limit = []string{"TYR-010"}, &pb.Limit{Number: "o.share_of_target", Side: atMost, Bound: "1.2", Decision: doubtGiven}
		}),
		rule("when", func(r *pb.Rule) { r.Items, r.When = []string{"TYR-010"}, "o.value < 800.0" }),
		rule("asked", func(r *pb.Rule) { r.Items, r.When = []string{"TYR-010"}, "o.has_value && o.value < 800.0" }),
		grouped(pb.Grouping_GROUPING_AXLE, func(r *pb.Rule) {
			r.Id, r.Items, r.When = "group", []string{"TYR-010"}, "group.exists(x, x.value < 800.0)"
		}),
	)
}

// TestJudge_Garbage: an observation that holds no number where one should be gives
// no verdict, whatever a rule asks of it first: neither kept nor broken.
func TestJudge_Garbage(t *testing.T) {
	j := judge(t, garbagePack())
	s, r := pressureOn(0, "", 850)
	sound := rules.Observe(s, r)
	if found := append(j.Result(sound), j.Groups([]*pb.Observation{sound})...); len(found) > 0 {
		t.Fatalf("850 kPa: %v", found)
	}
	for name, spoil := range map[string]func(*pb.Observation, float64){
		"value":       func(o *pb.Observation, x float64) { o.Value = x },
		"a part":      func(o *pb.Observation, x float64) { o.Values["pressure"] = x },
		"target":      func(o *pb.Observation, x float64) { o.Target = x },
		"share":       func(o *pb.Observation, x float64) { o.ShareOfTarget = x },
		"uncertainty": func(o *pb.Observation, x float64) { o.HasUncertainty, o.StandardUncertainty = true, x },
		"bias":        func(o *pb.Observation, x float64) { o.MayReadHighBy = x },
	} {
		for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
			o := rules.Observe(s, r)
			spoil(o, x)
			found := append(j.Result(o), j.Groups([]*pb.Observation{o})...)
			if got := ruleIDs(found); !slices.Equal(got, []string{"limit", "guarded", "when", "asked", "group"}) {
				t.Errorf("%s %v: only %v spoke", name, x, got)
			}
			for _, f := range found {
				if f.GetEffect() != pb.Effect_EFFECT_UNSPECIFIED || !strings.Contains(f.GetText(), "could not be worked out") {
					t.Errorf("%s %v: %s says %q", name, x, f.GetRule(), f.GetText())
				}
			}
		}
	}
}

// TestGroups_HistoryInAnyOrder: trends and peers do not hang on the order in which
// observations come, and what came is left as it was.
func TestGroups_HistoryInAnyOrder(t *testing.T) {
	j := judge(t, pack(rule("all", func(r *pb.Rule) {
		r.Scope, r.Items = pb.RuleScope_RULE_SCOPE_VEHICLE, []string{"TYR-010"}
		r.When = "group.exists(x, has(x.peers) && has(x.trend))"
	})))
	var os []*pb.Observation
	for n, side := range []pb.Side{nearside, pb.Side_SIDE_OFFSIDE, nearside, pb.Side_SIDE_OFFSIDE} {
		s := coldWheel(int32(n/2+1), side, 0)
		c := rules.Circumstances{Series: weekly(falling(9, float64(n+1), 800)...)}
		os = append(os, c.Observe(s, readIn(s, 0, 800, 15)))
	}
	first := j.Groups(os)
	slices.Reverse(os)
	if d := cmp.Diff(first, j.Groups(os), protocmp.Transform()); d != "" || len(first) != 1 {
		t.Errorf("%d findings, in another order:\n%s", len(first), d)
	}
	for _, o := range os {
		if o.GetTrend() != nil || o.GetPeers() != nil {
			t.Errorf("%s was changed", o.GetStep().GetStepId())
		}
	}
}

// FuzzLimit: any number, bound and uncertainty, and any reading, give a finding with
// finite numbers, one that could not be worked out, or none; never a panic.
func FuzzLimit(f *testing.F) {
	for _, seed := range []struct {
		number, bound, uncertainty string
		value, mpe                 float64
		side, decision             int32
	}{
		{"o.value", "800.0", "", 790, 16, 1, 2},
		{"round(psi(o.value), 3)", "o.target / 2.0", "o.standard_uncertainty", 5, 16, 2, 3},
		{"o.share_of_target * 0.0", "1e308 * 10.0", "0.0", 0, 0, 3, 1},
		{`o.values["pressure"] / 0.0`, `o.values["none"]`, "-1.0", 800, math.NaN(), 4, 0},
		{"o.value * -1e300", "-o.target", "1e300", 1e300, 1, 3, 2},
		{"days_until(o, 1.0)", "o.trend.level", "o.trend.days", math.Inf(1), 1, 1, 2},
	} {
		f.Add(seed.number, seed.bound, seed.uncertainty, seed.value, seed.mpe, seed.side, seed.decision)
	}
	known := catalogue()
	f.Fuzz(func(t *testing.T, number, bound, uncertainty string, value, mpe float64, side, decision int32) {
		l := &pb.Limit{Number: number, Bound: bound, Uncertainty: uncertainty, Side: pb.LimitSide(side), Decision: pb.DecisionRule(decision)}
		e, err := rules.Compile([]*pb.RulePack{pack(rule("fuzz", func(r *pb.Rule) { r.Items, r.Limit = []string{"TYR-010"}, l }))}, known)
		if err != nil {
			sayWhy(t, err)
			return
		}
		j, err := e.For(vehicle("packs/test"))
		if err != nil {
			sayWhy(t, err)
			return
		}
		s, r := pressureOn(50, "gauges/g-03", value)
		o := rules.Circumstances{Gauges: tyreGauge(func(g *pb.Gauge) { g.MaxPermissibleError = mpe })}.Observe(s, r)
		for _, found := range j.Result(o) {
			judged := found.GetLimit()
			if judged == nil && found.GetEffect() != pb.Effect_EFFECT_UNSPECIFIED {
				t.Errorf("a limit that was not judged has an effect: %v", found)
			}
			for _, x := range []float64{judged.GetValue(), judged.GetBound(), judged.GetStandardUncertainty(), judged.GetProbabilityKept()} {
				if math.IsNaN(x) || math.IsInf(x, 0) {
					t.Errorf("judged with %v: %v", x, judged)
				}
			}
			if p := judged.GetProbabilityKept(); p < 0 || p > 1 {
				t.Errorf("P %v", p)
			}
			j.Explain(found, []*pb.Observation{o}, rules.Reader{})
		}
		for _, line := range j.Limits(o) {
			if math.IsNaN(line.GetBound()) || math.IsInf(line.GetBound(), 0) {
				t.Errorf("a bound at %v", line.GetBound())
			}
		}
	})
}
