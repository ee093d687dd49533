package round

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	pb "bayround/proto/bayround/v1"
)

// againByRecord works out which steps of a round wait to be asked again after a run,
// from what this tablet's record says of it: whoever goes on with the round, after
// whatever the tablet did in between, is shown the same.
func (d *Desk) againByRecord(ctx context.Context, r *pb.Round) ([]string, error) {
	steps, err := d.stepsOf(ctx, r.GetVehicle(), r.GetRoutine())
	if err != nil {
		return nil, err
	}
	told := runsTold{walk: walk{steps: steps, answered: map[string]bool{}, again: map[string]bool{}}}
	err = d.twin.Events(context.WithoutCancel(ctx), 1, func(ev *pb.JournalEvent) error {
		switch e := ev.GetEvent().(type) {
		case *pb.JournalEvent_ResultRecorded:
			if e.ResultRecorded.GetResult().GetRound() == r.GetName() {
				told.answer(e.ResultRecorded.GetResult().GetStepId())
			}
		case *pb.JournalEvent_RoundStateChanged:
			if e.RoundStateChanged.GetRound() == r.GetName() {
				told.change(e.RoundStateChanged, deviceTime(ev).AsTime())
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read what was recorded of %s: %w", r.GetName(), err)
	}
	return slices.Sorted(maps.Keys(told.walk.again)), nil
}

// runsTold follows a round through the record.
type runsTold struct {
	walk   walk
	last   string    // step answered last
	called time.Time // when the turnout came, by the device's clock; zero while there is none
}

func (t *runsTold) answer(step string) {
	t.walk.answered[step], t.last = true, step
	delete(t.walk.again, step)
}

// change takes a change of the round's state. Where nobody knows when the engine
// stopped, the vehicle has been out.
func (t *runsTold) change(to *pb.RoundStateChanged, at time.Time) {
	switch {
	case to.GetState() == pb.RoundState_ROUND_STATE_PAUSED && to.GetTurnout():
		t.called = at
	case to.GetState() == pb.RoundState_ROUND_STATE_OPEN && !t.called.IsZero():
		stopped := to.GetConditions().GetEngineStopped()
		if stopped == nil || stopped.AsTime().After(t.called) {
			t.walk.again = againAfter(t.walk, t.halt())
		}
		t.called = time.Time{}
	}
}

// halt is where the walk broke off, as far as the record tells: at the next step that
// waited after the one answered last.
func (t *runsTold) halt() int {
	steps := t.walk.steps
	last := slices.IndexFunc(steps, func(s *pb.CheckStep) bool { return s.GetStepId() == t.last })
	for i := range steps {
		if at := (last + 1 + i) % len(steps); !t.walk.answered[steps[at].GetStepId()] {
			return stopsOf(steps)[at]
		}
	}
	return -1
}
