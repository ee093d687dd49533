package verdict_test

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"
)

// groupRule is a rule about a few steps that may be met or not for each set of
// them that is answered soundly: not even "more is better" holds.
type groupRule struct {
	finding *pb.Finding
	met     []bool // by the sound steps, as bits in the order of the finding's steps
}

type groupRules []groupRule

func (rules groupRules) findings(sound map[string]bool) []*pb.Finding {
	var met []*pb.Finding
	for _, r := range rules {
		mask := 0
		for i, step := range r.finding.GetStepIds() {
			if sound[step] {
				mask |= 1 << i
			}
		}
		if r.met[mask] {
			met = append(met, r.finding)
		}
	}
	return met
}

// drawTangle draws an input whose findings about groups are those of drawn
// rules. Few steps, so that much meets at each.
func drawTangle(t *rapid.T) (*verdict.Input, groupRules) {
	in := drawInputOf(t, rapid.IntRange(1, 5).Draw(t, "steps"))
	in.Systems = nil // of deferrals that count together any may be put right; which, is not searched
	in.Findings = slices.DeleteFunc(in.Findings, func(f *pb.Finding) bool { return f.GetScope() == pb.RuleScope_RULE_SCOPE_GROUP })
	var rules groupRules
	for i := range rapid.IntRange(0, 5).Draw(t, "group rules") {
		f := drawFinding(t, fmt.Sprintf("group-%d", i), len(in.Required)+2)
		f.Scope = pb.RuleScope_RULE_SCOPE_GROUP
		met := rapid.SliceOfN(rapid.Bool(), 8, 8).Draw(t, "met")
		met[0] = met[0] || rapid.IntRange(0, 3).Draw(t, "met at first") > 0
		rules = append(rules, groupRule{f, met})
	}
	in.Findings = append(in.Findings, rules.findings(nil)...)
	return in, rules
}

// after returns what would be known after the repairs and answers, by the words
// of the model: independent of how ways are searched.
func after(in *verdict.Input, at time.Time, repairs, answers []string, rules groupRules) *verdict.Input {
	out := *in
	out.Latest, out.Findings, out.Defects = maps.Clone(in.Latest), nil, nil
	touched := map[string]bool{}
	for _, step := range answers {
		touched[step] = true
	}
	for _, d := range in.Defects {
		if slices.Contains(repairs, d.GetName()) {
			touched[d.GetStepId()] = true
		}
	}
	sound := maps.Clone(touched)
	for _, d := range in.Defects {
		c := proto.CloneOf(d)
		needsRepair := takesEffect(c) && slices.ContainsFunc(c.GetFindings(), func(f *pb.Finding) bool { return !f.GetRecheckCloses() })
		switch {
		case slices.Contains(repairs, c.GetName()), touched[c.GetStepId()] && !needsRepair:
			c.State = pb.DefectState_DEFECT_STATE_CLOSED
		case needsRepair:
			delete(sound, c.GetStepId())
		}
		out.Defects = append(out.Defects, c)
	}
	for step := range touched {
		out.Latest[step] = &verdict.Answer{Newest: seen(at), Real: seen(at), RealFits: true}
	}
	for _, f := range in.Findings {
		d := defectOf(&out, f)
		stillShown := d != nil && takesEffect(d)
		if f.GetScope() == pb.RuleScope_RULE_SCOPE_RESULT && (stillShown || !touched[f.GetStepIds()[0]]) {
			out.Findings = append(out.Findings, f)
		}
	}
	out.Findings = append(out.Findings, rules.findings(sound)...)
	return &out
}

// cheapest tries every set of acts and returns how few lead to the verdict or a
// better one; false when none does.
func cheapest(in *verdict.Input, at time.Time, aim pb.Verdict, rules groupRules) (int, bool) {
	defects, steps := possibleActs(in, rules)
	best, found := 0, false
	for set := range 1 << (len(defects) + len(steps)) {
		var repairs, answers []string
		for i, d := range defects {
			if set>>i&1 == 1 {
				repairs = append(repairs, d)
			}
		}
		for i, s := range steps {
			if set>>(len(defects)+i)&1 == 1 {
				answers = append(answers, s)
			}
		}
		acts := len(repairs) + len(answers)
		if found && acts >= best {
			continue
		}
		if v, _ := verdict.Fold(after(in, at, repairs, answers, rules), at); v <= aim {
			best, found = acts, true
		}
	}
	return best, found
}

// possibleActs returns the open defects and every step that anything is about.
func possibleActs(in *verdict.Input, rules groupRules) (defects, steps []string) {
	known := map[string]bool{}
	for _, step := range in.Required {
		known[step.GetStepId()] = true
	}
	if in.Takeover != nil {
		known[stepID(len(in.Required))] = true
	}
	for _, d := range in.Defects {
		if takesEffect(d) {
			defects = append(defects, d.GetName())
		}
		known[d.GetStepId()] = true
	}
	findings := slices.Clone(in.Findings)
	for _, r := range rules {
		findings = append(findings, r.finding)
	}
	for _, f := range findings {
		for _, step := range f.GetStepIds() {
			known[step] = true
		}
	}
	return defects, slices.Sorted(maps.Keys(known))
}

// TestWaysBack_AgreesWithTryingEverything is reference/job-map.md, D2-18: brute
// force on all sets of up to 12 acts: five defects, seven steps.
func TestWaysBack_AgreesWithTryingEverything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, rules := drawTangle(t)
		at := drawInstant(t, "at")
		now, _ := verdict.Fold(in, at)
		ways := verdict.WaysBack(in, at, rules.findings)
		if now == pb.Verdict_VERDICT_FIT {
			if len(ways) > 0 {
				t.Errorf("FIT, and yet %v", ways)
			}
			return
		}
		lifted, canLift := cheapest(in, at, now-1, rules)
		fit, canFit := cheapest(in, at, pb.Verdict_VERDICT_FIT, rules)
		var lifts, fits bool
		told := map[string]bool{}
		for _, w := range ways {
			acts := len(w.GetRepairDefects()) + len(w.GetAnswerSteps())
			if v, _ := verdict.Fold(after(in, at, w.GetRepairDefects(), w.GetAnswerSteps(), rules), at); v != w.GetLeadsTo() || v >= now {
				t.Errorf("from %v: %v leads to %v", now, w, v)
			}
			lift, full := acts == lifted, w.GetLeadsTo() == pb.Verdict_VERDICT_FIT && acts == fit
			if !lift && !full {
				t.Errorf("%v takes %d acts; %d lift the verdict, %d lead to FIT", w, acts, lifted, fit)
			}
			lifts, fits = lifts || lift, fits || full
			key := strings.Join(w.GetRepairDefects(), " ") + "|" + strings.Join(w.GetAnswerSteps(), " ")
			if told[key] || strings.Contains(w.GetText(), "may be a shorter one") {
				t.Errorf("told twice, or not to the end: %v", w)
			}
			told[key] = true
		}
		if lifts != canLift || fits != canFit {
			t.Errorf("from %v: lifted %v (possible %v), to FIT %v (possible %v): %v", now, lifts, canLift, fits, canFit, ways)
		}
	})
}

func TestWaysBack_OrderOfInputChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, rules := drawTangle(t)
		at := drawInstant(t, "at")
		shuffled := *in
		shuffled.Findings = rapid.Permutation(in.Findings).Draw(t, "findings shuffled")
		shuffled.Defects = rapid.Permutation(in.Defects).Draw(t, "defects shuffled")
		rulesShuffled := groupRules(rapid.Permutation(rules).Draw(t, "rules shuffled"))
		a := bytesOf(t, &pb.Readiness{WaysBack: verdict.WaysBack(in, at, rules.findings)})
		b := bytesOf(t, &pb.Readiness{WaysBack: verdict.WaysBack(&shuffled, at, rulesShuffled.findings)})
		if a != b {
			t.Error("the same things in another order give other ways back")
		}
	})
}

// TestWaysBack_BoundedAndHonest: forty findings about twenty steps each, of which
// six answers are needed, are more than are tried to the end.
func TestWaysBack_BoundedAndHonest(t *testing.T) {
	in := fitInput(130)
	for g := range 6 {
		f := finding(fmt.Sprintf("group-%d", g), pb.Effect_EFFECT_RESPONDING)
		f.Scope, f.StepIds = pb.RuleScope_RULE_SCOPE_GROUP, nil
		for i := range 20 {
			f.StepIds = append(f.StepIds, stepID(g*20+i))
		}
		in.Findings = append(in.Findings, f)
	}
	asked := 0
	ways := verdict.WaysBack(in, noon, func(sound map[string]bool) []*pb.Finding {
		asked++
		var left []*pb.Finding
		for _, f := range in.Findings {
			if !slices.ContainsFunc(f.GetStepIds(), func(id string) bool { return sound[id] }) {
				left = append(left, f)
			}
		}
		return left
	})
	if len(ways) != 1 || len(ways[0].GetAnswerSteps()) != 120 || !strings.HasPrefix(ways[0].GetText(), "One way, and there may be a shorter one. ") {
		t.Errorf("%d ways, the first: %v", len(ways), ways)
	}
	if asked > 420 {
		t.Errorf("groups was asked %d times", asked)
	}
}
