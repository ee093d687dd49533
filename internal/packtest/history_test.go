package packtest

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// readsHistory tells that a rule looks at what was measured over time.
func readsHistory(r *pb.Rule) bool {
	return strings.Contains(r.GetWhen(), ".trend") || strings.Contains(r.GetWhen(), ".peers")
}

// weekly gives a series its points a week apart, the newest a week before the
// made answers.
func weekly(values ...float64) *pb.Series {
	s := &pb.Series{}
	for i, v := range values {
		s.Points = append(s.Points, &pb.SeriesPoint{LookedAt: timestamppb.New(readOn.Add(time.Duration(i-len(values)) * 7 * 24 * time.Hour)), Value: v})
	}
	return s
}

// after looks at a made answer again with what was measured before it.
func after(o *pb.Observation, s *pb.Series) *pb.Observation {
	return rules.Circumstances{Gauges: register(), Series: s}.Observe(o.GetStep(), proto.CloneOf(o.GetResult()))
}

// line is n values from one that change by so much each week, with a scatter that
// is the same every time.
func line(n int, from, perWeek, scatter float64) (values []float64) {
	for i := range n {
		values = append(values, from+perWeek*float64(i)+scatter*[]float64{0, 1, -1, 0.5, -0.5}[i%5])
	}
	return values
}

// What was measured over time raises a question, with its numbers, and a calm
// history raises none. The rates are those of the county's threads (job map, E1):
// battery WN32 0.4 V over a winter, air loss WN31 0.05 to 0.16 bar a minute.
func TestHistory_AsksWhenSomethingChanges(t *testing.T) {
	d := ours(t)
	j := d.judge(t, heavy(), policyPack)
	same := []float64{791, 805, 799, 812, 795, 803, 808, 790, 801, 797, 806, 794}
	for _, tc := range []struct {
		rule  string
		now   *pb.Observation
		asks  *pb.Series
		calm  *pb.Series
		words []string
	}{
		{
			"TYR-030.wears-out", depths(step(d.items["TYR-030"]), 3.6, 3.6, 3.6),
			weekly(line(12, 5.0, -0.11, 0.02)...), weekly(line(12, 3.7, -0.005, 0.02)...),
			[]string{"mm a week", "3 mm in", "days"},
		},
		{
			"ELE-010.falls", read(step(d.items["ELE-010"]), 24.7),
			weekly(line(16, 25.5, -0.05, 0.03)...), weekly(line(16, 24.7, 0, 0.03)...),
			[]string{"V a week", "under load"},
		},
		{
			"BRA-130-02.by-history", read(step(d.items["BRA-130"]), 16),
			weekly(line(16, 5, 0.7, 0.3)...), weekly(line(16, 16, 0, 0.3)...),
			[]string{"bar a minute", "doubled"},
		},
		{
			"BRA-120-02.by-history", read(step(d.items["BRA-120"]), 9),
			weekly(line(16, 2.5, 0.42, 0.2)...), weekly(line(16, 9, 0, 0.2)...),
			[]string{"bar a minute", "doubled"},
		},
		{
			"TYR-110.same-number", read(step(d.items["TYR-110"], aimedAt(800)), 800),
			weekly(append(slices.Clone(same), 800, 800, 800, 800, 800)...), weekly(same...),
			[]string{"8 bar, 6 times in a row", "read it once more"},
		},
		{
			"ELE-010.same-number", read(step(d.items["ELE-010"]), 25.4),
			weekly(25.31, 25.44, 25.52, 25.29, 25.47, 25.38, 25.56, 25.33, 25.4, 25.4, 25.4, 25.4, 25.4),
			weekly(25.31, 25.44, 25.52, 25.29, 25.47, 25.38, 25.56, 25.33),
			[]string{"25.4 V, 6 times in a row"},
		},
	} {
		f := by(j.Result(after(tc.now, tc.asks)), tc.rule)
		if f == nil {
			t.Errorf("%s does not ask: %v", tc.rule, ruleIDs(j.Result(after(tc.now, tc.asks))))
			continue
		}
		for _, words := range tc.words {
			if !strings.Contains(f.GetText(), words) {
				t.Errorf("%s: %q does not say %q", tc.rule, f.GetText(), words)
			}
		}
		if f.GetEffect() > pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT {
			t.Errorf("%s takes away %v for a question", tc.rule, f.GetEffect())
		}
		if calm := by(j.Result(after(tc.now, tc.calm)), tc.rule); calm != nil {
			t.Errorf("%s asks of a calm history: %s", tc.rule, calm.GetText())
		}
	}
}

// A level that falls faster than it used to, or oil that is used faster for the
// distance driven, asks for more looks. Volumes: 4 L between the marks.
func TestHistory_FluidsThatGoFaster(t *testing.T) {
	d := ours(t)
	j := d.judge(t, heavy(), policyPack)
	fluid := func(item string, level float64) *pb.Observation {
		return levelled(step(d.items[item], func(s *pb.CheckStep) { s.VolumeBetweenMarksL = 4 }), level)
	}
	faster := weekly(append(line(14, 0.98, -0.005, 0.002), line(8, 0.90, -0.04, 0.002)...)...)
	steady := weekly(line(22, 0.98, -0.005, 0.002)...)
	found := j.Result(after(fluid("FLU-030", 0.58), faster))
	f := by(found, "FLU-030.falls-faster")
	if f == nil || !strings.Contains(f.GetText(), "times as fast") {
		t.Errorf("coolant that falls faster: %v", found)
	}
	if f := by(j.Result(after(fluid("FLU-030", 0.87), steady)), "FLU-030.falls-faster"); f != nil {
		t.Errorf("coolant that falls as it always did: %s", f.GetText())
	}
	used := func(per1000Km func(i int) float64) *pb.Series {
		s := weekly(line(40, 0.8, 0, 0.02)...)
		for i, p := range s.GetPoints() {
			p.OdometerKm, p.EngineHours = proto.Float64(10000+250*float64(i)), proto.Float64(500+12*float64(i))
			p.Added = per1000Km(i) * 0.25
		}
		return s
	}
	rising := used(func(i int) float64 { return map[bool]float64{false: 0.2, true: 1.2}[i >= 26] })
	if f := by(j.Result(after(fluid("FLU-010", 0.8), rising)), "FLU-010.uses-more"); f == nil || !strings.Contains(f.GetText(), "in 1000 km") {
		t.Errorf("oil use that rises from 0.2 to 1.2 L in 1000 km: %v", f)
	}
	if f := by(j.Result(after(fluid("FLU-010", 0.8), used(func(int) float64 { return 0.2 }))), "FLU-010.uses-more"); f != nil {
		t.Errorf("oil use that stays: %s", f.GetText())
	}
}

// One wheel that loses 0.09 bar a week while the bay cools (job map, E1: slow leak
// of WN21) is named, with its loss; the others are not, nor any when only the
// weather changes.
func TestHistory_OneWheelLosesAgainstItsPeers(t *testing.T) {
	d := ours(t)
	j := d.judge(t, heavy(), policyPack)
	wheels := func(loss float64) (all []*pb.Observation) {
		for i, item := range []string{"TYR-010", "TYR-011", "TYR-110", "TYR-111", "TYR-120", "TYR-121"} {
			perWeek := -1.5 // the bay cools
			if item == "TYR-121" {
				perWeek -= loss
			}
			values := line(9, 850, perWeek, 2)
			values = append(values[i%5:], values[:i%5]...) // no two wheels scatter alike
			slices.SortFunc(values, func(a, b float64) int { return map[bool]int{true: -1, false: 1}[a > b] })
			side := map[bool]pb.Side{true: pb.Side_SIDE_NEARSIDE, false: pb.Side_SIDE_OFFSIDE}[item[6] == '0']
			axle := int32(1)
			if item[4] != '0' {
				axle = 2
			}
			s := step(d.items[item], at(spot, axle, side), aimedAt(850), func(s *pb.CheckStep) { s.ColdAfter = d.items[item].GetColdAfter() })
			all = append(all, after(read(s, values[8]), weekly(values[:8]...)))
		}
		return all
	}
	leaking := j.Groups(wheels(9))
	f := by(leaking, "TYR-121-06.against-peers")
	if f == nil || f.GetFault() != "TYR-121-06" || !strings.Contains(f.GetText(), "bar a week against the other wheels") {
		t.Errorf("a wheel that loses 0.09 bar a week: %v", leaking)
	}
	for _, findings := range [][]*pb.Finding{leaking, j.Groups(wheels(0))} {
		for _, f := range findings {
			if strings.HasSuffix(f.GetRule(), ".against-peers") && f.GetRule() != "TYR-121-06.against-peers" {
				t.Errorf("a sound wheel is named: %s", f.GetText())
			}
		}
	}
	if f := by(j.Groups(wheels(0)), "TYR-121-06.against-peers"); f != nil {
		t.Errorf("the weather alone: %s", f.GetText())
	}
}
