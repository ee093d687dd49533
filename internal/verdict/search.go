package verdict

import (
	"cmp"
	"slices"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// search looks for the cheapest steps to be made sound beside a base of acts, so
// that no finding about a group is worse than the aim.
type search struct {
	aim    pb.Verdict
	base   acts
	groups func(sound map[string]bool) []*pb.Finding
	known  map[string][]*pb.Finding // what groups said of sets already tried, by their key
	found  map[string][]string      // sets that reach the aim, by their key
	seen   map[string]bool          // sets tried with the present budget, and whether a greater one could help
	spent  bool                     // maxTries was not enough
}

// smallest returns the cheapest sets of steps to be made sound; none when no set
// helps.
func (s *search) smallest(w walk) [][]string {
	for budget := 0; ; budget++ {
		s.found, s.seen = map[string][]string{}, map[string]bool{}
		more := s.try(nil, budget)
		if s.spent {
			return s.everything()
		}
		if len(s.found) > 0 || !more {
			break
		}
	}
	sets := make([][]string, 0, len(s.found))
	for _, set := range s.found {
		sets = append(sets, set)
	}
	slices.SortFunc(sets, func(a, b []string) int { return slices.CompareFunc(a, b, w.compare) })
	return sets
}

// try records every set within the budget that holds these steps and reaches the
// aim. It tells whether a greater budget could find more.
func (s *search) try(steps []string, budget int) (more bool) {
	k := key(steps)
	if more, seen := s.seen[k]; seen {
		return more // the same set costs the same in whatever order it was built
	}
	defer func() { s.seen[k] = more }()
	bad := s.worstGroup(steps)
	if s.spent {
		return false
	}
	if bad == nil {
		s.found[k] = steps
		return false
	}
	a := s.base.with(steps)
	for _, step := range bad.GetStepIds() {
		if a.isSound(step) {
			continue // and the finding is there all the same
		}
		price := s.base.price(step)
		if price > budget {
			more = true
			continue
		}
		next := append(slices.Clone(steps), step)
		slices.Sort(next)
		more = s.try(next, budget-price) || more
	}
	return more
}

// worstGroup returns, of the group findings that are worse than the aim when
// these steps are sound beside the base, the one that leaves the least choice;
// nil when there is none.
func (s *search) worstGroup(steps []string) *pb.Finding {
	k := key(steps)
	findings, known := s.known[k]
	if !known {
		if len(s.known) >= maxTries {
			s.spent = true
			return nil
		}
		findings = s.bad(s.base.with(steps))
		s.known[k] = findings
	}
	if len(findings) == 0 {
		return nil
	}
	return slices.MinFunc(findings, func(a, b *pb.Finding) int {
		return cmp.Or(cmp.Compare(len(a.GetStepIds()), len(b.GetStepIds())), compareFindings(a, b))
	})
}

// bad returns the group findings that are worse than the aim after these acts.
func (s *search) bad(a acts) []*pb.Finding {
	return slices.DeleteFunc(slices.Clone(s.groups(a.sound())), func(f *pb.Finding) bool {
		return OfEffect(f.GetEffect()) <= s.aim
	})
}

// everything returns the one set that makes every step sound that a finding
// worse than the aim names; none when even that does not help.
func (s *search) everything() [][]string {
	var steps []string
	for {
		a := s.base.with(steps)
		bad := s.bad(a)
		if len(bad) == 0 {
			slices.Sort(steps)
			return [][]string{steps}
		}
		before := len(steps)
		for _, f := range bad {
			for _, step := range f.GetStepIds() {
				if !a.isSound(step) && !slices.Contains(steps, step) {
					steps = append(steps, step)
				}
			}
		}
		if len(steps) == before {
			return nil
		}
	}
}

// way turns steps to be made sound into the acts they and the base call for.
func (s *search) way(steps []string, all []hindrance, w walk) way {
	a := s.base.with(steps)
	found := way{leadsTo: pb.Verdict_VERDICT_FIT, shortest: !s.spent}
	for _, h := range all {
		if !a.takesAway(h) {
			found.leadsTo = max(found.leadsTo, h.verdict)
		}
	}
	for _, f := range s.groups(a.sound()) {
		found.leadsTo = max(found.leadsTo, OfEffect(f.GetEffect()))
	}
	for d := range a.repaired {
		found.repairs = append(found.repairs, d)
	}
	for step := range a.touched {
		if a.repairsAt(step) == 0 {
			found.answers = append(found.answers, step)
		}
	}
	slices.SortFunc(found.repairs, w.compareDefects)
	slices.SortFunc(found.answers, w.compare)
	return found
}

// key names a sorted set of steps.
func key(steps []string) string {
	return strings.Join(steps, "\n")
}
