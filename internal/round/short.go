package round

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"time"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// A short round is a round in which only so many minutes are spent: what must not be
// missed, and then what finds most in the time, as the planner chooses. Its steps come
// first; then the tablet shows what was left out. Nothing is recorded of that: nobody
// looked, so by freshness it says what it said before, and what it does not prove leaves
// the vehicle unproven. An answer "not checked: no time" for all of it at once would be a bulk
// answer, and would take the place of one that is still fresh. The reason stands in the
// note with which the round ends, and in the words for the next watch. Until it ends, the
// rest can be gone on with: it is then asked in the order of the best way.

// mostChoices is how many minutes there are to choose from.
const mostChoices = 5

// offer is what was worked out of a round that has not begun.
type offer struct {
	of                  string // what it was made for
	whole, must, chosen *pb.Walk
}

// sayMinutes takes how many minutes there are; 0 for as many as it takes.
func (d *Desk) sayMinutes(ctx context.Context, a Act) error {
	minutes, err := strconv.Atoi(a.Values["minutes"])
	if o := d.offered(ctx); err != nil || minutes != 0 && !slices.Contains(choices(o), minutes) {
		return fault.New(fault.Invalid, "MINUTES_WRONG", "choose one of the times shown")
	}
	d.session.Minutes = minutes
	return nil
}

// offered works out how long the round takes, whole, as short as may be, and in the time
// chosen; nil where the planner cannot say.
func (d *Desk) offered(ctx context.Context) *offer {
	s := d.session
	req := &pb.GetWalkRequest{Vehicle: s.Vehicle, Routine: s.Routine, Alone: s.Assistant == "", Done: d.spared(), WithItems: d.scene.with}
	of := fmt.Sprint(req.GetVehicle(), d.scene.plan.GetDigest(), req.GetAlone(), req.GetDone(), s.Minutes)
	if d.offer == nil || d.offer.of != of {
		d.offer = &offer{of: of}
		for _, w := range []struct {
			withinS int
			walk    **pb.Walk
		}{{0, &d.offer.whole}, {1, &d.offer.must}, {60 * s.Minutes, &d.offer.chosen}} {
			req.WithinS = int32(w.withinS)
			resp, err := d.twin.GetWalk(context.WithoutCancel(ctx), req)
			if err != nil {
				d.log.Warn("how long a round takes is not known", "vehicle", s.Vehicle, "cause", err)
				d.offer = &offer{of: of}
				break
			}
			*w.walk = resp.GetWalk()
		}
	}
	if d.offer.whole == nil {
		return nil
	}
	return d.offer
}

// spared are the steps that are not asked when the round begins or is gone on with: what
// was answered and is not asked again, and what waits for a cold engine.
func (d *Desk) spared() (ids []string) {
	w := d.scene.walk(d.session, d.now())
	w.again = map[string]bool{}
	again := d.session.Again
	if d.session.Resuming {
		again = d.resumption().Again
	}
	for _, id := range again {
		w.again[id] = true
	}
	for _, m := range w.marks() {
		if !m.State.toDo() {
			ids = append(ids, m.StepID)
		}
	}
	slices.Sort(ids)
	return ids
}

// choices are the minutes from which the driver can choose: enough for what must not be
// missed, and less than the whole round takes.
func choices(o *offer) (minutes []int) {
	if o == nil {
		return nil
	}
	least, whole := (takesS(o.must)+59)/60, takesS(o.whole)/60
	for m := least; m < whole && len(minutes) < mostChoices; m = (m/5 + 1) * 5 {
		minutes = append(minutes, m)
	}
	return minutes
}

// takesS is how many seconds a walk takes, looking as short as may be, rounded to the nearest.
func takesS(w *pb.Walk) int {
	return int(w.GetWalkingS() + w.GetChangingS() + w.GetLookingS() + 0.5)
}

// timeView is what the driver is told of the time before a round.
func (d *Desk) timeView(ctx context.Context) *Time {
	o := d.offered(ctx)
	if o == nil {
		return nil
	}
	t := &Time{
		Whole: lasting(takesS(o.whole)), Must: lasting(takesS(o.must)), Minutes: choices(o),
		Chosen: d.session.Minutes, Takes: lasting(takesS(o.chosen)),
	}
	for _, id := range o.chosen.GetLeftOut() {
		t.LeftOut = append(t.LeftOut, d.scene.stepOf(id).GetTitle())
	}
	return t
}

func lasting(s int) time.Duration { return time.Duration(s) * time.Second }

// cutShort leaves out what there is no time for, as it was shown.
func (d *Desk) cutShort(ctx context.Context) {
	s := d.session
	s.LeftOut = nil
	if s.Minutes == 0 {
		return
	}
	if o := d.offered(ctx); o != nil {
		s.LeftOut = slices.Clone(o.chosen.GetLeftOut())
	}
}

// endingNote is the note with which a round ends: what the driver wrote, and what there
// was no time for.
func (s *session) endingNote() string {
	if len(s.LeftOut) == 0 {
		return s.Note
	}
	note := fmt.Sprintf("Short round of %d minutes; steps left out for lack of time: %d.", s.Minutes, len(s.LeftOut))
	if s.Note != "" {
		note += " " + s.Note
	}
	if len([]rune(note)) > longestHandNote {
		return s.Note // the driver's words come first; the hand-over names what was left out
	}
	return note
}

// notAlone tells that a step cannot be done by the driver alone.
func notAlone(step *pb.CheckStep) bool {
	return step.GetState().GetAssistant() && step.GetAlonePrompt() == ""
}

// notAloneTitles are the steps that wait and that nobody can do alone; none with an assistant.
func (d *Desk) notAloneTitles() (titles []string) {
	if d.session.Assistant != "" {
		return nil
	}
	spared := d.spared()
	for _, step := range d.scene.plan.GetSteps() {
		if notAlone(step) && !slices.Contains(spared, step.GetStepId()) {
			titles = append(titles, step.GetTitle())
		}
	}
	return titles
}
