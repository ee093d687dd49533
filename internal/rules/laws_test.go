package rules_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"pgregory.net/rapid"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// lawPacks is a set of rules of every scope, in two packs.
func lawPacks() []*pb.RulePack {
	all := rule("every-fault", func(r *pb.Rule) {
		r.Faults, r.Text = []string{"TYR-020-01", "TYR-020-02", "TYR-020-03", "LMP-010-01", "LMP-010-02", "WHL-010-01"}, "{fault.text}"
	})
	first := pack(
		all,
		rule("low", func(r *pb.Rule) { r.Items, r.When, r.NamesFault = []string{"FLU-020"}, "o.level_below", "FLU-020-01" }),
		rule("dirty", func(r *pb.Rule) { r.Faults = []string{"FLU-020-02"} }),
		rule("soft", func(r *pb.Rule) {
			r.Items, r.When, r.Text = []string{"TYR-010"}, "o.share_of_target < 0.8", "{o.value}"
		}),
		grouped(pb.Grouping_GROUPING_AXLE_END, func(r *pb.Rule) {
			r.Id, r.When, r.SameRound = "twins", "size(group) == 2 && spread(group.map(x, x.value)) > 50", true
		}),
		grouped(pb.Grouping_GROUPING_AXLE, func(r *pb.Rule) {
			r.Id, r.When, r.Text = "sides", "greatest(group.map(x, x.value)) > 900", "{least(group.map(x, x.value))}"
		}),
	)
	second := pack(
		rule("lamps", func(r *pb.Rule) {
			r.Scope, r.Grouping, r.Faults = pb.RuleScope_RULE_SCOPE_GROUP, pb.Grouping_GROUPING_LAMP_FUNCTION, []string{"LMP-010-01", "LMP-010-02"}
		}),
		rule("many", func(r *pb.Rule) {
			r.Scope, r.Items, r.When = pb.RuleScope_RULE_SCOPE_VEHICLE, []string{"FLU-020", "LMP-010", "TYR-010", "TYR-020"}, "group.exists(x, size(x.faults) > 1)"
		}),
	)
	second.Name = "packs/second"
	return []*pb.RulePack{first, second}
}

// drawObservations draws newest observations of some steps of a vehicle.
func drawObservations(t *rapid.T) []*pb.Observation {
	var os []*pb.Observation
	rounds := rapid.SampledFrom([]string{"rounds/1", "rounds/2", "rounds/3"})
	add := func(o *pb.Observation) {
		o.Result.Round = rounds.Draw(t, "round")
		o.Result.StationTime.Seconds = int64(rapid.IntRange(1, 5).Draw(t, "time"))
		os = append(os, o)
	}
	number := 0
	for axle := int32(1); axle <= 3; axle++ {
		for _, side := range []pb.Side{nearside, offside} {
			for _, twin := range []pb.TwinPosition{outer, inner} {
				number++
				if rapid.Bool().Draw(t, "pressure read") {
					add(reading(wheel("TYR-010", axle, side, twin), number, rapid.Float64Range(0, 1200).Draw(t, "kPa")))
				}
				if rapid.Bool().Draw(t, "tyre seen") {
					faults := rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"01", "02", "03"}), 1, 3, rapid.ID).Draw(t, "conditions")
					add(seen(wheel("TYR-020", axle, side, twin), 30+number, faults...))
				}
			}
		}
	}
	for i := range rapid.IntRange(0, 2).Draw(t, "tanks") {
		faults := rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"01", "02", "03"}), 0, 3, rapid.ID).Draw(t, "beside")
		add(beside(step("FLU-020", fmt.Sprintf("tank-%d", i)), pb.LevelMark(rapid.Int32Range(1, 3).Draw(t, "mark")), faults...))
	}
	for i := range rapid.IntRange(0, 5).Draw(t, "lamps") {
		add(seen(step("LMP-010", fmt.Sprintf("lamp-%d", i)), 60+i, rapid.SampledFrom([]string{"sound", "01", "02"}).Draw(t, "lamp")))
	}
	return os
}

// judgeAll gives every finding on observations, those of single results first.
func judgeAll(j *rules.Judge, os []*pb.Observation) []*pb.Finding {
	var single []*pb.Finding
	for _, o := range os {
		single = append(single, j.Result(o)...)
	}
	slices.SortFunc(single, func(a, b *pb.Finding) int { return strings.Compare(a.GetFindingId(), b.GetFindingId()) })
	return append(single, j.Groups(os)...)
}

// TestLaw_OrderDoesNotMatter: neither that of observations nor that of packs.
func TestLaw_OrderDoesNotMatter(t *testing.T) {
	packs := lawPacks()
	j := judge(t, packs...)
	turned := judge(t, packs[1], packs[0])
	rapid.Check(t, func(t *rapid.T) {
		os := drawObservations(t)
		want := judgeAll(j, os)
		shuffled := rapid.Permutation(os).Draw(t, "order")
		if d := cmp.Diff(want, judgeAll(j, shuffled), protocmp.Transform()); d != "" {
			t.Fatalf("another order of observations (-first +second):\n%s", d)
		}
		if d := cmp.Diff(want, judgeAll(turned, os), protocmp.Transform()); d != "" {
			t.Fatalf("another order of packs (-first +second):\n%s", d)
		}
	})
}

// TestLaw_FaultGivesFinding: each fault seen gives at least one finding of its own.
func TestLaw_FaultGivesFinding(t *testing.T) {
	j, empty := judge(t, lawPacks()...), judge(t, pack())
	rapid.Check(t, func(t *rapid.T) {
		for _, o := range drawObservations(t) {
			for _, fault := range o.GetFaults() {
				names := func(f *pb.Finding) bool { return f.GetFault() == fault }
				if !slices.ContainsFunc(j.Result(o), names) {
					t.Fatalf("%s seen, and no finding names it", fault)
				}
				if !slices.ContainsFunc(empty.Result(o), names) {
					t.Fatalf("%s seen, no rule at all, and no finding says so", fault)
				}
			}
		}
	})
}

// TestLaw_IDsTellFindingsApart: no two findings on one vehicle share an id, and
// an id does not change with the result.
func TestLaw_IDsTellFindingsApart(t *testing.T) {
	j := judge(t, lawPacks()...)
	rapid.Check(t, func(t *rapid.T) {
		os := drawObservations(t)
		of := map[string]*pb.Finding{}
		for _, f := range judgeAll(j, os) {
			if other := of[f.GetFindingId()]; other != nil {
				t.Fatalf("%v and %v share an id", f, other)
			}
			of[f.GetFindingId()] = f
		}
		for _, o := range os {
			o.Result = proto.Clone(o.GetResult()).(*pb.Result)
			o.Result.ResultId = "another " + o.GetResult().GetResultId()
		}
		for _, f := range judgeAll(j, os) {
			before := of[f.GetFindingId()]
			if before == nil || before.GetRule() != f.GetRule() {
				t.Fatalf("finding of rule %s changed its id with the result", f.GetRule())
			}
		}
	})
}

// TestDigest: the same for the same pack, another for any change in it.
func TestDigest(t *testing.T) {
	of := func(change func(*pb.RulePack)) string {
		p := lawPacks()[0]
		change(p)
		return rules.Digest(p)
	}
	same := of(func(*pb.RulePack) {})
	if len(same) != 64 || same != of(func(*pb.RulePack) {}) {
		t.Fatalf("digest %q is not stable hex of 32 bytes", same)
	}
	seenDigest := map[string]string{same: "nothing"}
	for name, change := range map[string]func(*pb.RulePack){
		"name":        func(p *pb.RulePack) { p.Name += "x" },
		"version":     func(p *pb.RulePack) { p.Version = "2" },
		"title":       func(p *pb.RulePack) { p.Title = "" },
		"authority":   func(p *pb.RulePack) { p.Authority += " " },
		"order":       func(p *pb.RulePack) { slices.Reverse(p.Rules) },
		"one less":    func(p *pb.RulePack) { p.Rules = p.Rules[1:] },
		"when":        func(p *pb.RulePack) { p.Rules[1].When += " " },
		"text":        func(p *pb.RulePack) { p.Rules[1].Text += "." },
		"effect":      func(p *pb.RulePack) { p.Rules[1].Effect = pb.Effect_EFFECT_MOVING },
		"fault":       func(p *pb.RulePack) { p.Rules[0].Faults = p.Rules[0].Faults[1:] },
		"clause":      func(p *pb.RulePack) { p.Rules[0].Source.Clause = "1" },
		"restriction": func(p *pb.RulePack) { p.Rules[0].Restrictions = []*pb.Restriction{{SpeedKmh: 60}} },
		"deferral":    func(p *pb.RulePack) { p.Rules[0].LongestDeferralDays = 1 },
	} {
		digest := of(change)
		if other, ok := seenDigest[digest]; ok {
			t.Errorf("changing %s gives the digest of changing %s", name, other)
		}
		seenDigest[digest] = name
	}
}
