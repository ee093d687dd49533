package round

import (
	"context"
	"fmt"
	"maps"
	"slices"

	pb "bayround/proto/bayround/v1"
)

// againByRecord works out which steps of a round wait to be asked again after a run,
// from the turnouts of the round and the order of its results: whoever goes on with
// it, on this tablet or another, is shown the same.
func (d *Desk) againByRecord(ctx context.Context, r *pb.Round) ([]string, error) {
	if len(r.GetTurnouts()) == 0 {
		return nil, nil
	}
	plan, err := d.outline(r.GetVehicle(), r.GetRoutine(), r.GetWithItems())
	if err != nil {
		return nil, err
	}
	order := recordedOrder{round: r.GetName(), stepOf: map[string]string{}}
	err = d.twin.Events(context.WithoutCancel(ctx), 1, func(ev *pb.JournalEvent) error {
		order.take(ev)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read what was recorded of %s: %w", r.GetName(), err)
	}
	told := runsTold{walk: walk{steps: plan.Plan.GetSteps(), answered: map[string]bool{}, again: map[string]bool{}}}
	return told.replay(r.GetTurnouts(), order.steps), nil
}

// recordedOrder is the steps of a round's results in the order they came, as the
// tablet's own record has them: recorded here, or taken over.
type recordedOrder struct {
	round  string
	steps  []string
	stepOf map[string]string // by result
}

func (o *recordedOrder) take(ev *pb.JournalEvent) {
	if r := ev.GetResultRecorded().GetResult(); r.GetRound() == o.round && r != nil {
		o.add(r)
		return
	}
	for _, there := range ev.GetStandingAdopted().GetRounds() {
		if there.GetRound().GetName() == o.round {
			o.adopt(there.GetResults())
		}
	}
}

// adopt takes the results as they came at the station of record. One that is empty
// stands for all that were known here, and an id alone for one of them.
func (o *recordedOrder) adopt(results []*pb.Result) {
	before := o.steps
	o.steps = nil
	for _, r := range results {
		if r.GetResultId() == "" {
			o.steps = append(o.steps, before...)
			continue
		}
		o.add(r)
	}
}

func (o *recordedOrder) add(r *pb.Result) {
	step := r.GetStepId()
	if step == "" {
		step = o.stepOf[r.GetResultId()]
	}
	o.stepOf[r.GetResultId()] = step
	o.steps = append(o.steps, step)
}

// runsTold follows a round through its answers and turnouts.
type runsTold struct {
	walk walk
	last string // step answered last
}

// replay goes through the answers, with the runs at their places among them, and
// returns the steps that wait to be asked again.
func (t *runsTold) replay(runs []*pb.TurnoutRun, answered []string) []string {
	for i := range len(answered) + 1 {
		for len(runs) > 0 && int(runs[0].GetResultsBefore()) <= i {
			if runs[0].GetWentOut() {
				t.walk.again = againAfter(t.walk, t.halts()...)
			}
			runs = runs[1:]
		}
		if i < len(answered) {
			t.answer(answered[i])
		}
	}
	return slices.Sorted(maps.Keys(t.walk.again))
}

func (t *runsTold) answer(step string) {
	t.walk.answered[step], t.last = true, step
	delete(t.walk.again, step)
}

// halts are where the walk may have broken off, as far as the record tells: at the stop of
// the step answered last while something waits there, else at that of the next step that
// waits. Where earlier steps wait, the walk was not in the plan's order and nobody can
// tell: then it is every stop of which a part is done.
func (t *runsTold) halts() (broken []int) {
	steps, halts := t.walk.steps, stopsOf(t.walk.steps)
	last := slices.IndexFunc(steps, func(s *pb.CheckStep) bool { return s.GetStepId() == t.last })
	done, waits, first, next := map[int]bool{}, map[int]bool{}, -1, -1
	for i := range steps {
		at := (last + 1 + i) % len(steps)
		if t.walk.answered[steps[at].GetStepId()] {
			done[halts[at]] = true
			continue
		}
		waits[halts[at]] = true
		if next < 0 {
			next = halts[at]
		}
		if first < 0 || at < first {
			first = at
		}
	}
	switch {
	case last >= 0 && waits[halts[last]]:
		return []int{halts[last]}
	case first < 0 || first > last:
		return []int{next}
	}
	for halt := range done {
		if waits[halt] {
			broken = append(broken, halt)
		}
	}
	return broken
}
