package packtest

import (
	"os"
	"path/filepath"
	"testing"

	"bayround/internal/catalogue"
	"bayround/internal/plan"
	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// fleet loads the invented county's vehicles together with the defaults.
func fleet(t *testing.T) *catalogue.Loaded {
	t.Helper()
	files := catalogue.Defaults()
	names, err := filepath.Glob(filepath.Join("..", "..", "testdata", "demo", "vehicles", "*.yaml"))
	if err != nil || len(names) < 10 {
		t.Fatalf("%d vehicles were found: %v", len(names), err)
	}
	for _, name := range names {
		content, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, catalogue.File{Name: filepath.Base(name), Content: content})
	}
	loaded, err := catalogue.Load(files)
	if err != nil {
		t.Fatal(err)
	}
	return loaded
}

// On every vehicle of the county, whatever is answered at any step of any
// routine can be judged by all four packs together: nothing is left unproven for
// want of a rule or a number.
func TestFleet_EveryAnswerCanBeJudged(t *testing.T) {
	d, loaded := ours(t), fleet(t)
	for _, v := range loaded.Vehicles {
		j := d.judge(t, v, policyPack, annexPack, gbPack, usPack)
		for _, routine := range loaded.Routines {
			steps := plan.Build(plan.Input{Vehicle: v, Catalogue: loaded.Catalogue, Routine: routine}).GetSteps()
			var all []*pb.Observation
			for _, s := range steps {
				answers := everyAnswer(s)
				if len(answers) == 0 {
					t.Fatalf("%s: no answer was made", s.GetStepId())
				}
				for _, o := range answers {
					complainUnjudged(t, v, j.Result(o))
				}
				all = append(all, answers[len(answers)-1])
			}
			complainUnjudged(t, v, j.Groups(all))
		}
	}
}

// everyAnswer answers a planned step in every way there is: each condition with
// and without a count, each end and the middle of each value, and each condition
// beside each of those values.
func everyAnswer(s *pb.CheckStep) (all []*pb.Observation) {
	values := everyValue(s)
	for _, c := range s.GetConditions() {
		for _, count := range []*pb.Count{nil, {Affected: 1, Of: s.GetAlike()}} {
			if s.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_CONDITION {
				all = append(all, seen(s, count, c.GetId()))
			}
			for _, value := range values {
				all = append(all, beside(value, count, c.GetId()))
			}
		}
	}
	return append(all, values...)
}

// everyValue reads a planned step at each end of its value and between.
func everyValue(s *pb.CheckStep) (all []*pb.Observation) {
	switch s.GetAnswerKind() {
	case pb.AnswerKind_ANSWER_KIND_LEVEL:
		return []*pb.Observation{levelled(s, -1), levelled(s, 0), levelled(s, 0.5), levelled(s, 1), levelled(s, 2)}
	case pb.AnswerKind_ANSWER_KIND_PROFILE:
		return []*pb.Observation{depths(s, 0, 0), depths(s, 1, 4, 1), depths(s, 2, 2, 2), depths(s, 12, 12, 12)}
	case pb.AnswerKind_ANSWER_KIND_READING:
		for _, share := range []float64{0, 0.1, 0.5, 1} {
			var values []float64
			for _, part := range s.GetParts() {
				least, greatest := part.GetPossible().GetLeast(), part.GetPossible().GetGreatest()
				values = append(values, least+share*(greatest-least))
			}
			all = append(all, read(s, values...))
		}
	}
	return all
}

// A vehicle on which every single answer is sound stays free of findings when
// the answers are looked at together: groups give no false alarm.
func TestFleet_SoundAnswersTogetherSetNothingOff(t *testing.T) {
	d, loaded := ours(t), fleet(t)
	for _, v := range loaded.Vehicles {
		j := d.judge(t, v, policyPack, annexPack, gbPack, usPack)
		var all []*pb.Observation
		for _, routine := range loaded.Routines {
			for _, s := range plan.Build(plan.Input{Vehicle: v, Catalogue: loaded.Catalogue, Routine: routine}).GetSteps() {
				if o := soundAnswer(j, s); o != nil {
					all = append(all, o)
				} else {
					t.Errorf("%s: no answer to %s is sound", v.GetCallSign(), s.GetStepId())
				}
			}
		}
		if found := j.Groups(all); len(found) > 0 {
			t.Errorf("%s: %d sound answers together set off %v", v.GetCallSign(), len(all), ruleIDs(found))
		}
	}
}

// soundAnswer gives the first answer to a step that sets nothing off, or nil.
func soundAnswer(j *rules.Judge, s *pb.CheckStep) *pb.Observation {
	var answers []*pb.Observation
	for _, c := range s.GetConditions() {
		if c.GetSound() {
			answers = append(answers, seen(s, nil, c.GetId()))
		}
	}
	switch {
	case s.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_LEVEL:
		answers = append(answers, levelled(s, 0.95))
	case s.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_PROFILE:
		answers = append(answers, depths(s, 10, 10, 10))
	case s.Target != nil:
		answers = append(answers, read(s, s.GetTarget()))
	default:
		const shares = 400
		for i := range shares {
			var together, first []float64 // all parts alike, or all but the first at their least
			for p, part := range s.GetParts() {
				least, greatest := part.GetPossible().GetLeast(), part.GetPossible().GetGreatest()
				together = append(together, least+(greatest-least)*float64(i)/shares)
				first = append(first, least)
				if p == 0 {
					first[0] = together[0]
				}
			}
			answers = append(answers, read(s, together...), read(s, first...))
		}
	}
	for _, o := range answers {
		if o != nil && len(j.Result(o)) == 0 {
			return o
		}
	}
	return nil
}

// complainUnjudged complains of what could not be judged. That a value lies too
// near a bound is a judgement.
func complainUnjudged(t *testing.T, v *pb.VehicleConfiguration, found []*pb.Finding) {
	t.Helper()
	for _, f := range found {
		if f.GetEffect() == pb.Effect_EFFECT_UNSPECIFIED && !undecided(f) {
			t.Errorf("%s, %v: %s", v.GetCallSign(), f.GetStepIds(), f.GetText())
		}
	}
}

// Every pack a vehicle of the county names is there, and its judge can be made.
func TestFleet_PacksInForce(t *testing.T) {
	loaded := fleet(t)
	engine, err := rules.Compile(loaded.RulePacks, loaded.Catalogue)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range loaded.Vehicles {
		j, err := engine.For(v)
		if err != nil {
			t.Errorf("%s: %v", v.GetCallSign(), err)
			continue
		}
		if len(j.Packs()) != len(v.GetRulePacks()) {
			t.Errorf("%s is judged by %v, its configuration names %v", v.GetCallSign(), j.Packs(), v.GetRulePacks())
		}
	}
}
