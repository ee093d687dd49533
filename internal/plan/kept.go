package plan

import (
	"cmp"
	"slices"

	pb "bayround/proto/bayround/v1"
)

// keptShare is how much more the order that drivers know may cost than the best, as a share of it: a
// hundredth. Nobody notices five seconds in eight minutes; everybody notices another order.
const keptShare = 100

// Kept returns the order of the halts that drivers know from the former configuration of a
// vehicle, to be stored with the present one: where another order would now be the best but is better by
// no more than a percent. nil where nothing is to be kept. Both inputs name the same routine.
func Kept(former, now Input) *pb.KeptOrder {
	before, after := wholeRoute(former), wholeRoute(now)
	known, _ := before.best(keptIn(former))
	kept := &pb.KeptOrder{Routine: now.Routine.GetName()}
	for _, h := range known.order {
		kept.StepIds = append(kept.StepIds, before.tasks[before.halts[h].tasks[0]].step.GetStepId())
	}
	best := after.solve(nil)
	if as, near := after.as(kept, best); near && !slices.Equal(as.order, best.order) {
		return kept
	}
	return nil
}

// wholeRoute is the route of all steps with an assistant.
func wholeRoute(in Input) *route {
	l := newLayout(in.Vehicle)
	return newRoute(l, in.Catalogue, in.Routine.GetWalkWeights(), stepsOf(in, l), outset{})
}

// keptIn is the former order that a configuration keeps for the routine; nil for none.
func keptIn(in Input) *pb.KeptOrder {
	for _, kept := range in.Vehicle.GetKeptOrders() {
		if kept.GetRoutine() == in.Routine.GetName() && in.Routine.GetName() != "" {
			return kept
		}
	}
	return nil
}

// best is the best order of the halts; or a former one, and what the best would save, where that is
// kept and hardly worse.
func (r *route) best(kept *pb.KeptOrder) (s solved, saved price) {
	s = r.solve(nil)
	if kept == nil {
		return s, 0
	}
	if as, near := r.as(kept, s); near {
		return solved{as.order, as.cost, s.bound}, as.cost - s.cost
	}
	return s, 0
}

// as is the best order that goes as a former one did, and whether it is near the best of all.
func (r *route) as(kept *pb.KeptOrder, best solved) (s solved, near bool) {
	s = r.solve(r.asBefore(kept))
	return s, s.cost-best.cost <= best.cost/keptShare
}

// asBefore are pairs of halts that follow each other as they did in a former order: within a group, and the
// first halts of groups of one block. What is new stands where it costs least.
func (r *route) asBefore(kept *pb.KeptOrder) (pairs [][2]int) {
	rank := make(map[int]int, len(r.halts))
	for place, id := range kept.GetStepIds() {
		i, found := slices.BinarySearchFunc(r.tasks, id, func(t task, id string) int { return cmp.Compare(t.step.GetStepId(), id) })
		if !found {
			continue
		}
		if _, known := rank[r.tasks[i].halt]; !known {
			rank[r.tasks[i].halt] = place
		}
	}
	known := func(halts []int) []int {
		halts = slices.DeleteFunc(slices.Clone(halts), func(h int) bool { _, known := rank[h]; return !known })
		slices.SortFunc(halts, func(a, b int) int { return cmp.Compare(rank[a], rank[b]) })
		return halts
	}
	chain := func(halts []int) {
		for i := 1; i < len(halts); i++ {
			pairs = append(pairs, [2]int{halts[i-1], halts[i]})
		}
	}
	for _, block := range r.blocks {
		var firsts []int
		for _, g := range block.groups {
			here := known(r.groups[g].halts)
			chain(here)
			firsts = append(firsts, here[:min(1, len(here))]...)
		}
		chain(known(firsts))
	}
	return pairs
}
