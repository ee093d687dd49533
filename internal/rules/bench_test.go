package rules_test

import (
	"fmt"
	"testing"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

const (
	benchSteps  = 120
	benchFaults = 715 // as many as the reference catalogue of faults has
	benchValues = 60
	benchGroups = 12
)

// benchCatalogue has items of conditions with 715 faults in all, and items that are read.
func benchCatalogue() *pb.Catalogue {
	cat := &pb.Catalogue{Version: "bench"}
	for i := range benchFaults {
		if i%3 == 0 {
			cat.Items = append(cat.Items, &pb.Item{Id: fmt.Sprintf("CON-%03d", i/3), AnswerKind: pb.AnswerKind_ANSWER_KIND_CONDITION})
		}
		item := cat.Items[len(cat.Items)-1]
		item.Faults = append(item.Faults, &pb.Fault{Id: fmt.Sprintf("%s-%02d", item.Id, i%3+1), Text: "broken", DriverDoes: "Report it"})
	}
	for i := range 30 {
		cat.Items = append(cat.Items, &pb.Item{Id: fmt.Sprintf("REA-%03d", i), AnswerKind: pb.AnswerKind_ANSWER_KIND_READING})
	}
	return cat
}

// benchPack has a rule for every fault, two value rules for every item that is read, and group rules.
func benchPack(cat *pb.Catalogue) *pb.RulePack {
	p := pack()
	for _, item := range cat.GetItems() {
		for _, fault := range item.GetFaults() {
			p.Rules = append(p.Rules, rule("fault-"+fault.GetId(), func(r *pb.Rule) { r.Faults, r.Text = []string{fault.GetId()}, "{fault.text} at {o.step.place.title}" }))
		}
	}
	for i := range benchValues {
		p.Rules = append(p.Rules, rule(fmt.Sprintf("value-%d", i), func(r *pb.Rule) {
			r.Items, r.When = []string{fmt.Sprintf("REA-%03d", i%30)}, fmt.Sprintf("o.share_of_target < %.3f", 0.5+0.001*float64(i))
			r.Text = "{o.value} kPa, {round(o.share_of_target * 100.0, 0)} % of the target"
		}))
	}
	for i := range benchGroups {
		p.Rules = append(p.Rules, rule(fmt.Sprintf("group-%d", i), func(r *pb.Rule) {
			r.Scope, r.Grouping, r.SameRound = pb.RuleScope_RULE_SCOPE_GROUP, pb.Grouping_GROUPING_AXLE_END, true
			r.Items, r.When = []string{fmt.Sprintf("REA-%03d", i)}, "size(group) == 2 && spread(group.map(x, x.value)) > 50"
		}))
	}
	return p
}

// benchRound observes 120 steps: 90 conditions, 30 readings at two wheels of one
// axle end each or alone; every tenth answer finds something when faulty is set.
func benchRound(cat *pb.Catalogue, faulty bool) []*pb.Observation {
	var os []*pb.Observation
	for i := range benchSteps {
		if i%4 == 3 {
			s := step("TYR-010", fmt.Sprintf("axle-%d", i))
			s.Item = fmt.Sprintf("REA-%03d", i/8)
			s.StepId = fmt.Sprintf("%s/axle-2-nearside-%d", s.Item, i)
			s.Axle, s.Side = 2, nearside
			os = append(os, reading(s, i, 850))
			continue
		}
		item := cat.GetItems()[i]
		s := step(item.GetId(), fmt.Sprintf("place-%d", i))
		for n, f := range item.GetFaults() {
			s.Conditions = append(s.Conditions, &pb.Condition{Id: fmt.Sprintf("%02d", n+1), Meaning: &pb.Condition_Fault{Fault: f.GetId()}})
		}
		condition := "sound"
		if faulty && i%10 == 0 {
			condition = "01"
		}
		os = append(os, seen(s, i, condition))
	}
	return os
}

func benchJudge(b *testing.B, p *pb.RulePack, cat *pb.Catalogue) *rules.Judge {
	e, err := rules.Compile([]*pb.RulePack{p}, cat)
	if err != nil {
		b.Fatal(err)
	}
	j, err := e.For(vehicle("packs/test"))
	if err != nil {
		b.Fatal(err)
	}
	return j
}

// BenchmarkRound judges a whole round, single results and groups: how long the
// verdict waits for the rules when everything is judged anew.
func BenchmarkRound(b *testing.B) {
	cat := benchCatalogue()
	j := benchJudge(b, benchPack(cat), cat)
	for name, faulty := range map[string]bool{"sound": false, "faulty": true} {
		os := benchRound(cat, faulty)
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			found := 0
			for b.Loop() {
				found = 0
				for _, o := range os {
					found += len(j.Result(o))
				}
				found += len(j.Groups(os))
			}
			b.ReportMetric(float64(found), "findings")
		})
		b.Run(name+"/groups alone", func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				j.Groups(os)
			}
		})
	}
}

// BenchmarkHundredValueRules judges one result by 100 rules that are not met,
// beside the same comparisons written in Go.
func BenchmarkHundredValueRules(b *testing.B) {
	p := pack()
	for i := range 100 {
		p.Rules = append(p.Rules, rule(fmt.Sprintf("value-%d", i), func(r *pb.Rule) {
			r.Items, r.When = []string{"TYR-010"}, fmt.Sprintf("o.value < %d.0", i)
		}))
	}
	o := reading(step("TYR-010", "axle-1-nearside"), 1, 850)
	b.Run("rules", func(b *testing.B) {
		j := benchJudge(b, p, catalogue())
		b.ReportAllocs()
		for b.Loop() {
			if len(j.Result(o)) > 0 {
				b.Fatal("met")
			}
		}
	})
	b.Run("plain Go", func(b *testing.B) {
		met := 0
		for b.Loop() {
			for i := range 100 {
				if o.GetValue() < float64(i) {
					met++
				}
			}
		}
		if met > 0 {
			b.Fatal("met")
		}
	})
}

// BenchmarkCompile compiles the pack of a whole service, and prepares a vehicle's judge.
func BenchmarkCompile(b *testing.B) {
	cat := benchCatalogue()
	p := benchPack(cat)
	faultsOnly := pack(p.GetRules()[:benchFaults]...)
	for name, p := range map[string]*pb.RulePack{"715 fault rules": faultsOnly, "787 rules": p} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := rules.Compile([]*pb.RulePack{p}, cat); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	e, err := rules.Compile([]*pb.RulePack{p}, cat)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("judge of one vehicle", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := e.For(vehicle("packs/test")); err != nil {
				b.Fatal(err)
			}
		}
	})
}
