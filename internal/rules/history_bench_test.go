package rules_test

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	trade "bayround/internal/catalogue"
	"bayround/internal/plan"
	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// benchFleet is what comes with Bayround, one vehicle of the invented county with
// its station and gauges, and a pack that reads the trend of everything measured.
func benchFleet(b *testing.B) (*trade.Loaded, *rules.Judge, *pb.Station) {
	b.Helper()
	files := trade.Defaults()
	for _, name := range []string{"vehicles/wn11.yaml", "stations.yaml", "gauges.yaml"} {
		content, err := os.ReadFile(filepath.Join("..", "..", "testdata", "demo", name))
		if err != nil {
			b.Fatal(err)
		}
		files = append(files, trade.File{Name: name, Content: content})
	}
	loaded, err := trade.Load(files)
	if err != nil {
		b.Fatal(err)
	}
	history := pack()
	history.Name = "packs/history"
	var tyres []string
	for _, item := range loaded.Catalogue.GetItems() {
		if item.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_CONDITION {
			continue
		}
		history.Rules = append(history.Rules, rule("falls-"+item.GetId(), func(r *pb.Rule) {
			r.Items, r.When = []string{item.GetId()}, "has(o.trend) && o.trend.has_slope && o.trend.slope_high_per_week < -1000.0"
		}))
		if item.GetColdAfter() != nil && item.GetParts() != nil && item.GetFamily() == "Tyres" {
			tyres = append(tyres, item.GetId())
		}
	}
	history.Rules = append(history.Rules, rule("loses", func(r *pb.Rule) {
		r.Scope, r.Items = pb.RuleScope_RULE_SCOPE_VEHICLE, tyres
		r.When = "group.exists(x, has(x.peers) && x.peers.has_loss && x.peers.loss_low_kpa_per_week > 1000.0)"
	}))
	e, err := rules.Compile(append(loaded.RulePacks, history), loaded.Catalogue)
	if err != nil {
		b.Fatal(err)
	}
	v := loaded.Vehicles[0]
	v.RulePacks = nil
	for _, p := range loaded.RulePacks {
		v.RulePacks = append(v.RulePacks, p.GetName())
	}
	v.RulePacks = append(v.RulePacks, history.GetName())
	j, err := e.For(v)
	if err != nil {
		b.Fatal(err)
	}
	return loaded, j.In(rules.Circumstances{Station: loaded.Stations[0]}), loaded.Stations[0]
}

// shippedJudge judges the same vehicle by the packs that come with Bayround alone.
func shippedJudge(b *testing.B, loaded *trade.Loaded, station *pb.Station) *rules.Judge {
	b.Helper()
	e, err := rules.Compile(loaded.RulePacks, loaded.Catalogue)
	if err != nil {
		b.Fatal(err)
	}
	v := proto.CloneOf(loaded.Vehicles[0])
	v.RulePacks = slices.DeleteFunc(v.GetRulePacks(), func(name string) bool { return name == "packs/history" })
	j, err := e.For(v)
	if err != nil {
		b.Fatal(err)
	}
	return j.In(rules.Circumstances{Station: station})
}

// benchHistory is 120 steps out of everything that is due on the vehicle in a week,
// evenly taken, so that as many of them are measured as of all; each was looked at
// weekly for fifteen months.
func benchHistory(b *testing.B, loaded *trade.Loaded, station *pb.Station) []*pb.Observation {
	b.Helper()
	week := &pb.Routine{Triggers: []pb.Trigger{pb.Trigger_TRIGGER_SHIFT, pb.Trigger_TRIGGER_WEEKLY}}
	steps := plan.Build(plan.Input{Vehicle: loaded.Vehicles[0], Catalogue: loaded.Catalogue, Routine: week, Station: station}).GetSteps()
	if len(steps) < benchSteps {
		b.Fatalf("%d steps are too few", len(steps))
	}
	taken := make([]*pb.CheckStep, benchSteps)
	measured := 0
	for i := range taken {
		taken[i] = steps[i*len(steps)/benchSteps]
		if taken[i].GetAnswerKind() != pb.AnswerKind_ANSWER_KIND_CONDITION {
			measured++
		}
	}
	b.Logf("%d of %d steps measure something", measured, len(taken))
	gauges := map[string]*pb.Gauge{}
	for _, g := range loaded.Gauges {
		gauges[g.GetName()] = g
	}
	var os []*pb.Observation
	for n, s := range taken {
		c := rules.Circumstances{Station: station, Gauges: gauges, Series: &pb.Series{}}
		for w := range 64 {
			r := benchAnswer(s, n, w)
			if p := rules.Point(s, r); p != nil {
				c.Series.Points = append(c.Series.Points, p)
			}
		}
		os = append(os, c.Observe(s, benchAnswer(s, n, 64)))
	}
	return os
}

// benchAnswer is a sound answer in week w, with a little scatter.
func benchAnswer(s *pb.CheckStep, n, w int) *pb.Result {
	wobble := math.Sin(float64(w*n + w*w))
	air := 10 + 10*math.Sin(float64(w)/8)
	return result(s, n, func(r *pb.Result) {
		r.LookedAt, r.AirCelsius = day(7*w-500), &air
		switch s.GetAnswerKind() {
		case pb.AnswerKind_ANSWER_KIND_READING:
			answer := &pb.Reading{}
			for _, p := range s.GetParts() {
				middle := (p.GetPlausible().GetLeast() + p.GetPlausible().GetGreatest()) / 2
				if s.Target != nil {
					middle = s.GetTarget()
				}
				answer.Values = append(answer.Values, &pb.Value{Part: p.GetId(), Si: middle * (1 + 0.01*wobble)})
			}
			r.Answer = &pb.Result_Reading{Reading: answer}
			if s.GetAxle() > 0 && s.GetParts()[0].GetQuantity() == pb.Quantity_QUANTITY_PRESSURE {
				r.Gauge = "gauges/g-03"
			}
		case pb.AnswerKind_ANSWER_KIND_PROFILE:
			section := &pb.TreadSection{}
			for i := range 5 {
				section.Points = append(section.Points, &pb.TreadPoint{Across: float64(i) / 4, DepthMm: 12 - 0.02*float64(w) + 0.1*wobble})
			}
			r.Gauge, r.Answer = "gauges/d-01", &pb.Result_Profile{Profile: &pb.TreadProfile{Sections: []*pb.TreadSection{section, section, section}}}
		case pb.AnswerKind_ANSWER_KIND_LEVEL:
			r.Answer = &pb.Result_Level{Level: &pb.Level{Mark: pb.LevelMark_LEVEL_MARK_BETWEEN, Fraction: 0.7 + 0.1*wobble}}
		default:
			for _, c := range s.GetConditions() {
				if c.GetSound() {
					r.Answer = &pb.Result_Seen{Seen: &pb.ConditionsSeen{Conditions: []*pb.ConditionSeen{{Condition: c.GetId()}}}}
				}
			}
		}
	})
}

// BenchmarkHistory judges with the packs that come with Bayround: a round with
// fifteen months behind every measured step, and single results by all packs, of
// whatever is answered and of what is measured over time.
func BenchmarkHistory(b *testing.B) {
	loaded, j, station := benchFleet(b)
	os := benchHistory(b, loaded, station)
	bare := make([]*pb.Observation, len(os))
	for i, o := range os {
		bare[i] = rules.Observe(o.GetStep(), o.GetResult())
	}
	b.Run("round of 120 steps", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			for _, o := range os {
				j.Result(o)
			}
			j.Groups(os)
		}
	})
	b.Run("groups alone", func(b *testing.B) {
		for b.Loop() {
			j.Groups(os)
		}
	})
	b.Run("one result without history", func(b *testing.B) {
		b.ReportAllocs()
		i := 0
		for b.Loop() {
			j.Result(bare[i%len(bare)])
			i++
		}
	})
	b.Run("one result with history", func(b *testing.B) {
		b.ReportAllocs()
		asked := slices.DeleteFunc(slices.Clone(os), func(o *pb.Observation) bool { return len(o.GetSeries().GetPoints()) == 0 })
		shipped := shippedJudge(b, loaded, station)
		i := 0
		for b.Loop() {
			shipped.Result(asked[i%len(asked)])
			i++
		}
	})
	b.Run("observing one result", func(b *testing.B) {
		c := rules.Circumstances{Station: station}
		i := 0
		for b.Loop() {
			c.Observe(os[i%len(os)].GetStep(), os[i%len(os)].GetResult())
			i++
		}
	})
}
