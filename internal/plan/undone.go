package plan

import (
	"cmp"
	"slices"

	pb "bayround/proto/bayround/v1"
)

// usualGoalS is within how many seconds an engine leaves where no station says so: what NFPA 1710 asks of
// a crew that goes to a fire; from memory.
const usualGoalS = 80

// ledger knows what may stand against a walk: what must be done before other things, and what stays undone.
type ledger struct {
	items map[string]*pb.Item
	steps map[string]*pb.CheckStep   // of the plan, by id
	of    map[string][]*pb.CheckStep // the same, by item, as the plan has them
	goalS int32
	done  map[string]bool // before the walk
}

func newLedger(in Input, p *pb.Plan, ask Ask) *ledger {
	l := &ledger{
		items: make(map[string]*pb.Item, len(in.Catalogue.GetItems())), steps: make(map[string]*pb.CheckStep, len(p.GetSteps())),
		of: map[string][]*pb.CheckStep{}, goalS: cmp.Or(in.Station.GetTurnoutGoalS(), usualGoalS), done: make(map[string]bool, len(ask.Done)),
	}
	for _, item := range in.Catalogue.GetItems() {
		l.items[item.GetId()] = item
	}
	for _, s := range p.GetSteps() {
		l.steps[s.GetStepId()] = s
		l.of[s.GetItem()] = append(l.of[s.GetItem()], s)
	}
	for _, id := range ask.Done {
		l.done[id] = true
	}
	return l
}

// undone is a step whose work stays, and the steps that are still to come and together put it back; none when nothing will.
type undone struct {
	step *pb.CheckStep
	back []string
}

// standing is what stays undone of the steps that were done before the walk.
func (l *ledger) standing(p *pb.Plan) (open []undone) {
	for _, s := range p.GetSteps() {
		until := l.items[s.GetItem()].GetStaysUntil()
		if u := l.leave(s, l.done); until != "" && l.done[s.GetStepId()] && (len(u.back) > 0 || len(l.of[until]) == 0) {
			open = append(open, u)
		}
	}
	return open
}

// leave is what a step leaves undone when some steps were done.
func (l *ledger) leave(s *pb.CheckStep, met map[string]bool) undone {
	u := undone{step: s}
	for _, b := range l.of[l.items[s.GetItem()].GetStaysUntil()] {
		if id := b.GetStepId(); !met[id] && !l.done[id] {
			u.back = append(u.back, id)
		}
	}
	return u
}

// isBack tells that it was put back by what was done.
func (u undone) isBack(met map[string]bool) bool {
	return len(u.back) > 0 && !slices.ContainsFunc(u.back, func(id string) bool { return !met[id] })
}

// tell notes on a walk, on which some steps' work stands from before, what a turnout would cost at each halt, and what
// is done without its precautions.
func (l *ledger) tell(w *pb.Walk, open []undone) {
	w.TurnoutGoalS = l.goalS
	open = slices.Clone(open)
	met := make(map[string]bool, len(l.steps))
	for _, h := range w.GetHalts() {
		for _, id := range h.GetStepIds() {
			s := l.steps[id]
			if missing := l.missing(s, met); len(missing) > 0 {
				w.Unguarded = append(w.Unguarded, &pb.Unguarded{StepId: id, Precautions: missing})
			}
			met[id] = true
			cost := s.GetUndoS()
			for _, u := range open {
				cost += u.step.GetUndoS()
			}
			h.UndoneS = max(h.UndoneS, cost)
			if cost > l.goalS {
				w.OverGoal = append(w.OverGoal, id)
			}
			open = slices.DeleteFunc(open, func(u undone) bool { return u.isBack(met) })
			if l.items[s.GetItem()].GetStaysUntil() != "" {
				open = append(open, l.leave(s, met))
			}
		}
	}
	for _, u := range open {
		w.LeftUndone = append(w.LeftUndone, u.step.GetStepId())
	}
}

// missing are the precautions of a step, by id, that were done neither before the walk nor on it so far.
func (l *ledger) missing(s *pb.CheckStep, met map[string]bool) (ids []string) {
	for _, item := range l.items[s.GetItem()].GetAfter() {
		for _, other := range l.of[item] {
			if id := other.GetStepId(); item != s.GetItem() && !met[id] && !l.done[id] {
				ids = append(ids, id)
			}
		}
	}
	return ids
}
