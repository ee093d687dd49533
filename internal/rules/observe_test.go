package rules_test

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"
	"pgregory.net/rapid"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// TestObserve: what is made of each kind of answer.
func TestObserve(t *testing.T) {
	pressure, depth, nuts := step("TYR-010", "a"), step("TYR-030", "a"), step("WHL-010", "a")
	air, tyre, oil := step("AIR-010", "a"), step("TYR-020", "a"), step("FLU-010", "a")
	brake, below := step("FLU-020", "a"), pb.LevelMark_LEVEL_MARK_BELOW
	both := beside(brake, below, "02").GetResult()
	both.AlsoSeen[0].Count = &pb.Count{Affected: 2, Of: 2}
	depth3 := rules.Observe(depth, result(depth, 1, func(r *pb.Result) {
		section := func(a, b, c float64) *pb.TreadSection {
			return &pb.TreadSection{Points: []*pb.TreadPoint{{Across: 0, DepthMm: a}, {Across: 0.5, DepthMm: b}, {Across: 1, DepthMm: c}}}
		}
		r.Answer = &pb.Result_Profile{Profile: &pb.TreadProfile{Sections: []*pb.TreadSection{section(8, 8, 8), section(8, 4, 8), section(2, 8, 8)}}}
	}))
	swapped := rules.Observe(air, result(air, 1, func(r *pb.Result) {
		r.Answer = &pb.Result_Reading{Reading: &pb.Reading{Values: []*pb.Value{{Part: "warning", Si: 480}, {Part: "leak", Si: 7}, {Part: "build_up", Si: 40}}}}
	}))
	for _, tc := range []struct {
		name      string
		got, want *pb.Observation
	}{
		{"reading with target", reading(pressure, 1, 680), &pb.Observation{
			HasValue: true, Value: 680, AsRead: 680, Values: map[string]float64{"pressure": 680}, HasTarget: true, Target: 850, ShareOfTarget: 0.8,
		}},
		{"several parts, the first by the step's order", swapped, &pb.Observation{
			HasValue: true, Value: 7, AsRead: 7, Values: map[string]float64{"leak": 7, "warning": 480, "build_up": 40},
		}},
		{"one depth", reading(depth, 1, 2.5), &pb.Observation{
			HasValue: true, Value: 2.5, AsRead: 2.5, Values: map[string]float64{"tread_depth": 2.5}, HasTread: true, TreadBandMm: 2.5, TreadCentralMm: 2.5, TreadLeastMm: 2.5,
		}},
		// Bands by hand: section 2 dips to 4 in the middle, in every band of three
		// quarters; section 3 rises from 2 to 8 over the outer half, so its best band
		// begins at 0.25, where the depth is 5, and its central one at 0.125: 3.5.
		{"profile, the worst section", depth3, &pb.Observation{
			HasTread: true, TreadBandMm: 4, TreadCentralMm: 3.5, TreadLeastMm: 2,
			TreadShape: pb.TreadShape_TREAD_SHAPE_PATCHES,
		}},
		{"below the mark", level(oil, pb.LevelMark_LEVEL_MARK_BELOW, 0), &pb.Observation{HasLevel: true, Level: -1, LevelBelow: true}},
		{"between the marks", level(oil, pb.LevelMark_LEVEL_MARK_BETWEEN, 0.25), &pb.Observation{HasLevel: true, Level: 0.25}},
		{"above the mark", level(oil, pb.LevelMark_LEVEL_MARK_ABOVE, 0), &pb.Observation{HasLevel: true, Level: 2, LevelAbove: true}},
		{"level not said", level(oil, pb.LevelMark_LEVEL_MARK_UNSPECIFIED, 0.5), &pb.Observation{}},
		{"all sound", seen(nuts, 1, "sound"), &pb.Observation{Of: 10}},
		{"faults in order, each once", seen(tyre, 1, "03", "01", "03"), &pb.Observation{Faults: []string{"TYR-020-01", "TYR-020-03"}, Affected: 1, Of: 1}},
		{"so many of so many", seenCount(nuts, "01", 3, 10), &pb.Observation{Faults: []string{"WHL-010-01"}, Affected: 3, Of: 10}},
		{"the most affected, and of equals that of fewer", manyCounts(10, 6, 8), &pb.Observation{
			Faults: []string{"TYR-020-01", "TYR-020-02", "TYR-020-03"}, Affected: 3, Of: 6,
		}},
		{"a fault without a count affects one", seen(nuts, 1, "01"), &pb.Observation{Faults: []string{"WHL-010-01"}, Affected: 1, Of: 10}},
		{"beside a level nothing was seen", beside(brake, below), &pb.Observation{HasLevel: true, Level: -1, LevelBelow: true, Of: 2}},
		{"beside a level two faults were seen", beside(brake, below, "03", "02"), &pb.Observation{
			HasLevel: true, Level: -1, LevelBelow: true, Faults: []string{"FLU-020-02", "FLU-020-03"}, Affected: 1, Of: 2,
		}},
		{"beside a level, on both", rules.Observe(brake, both), &pb.Observation{
			HasLevel: true, Level: -1, LevelBelow: true, Faults: []string{"FLU-020-02"}, Affected: 2, Of: 2,
		}},
		{"beside a level, what the step does not know", beside(brake, below, "99"), &pb.Observation{HasLevel: true, Level: -1, LevelBelow: true, Of: 2}},
		{"beside a level of a step that has no conditions", beside(oil, below, "02"), &pb.Observation{HasLevel: true, Level: -1, LevelBelow: true}},
		{"a condition the step does not know", seen(tyre, 1, "99"), &pb.Observation{Of: 1}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if d := cmp.Diff(tc.want, tc.got, protocmp.Transform(), protocmp.IgnoreFields(&pb.Observation{}, "step", "result")); d != "" {
				t.Errorf("observation (-want +got):\n%s", d)
			}
			if tc.got.GetStep() == nil || tc.got.GetResult() == nil {
				t.Error("step or result is missing")
			}
		})
	}
}

// manyCounts observes three faults, each on three of so many.
func manyCounts(of ...int32) *pb.Observation {
	s := step("TYR-020", "a")
	return rules.Observe(s, result(s, 1, func(r *pb.Result) {
		answer := &pb.ConditionsSeen{}
		for i, n := range of {
			answer.Conditions = append(answer.Conditions, &pb.ConditionSeen{Condition: []string{"01", "02", "03"}[i], Count: &pb.Count{Affected: 3, Of: n}})
		}
		r.Answer = &pb.Result_Seen{Seen: answer}
	}))
}

// TestObserve_NobodyLooked: not checked, and no answer at all, are no observations.
func TestObserve_NobodyLooked(t *testing.T) {
	s := step("TYR-010", "a")
	notChecked := result(s, 1, func(r *pb.Result) {
		r.Answer = &pb.Result_NotChecked{NotChecked: &pb.NotChecked{Reason: pb.NotCheckedReason_NOT_CHECKED_REASON_TURNOUT}}
	})
	for name, r := range map[string]*pb.Result{"not checked": notChecked, "no answer": {}, "no result": nil} {
		if o := rules.Observe(s, r); o != nil {
			t.Errorf("%s gave %v", name, o)
		}
	}
	j := judge(t, pack(rule("any", func(r *pb.Rule) { r.Items, r.When = []string{"TYR-010"}, "true" })))
	if found := j.Result(nil); len(found) != 0 {
		t.Errorf("nothing seen gave %v", found)
	}
}

// anyDouble draws from all doubles, NaN and the infinite ones among them.
func anyDouble() *rapid.Generator[float64] {
	return rapid.Custom(func(t *rapid.T) float64 { return math.Float64frombits(rapid.Uint64().Draw(t, "bits")) })
}

// TestObserve_NeverNaN: whatever numbers come in, those that go out are finite.
func TestObserve_NeverNaN(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var r *pb.Result
		s := step(rapid.SampledFrom([]string{"TYR-010", "TYR-030", "AIR-010", "FLU-010"}).Draw(t, "item"), "a")
		odd := rapid.OneOf(anyDouble(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, 1, -1, math.MaxFloat64}))
		if rapid.Bool().Draw(t, "target") {
			target := odd.Draw(t, "target is")
			s.Target = &target
		}
		switch rapid.IntRange(0, 2).Draw(t, "kind") {
		case 0:
			reading := &pb.Reading{}
			for _, p := range s.GetParts() {
				reading.Values = append(reading.Values, &pb.Value{Part: p.GetId(), Si: odd.Draw(t, "si")})
			}
			r = &pb.Result{Answer: &pb.Result_Reading{Reading: reading}}
		case 1:
			profile := &pb.TreadProfile{}
			for range rapid.IntRange(0, 3).Draw(t, "sections") {
				section := &pb.TreadSection{}
				for range rapid.IntRange(0, 5).Draw(t, "points") {
					section.Points = append(section.Points, &pb.TreadPoint{Across: odd.Draw(t, "across"), DepthMm: odd.Draw(t, "depth")})
				}
				profile.Sections = append(profile.Sections, section)
			}
			r = &pb.Result{Answer: &pb.Result_Profile{Profile: profile}}
		default:
			r = &pb.Result{Answer: &pb.Result_Level{Level: &pb.Level{Mark: pb.LevelMark(rapid.Int32Range(0, 4).Draw(t, "mark")), Fraction: odd.Draw(t, "fraction")}}}
		}
		o := rules.Observe(s, r)
		numbers := []float64{o.GetValue(), o.GetTarget(), o.GetShareOfTarget(), o.GetTreadBandMm(), o.GetTreadCentralMm(), o.GetTreadLeastMm(), o.GetLevel()}
		for _, v := range o.GetValues() {
			numbers = append(numbers, v)
		}
		for _, n := range numbers {
			if math.IsNaN(n) || math.IsInf(n, 0) {
				t.Fatalf("%v in %v", n, o)
			}
		}
	})
}
