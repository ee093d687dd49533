package round

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// turnOut interrupts whatever is going on and shows what must be put back. It
// comes before everything else: whatever cannot be recorded now is tried again
// after, and the list is shown all the same.
func (d *Desk) turnOut(ctx context.Context, _ Act) error {
	s, now := d.session, d.now().Round(0)
	if s.Phase == PhaseTurnout {
		return nil
	}
	if d.scene.round == nil || !live(d.scene.round) {
		s.HandOvers = s.handedOn(now)
		s.Round, s.Resuming, s.Closed, d.stale = "", false, nil, true
	}
	underWay := s.Round != "" && !s.Resuming
	if underWay {
		s.BrokeOff = d.brokeOff()
	}
	s.Phase, s.Turnout = PhaseTurnout, &departure{Items: d.undoneNow(), Paused: now}
	s.Telling, s.RunTold = nil, false // of a run before
	s.Step, s.Draft, s.Given, s.Cure, s.Confirm = "", draft{}, nil, nil, ""
	s.turnAway()
	if !underWay {
		return nil
	}
	return d.command(ctx, &pending{Kind: commandPause}, &pb.PauseRoundRequest{
		RequestId: uuid.NewString(), Round: s.Round, Note: "turnout", Turnout: true, DeviceTime: d.deviceTime(),
	})
}

// paused takes what the twin says must be made safe.
func (d *Desk) paused(_ context.Context, _ *pb.PauseRoundRequest, resp *pb.PauseRoundResponse) error {
	if d.session.Turnout != nil {
		d.session.Turnout.Items = safeItems(resp.GetMakeSafe())
	}
	return nil
}

// brokeOff is the halt at which the walk stands: that of the step in the light.
func (d *Desk) brokeOff() int {
	w := d.scene.walk(d.session, d.now())
	w.steps = d.scene.plan.GetSteps() // halts are those of the plan, whatever the way
	if place := slices.IndexFunc(w.steps, func(step *pb.CheckStep) bool { return step.GetStepId() == d.session.Step }); place >= 0 {
		return stopsOf(w.steps)[place]
	}
	return brokeOffAt(w.marks())
}

// undoneNow is what is physically undone on the vehicle in hand, in walking order.
func (d *Desk) undoneNow() []safeItem {
	return safeItems(d.scene.readiness[d.session.Vehicle].GetUndone())
}

// undoneHere is what the round in hand has left undone.
func (d *Desk) undoneHere() []safeItem {
	return slices.DeleteFunc(d.undoneNow(), func(it safeItem) bool { return it.Round != d.session.Round })
}

func safeItems(undone []*pb.UndoneStep) []safeItem {
	items := make([]safeItem, len(undone))
	for i, u := range undone {
		items[i] = safeItem{u.GetStepId(), u.GetTitle(), u.GetPlace(), u.GetUndoS(), u.GetRound()}
	}
	return items
}

// makeSafe says that one thing was put back.
func (d *Desk) makeSafe(ctx context.Context, a Act) error {
	s, step := d.session, a.Values["step"]
	items := d.undoneNow()
	i := slices.IndexFunc(items, func(it safeItem) bool { return it.StepID == step })
	if i < 0 {
		if s.Turnout != nil && slices.ContainsFunc(s.Turnout.Items, func(it safeItem) bool { return it.StepID == step }) {
			return nil // touched twice
		}
		return fault.New(fault.NotFound, "NOT_UNDONE", "nothing is undone there")
	}
	return d.command(ctx, &pending{Kind: commandSafe}, &pb.MakeSafeRequest{
		RequestId: uuid.NewString(), Round: items[i].Round, StepIds: []string{step}, DeviceTime: d.deviceTime(),
	})
}

func (d *Desk) madeSafe(context.Context, *pb.MakeSafeRequest, *pb.MakeSafeResponse) error { return nil }

// goAway says that the vehicle leaves. It never holds anybody up: what nobody has
// said was put back stays on record as undone, and is named.
func (d *Desk) goAway(_ context.Context, _ Act) error {
	s := d.session
	if s.Round == "" {
		d.leave() // there is none to come back to
		return nil
	}
	s.Turnout.Away = d.now().Round(0)
	var left []string
	for _, it := range d.undoneNow() {
		left = append(left, fmt.Sprintf("%s (%s)", it.Title, it.Place))
	}
	if len(left) == 0 {
		return nil
	}
	return fault.New(fault.Precondition, "STILL_UNDONE", "nobody said that this was put back: %s", strings.Join(left, ", "))
}

// comeBack asks what must be known before the walk goes on.
func (d *Desk) comeBack(context.Context, Act) error {
	s := d.session
	if s.Round == "" {
		d.leave()
		return nil
	}
	if s.Asleep != 0 { // nobody said who it is before the turnout
		s.signOut()
		s.Asleep = 0
	}
	s.Phase, s.Resuming, s.Engine, s.Ambient, s.Minutes = PhaseBefore, true, engine{Ran: s.Engine.Ran}, "", 0
	if s.Driver == "" {
		s.Phase = PhaseSignIn
	}
	return nil
}
