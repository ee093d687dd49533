package verdict

import (
	"cmp"
	"slices"
	"time"

	pb "bayround/proto/bayround/v1"
)

// Bounds of WaysBack.
const (
	maxWays  = 3   // ways named for each verdict aimed at
	maxTries = 400 // sets of answers for which groups is asked, for each verdict aimed at
)

// WaysBack returns the smallest sets of acts that lift the verdict: first those
// that lift it at all, then those that lead to FIT where these are others; at
// most three each. An act is the repair of one open defect, its step checked
// again included, or the answering of one step. Nil for FIT, and where nothing
// helps.
//
// An answer is taken to show nothing but what only a repair takes away. So
// answering a step makes it proven and closes those of its defects for which a
// sound answer is enough; it is answered soundly when every other open defect of
// the step is repaired as well. groups returns the findings about groups of
// steps and about the whole vehicle as they would be if the steps given had been
// answered soundly; each must depend on no other steps than those it names. Nil
// stands for: such a finding goes when any of its steps is answered soundly.
//
// Repairs and answers that single findings, defects and unproven steps call for
// leave no choice. Only findings about groups do, for any of their steps may
// help; there the sets are tried from the smallest on, and a set is built only of
// steps that a finding still there names, so none that helps is left out. For
// each verdict aimed at, groups is asked for at most 400 sets. Where that is not
// enough, one way is returned that makes every step of the findings in question
// sound, and its text says that there may be a shorter one.
func WaysBack(in *Input, at time.Time, groups func(sound map[string]bool) []*pb.Finding) []*pb.WayBack {
	if groups == nil {
		groups = anyStepHelps(in.Findings)
	}
	now, _ := Fold(in, at)
	if now <= pb.Verdict_VERDICT_FIT {
		return nil
	}
	w := newWalk(in.Required, at)
	all, repairs := hindrances(in, at)
	ways := waysTo(now-1, all, repairs, groups, w)
	if len(ways) == 0 || ways[0].leadsTo != pb.Verdict_VERDICT_FIT {
		ways = append(ways, waysTo(pb.Verdict_VERDICT_FIT, all, repairs, groups, w)...)
	}
	messages := make([]*pb.WayBack, len(ways))
	for i, way := range ways {
		messages[i] = way.message(in, w)
	}
	return messages
}

// anyStepHelps stands in for a caller's groups: the findings about groups that
// there are, less those of which a step was answered soundly.
func anyStepHelps(findings []*pb.Finding) func(map[string]bool) []*pb.Finding {
	return func(sound map[string]bool) []*pb.Finding {
		var left []*pb.Finding
		for _, f := range findings {
			if f.GetScope() != pb.RuleScope_RULE_SCOPE_RESULT &&
				!slices.ContainsFunc(f.GetStepIds(), func(id string) bool { return sound[id] }) {
				left = append(left, f)
			}
		}
		return left
	}
}

// way is one set of acts.
type way struct {
	leadsTo  pb.Verdict
	repairs  []*pb.Defect
	answers  []string
	shortest bool
}

// waysTo returns the smallest sets of acts after which no hindrance and no group
// finding is worse than the verdict aimed at, the best first.
func waysTo(aim pb.Verdict, all []hindrance, repairs map[string][]*pb.Defect, groups func(map[string]bool) []*pb.Finding, w walk) []way {
	base := newActs(repairs)
	for _, h := range all {
		switch {
		case h.verdict <= aim:
		case h.endless:
			return nil
		case h.repair != nil:
			base.repair(h.repair)
		default:
			base.touched[h.step] = true
		}
	}
	s := search{aim: aim, base: base, groups: groups, known: map[string][]*pb.Finding{}}
	var ways []way
	for _, more := range s.smallest(w) {
		ways = append(ways, s.way(more, all, w))
	}
	slices.SortFunc(ways, func(a, b way) int { return compareWays(a, b, w) })
	return ways[:min(len(ways), maxWays)]
}

// compareWays puts first what leads furthest, then what needs fewer repairs, then walking order.
func compareWays(a, b way, w walk) int {
	return cmp.Or(
		cmp.Compare(a.leadsTo, b.leadsTo),
		cmp.Compare(len(a.repairs), len(b.repairs)),
		slices.CompareFunc(a.repairs, b.repairs, func(x, y *pb.Defect) int { return w.compareDefects(x, y) }),
		slices.CompareFunc(a.answers, b.answers, w.compare),
	)
}

// acts is a set of acts under construction.
type acts struct {
	needs    map[string][]*pb.Defect // open defects that only a repair closes, by step
	repaired map[*pb.Defect]bool
	touched  map[string]bool // steps that are answered or checked again
}

func newActs(needs map[string][]*pb.Defect) acts {
	return acts{needs: needs, repaired: map[*pb.Defect]bool{}, touched: map[string]bool{}}
}

// with returns a copy that makes these steps sound too.
func (a acts) with(steps []string) acts {
	b := newActs(a.needs)
	for d := range a.repaired {
		b.repair(d)
	}
	for step := range a.touched {
		b.touched[step] = true
	}
	for _, step := range steps {
		b.touched[step] = true
		for _, d := range a.needs[step] {
			b.repair(d)
		}
	}
	return b
}

func (a acts) repair(d *pb.Defect) {
	a.repaired[d] = true
	a.touched[d.GetStepId()] = true
}

// repairsAt counts the repairs at a step.
func (a acts) repairsAt(step string) (n int) {
	for _, d := range a.needs[step] {
		if a.repaired[d] {
			n++
		}
	}
	return n
}

// isSound tells that a step is answered and nothing is left that it would show.
func (a acts) isSound(step string) bool {
	return a.touched[step] && a.repairsAt(step) == len(a.needs[step])
}

// price returns how many more acts make a step sound: its repairs, which include
// the answer, or the answer, less what is done at it already.
func (a acts) price(step string) int {
	done := a.repairsAt(step)
	if a.touched[step] {
		done = max(done, 1)
	}
	return max(len(a.needs[step]), 1) - done
}

// takesAway tells that a hindrance is gone after these acts.
func (a acts) takesAway(h hindrance) bool {
	if h.repair != nil {
		return a.repaired[h.repair]
	}
	return !h.endless && a.touched[h.step]
}

// sound returns the steps that are sound after these acts.
func (a acts) sound() map[string]bool {
	steps := map[string]bool{}
	for step := range a.touched {
		if a.isSound(step) {
			steps[step] = true
		}
	}
	return steps
}
