package round

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// leave forgets the round in hand.
func (d *Desk) leave() {
	d.session.leaveRound()
	d.stale = true
}

// goOn lights the next step after another; when nothing can be done now, it shows what
// is left. Where the walk was disturbed, the rest is put in another order first.
func (d *Desk) goOn(ctx context.Context, after string, why whyNewWay) error {
	if err := d.look(ctx); err != nil {
		return err
	}
	s := d.session
	d.plot(ctx, cmp.Or(after, s.At), "", why)
	if d.lightAfter(after) {
		s.Asked, s.Passed = s.Step, without(s.Passed, s.Step)
		if s.Way != nil && s.Way.Why != undisturbed && s.Way.Told == "" {
			s.Way.Told = s.Step
		}
		return nil
	}
	s.Phase, s.Step = PhaseOverview, ""
	s.turnAway()
	return nil
}

// takeUp goes on with a round that was left. A tablet that knows no way of it puts what is
// left in the best order, unless all that was answered comes first in the usual one.
func (d *Desk) takeUp(ctx context.Context) error {
	if err := d.look(ctx); err != nil {
		return err
	}
	if d.session.Way == nil {
		d.plot(ctx, "", "", undisturbed)
		if gapped(d.scene.walk(d.session, d.now()).marks()) {
			return d.goOn(ctx, "", whyTakenUp)
		}
	}
	return d.goOn(ctx, "", undisturbed)
}

// lightAfter lights the step whose turn it is after another; false when nothing can be done now.
func (d *Desk) lightAfter(after string) bool {
	marks := d.scene.walk(d.session, d.now()).marks()
	i := d.following(marks, after)
	if i >= 0 {
		d.session.light(marks[i].StepID, d.wall())
	}
	return i >= 0
}

// plotHere makes the way anew where the driver stands, in the middle of a round.
func (d *Desk) plotHere(ctx context.Context) error {
	s := d.session
	if s.Phase != PhaseStep && s.Phase != PhaseOverview {
		return nil
	}
	if err := d.look(ctx); err != nil {
		return err
	}
	d.plot(ctx, cmp.Or(s.Step, s.At), s.Step, undisturbed)
	return nil
}

// goTo lights a step that was touched; one that was answered is opened again.
func (d *Desk) goTo(_ context.Context, a Act) error {
	step := d.scene.stepOf(a.Values["step"])
	if step == nil {
		return fault.New(fault.NotFound, "STEP_UNKNOWN", "this step is not in the round")
	}
	d.open(step)
	return nil
}

// open lights a step, again where it was answered in this round.
func (d *Desk) open(step *pb.CheckStep) {
	s, now := d.session, d.now()
	id := step.GetStepId()
	s.Passed = without(s.Passed, id)
	if s.Step == id {
		s.light(id, d.wall())
		return
	}
	s.Cure = nil
	w := d.scene.walk(s, now)
	if !w.answered[id] || w.again[id] {
		s.light(id, d.wall())
		return
	}
	looked := time.Duration(0)
	if step.GetLast().GetRound() == s.Round {
		looked = time.Duration(step.GetLast().GetLookedS() * float64(time.Second))
	}
	s.relight(id, looked, d.wall())
}

// goNext passes the step in the light by and lights the next one that waits. It comes
// back: the order is made anew with the next answer, for only that tells where the driver stands.
func (d *Desk) goNext(_ context.Context, _ Act) error {
	s := d.session
	marks := d.scene.walk(s, d.now()).marks()
	if at := placeOf(marks, s.Step); at >= 0 && marks[at].State.toDo() && !slices.Contains(s.Passed, s.Step) {
		s.Passed = append(slices.Clip(s.Passed), s.Step)
	}
	s.Cure = nil
	if !d.lightAfter(s.Step) {
		s.Phase, s.Step = PhaseOverview, ""
		s.turnAway()
	}
	return nil
}

// goBack lights the step that was just passed by, or else the one before in the walk,
// whatever its state.
func (d *Desk) goBack(context.Context, Act) error {
	s := d.session
	if slices.Contains(s.Passed, s.Asked) { // nothing was answered since
		if step := d.scene.stepOf(s.Passed[len(s.Passed)-1]); step != nil {
			d.open(step)
			return nil
		}
	}
	steps := s.Way.order(d.scene.plan.GetSteps())
	place := slices.IndexFunc(steps, func(step *pb.CheckStep) bool { return step.GetStepId() == s.Step })
	if place < 1 {
		return fault.New(fault.Precondition, "FIRST_STEP", "this is the first step")
	}
	d.open(steps[place-1])
	return nil
}

// undo opens the step answered last again, while that was a moment ago.
func (d *Desk) undo(context.Context, Act) error {
	g := d.session.Given
	if g == nil || d.now().Sub(g.At) >= undoFor {
		return fault.New(fault.Precondition, "UNDO_OVER", "it is too late for undo; touch the step and correct it")
	}
	step := d.scene.stepOf(g.StepID)
	if step == nil {
		return fault.New(fault.NotFound, "STEP_UNKNOWN", "this step is not in the round")
	}
	d.open(step)
	return nil
}

// developed keeps the photo that comes with an act, and puts its name in the place
// of its content. It is done before the desk is locked: a picture takes a while,
// and a turnout must not wait for it.
func (d *Desk) developed(a Act) (Act, error) {
	if a.Name != "photo" {
		return a, nil
	}
	if d.photos == nil {
		return a, fault.New(fault.Precondition, "NO_PHOTOS", "this tablet keeps no photos; write a note")
	}
	sum, err := d.photos.Put(a.Content)
	return Act{Name: a.Name, Values: map[string]string{"sha256": sum, "at": a.Values["at"]}}, err
}

// takePhoto adds a photo to the answer.
func (d *Desk) takePhoto(_ context.Context, a Act) error {
	if _, err := d.lit(); err != nil {
		return err
	}
	next, sum := d.session.Draft.clone(), a.Values["sha256"]
	switch {
	case slices.Contains(next.Photos, sum):
		return nil
	case len(next.Photos) >= mostPhotos:
		return fault.New(fault.Precondition, "PHOTOS_FULL", "an answer holds %d photos; take one away first", mostPhotos)
	}
	next.Photos = append(next.Photos, sum)
	d.session.Draft = next
	return nil
}

// response is what the twin answered.
func (g *given) response() (*pb.RecordResultResponse, error) {
	r := &pb.RecordResultResponse{}
	if err := proto.Unmarshal(g.Response, r); err != nil {
		return nil, fault.New(fault.Lost, "ANSWER_UNREADABLE", "what the answer meant cannot be read from the session file").Because(err)
	}
	return r, nil
}

// without is a list of steps without one of them.
func without(ids []string, id string) []string {
	return slices.DeleteFunc(slices.Clone(ids), func(other string) bool { return other == id })
}

// reason and message are those of a fault; empty for other errors.
func reason(err error) string {
	var f *fault.Fault
	if errors.As(err, &f) {
		return f.Reason
	}
	return ""
}

func message(err error) string {
	var f *fault.Fault
	if errors.As(err, &f) {
		return f.Message
	}
	return ""
}

// seconds is a time in whole seconds, rounded up.
func seconds(d time.Duration) int { return int((d + time.Second - 1) / time.Second) }

// clock is a time of day at the station, in words.
func (d *Desk) clock(t time.Time) string { return clockWords(t, d.now(), d.zone()) }
