package round

import (
	"context"
	"strings"

	"github.com/google/uuid"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// longestHandNote is how much the next watch can be told, in characters.
const longestHandNote = 2000

func (d *Desk) toOverview(context.Context, Act) error {
	s := d.session
	s.Phase = PhaseOverview
	s.turnAway()
	return nil
}

// toWalk returns to the steps: to the one that was lit, or the first that waits.
func (d *Desk) toWalk(ctx context.Context, _ Act) error {
	if step := d.scene.stepOf(d.session.Step); step != nil {
		d.session.light(step.GetStepId(), d.wall())
		return nil
	}
	if err := d.goOn(ctx, "", undisturbed); err != nil {
		return err
	}
	if d.session.Phase != PhaseStep && len(d.session.LeftOut) > 0 { // there is more time after all
		d.session.LeftOut, d.session.Minutes = nil, 0
		if err := d.goOn(ctx, "", undisturbed); err != nil {
			return err
		}
	}
	if d.session.Phase != PhaseStep {
		return fault.New(fault.Precondition, "NOTHING_LEFT", "nothing can be done now; touch a step to look at it again")
	}
	return nil
}

func (d *Desk) toSign(context.Context, Act) error {
	d.session.Phase = PhaseSign
	return nil
}

// handNote takes the words for the next watch.
func (d *Desk) handNote(_ context.Context, a Act) error {
	text := a.Values["text"]
	if len([]rune(text)) > longestHandNote {
		return fault.New(fault.Invalid, "NOTE_TOO_LONG", "the next watch can be told %d characters; make it shorter", longestHandNote)
	}
	d.session.Note = text
	return nil
}

func (d *Desk) finished(ctx context.Context, _ *pb.FinishRoundRequest, resp *pb.FinishRoundResponse) error {
	return d.handOver(ctx, resp.GetRound(), resp.GetReadiness())
}

// giveUp ends the round early.
func (d *Desk) giveUp(ctx context.Context, a Act) error {
	s, note := d.session, strings.TrimSpace(a.Values["note"])
	switch {
	case s.Round == "":
		d.leave()
		return nil
	case note == "" || len([]rune(note)) > 200:
		return fault.New(fault.Invalid, "NOTE_MISSING", "say in a few words why the round is given up")
	}
	return d.command(ctx, &pending{Kind: commandGiveUp}, &pb.GiveUpRoundRequest{
		RequestId: uuid.NewString(), Round: s.Round, Note: note, DeviceTime: d.deviceTime(),
	})
}

func (d *Desk) gaveUp(ctx context.Context, req *pb.GiveUpRoundRequest, resp *pb.GiveUpRoundResponse) error {
	if d.session.Note == "" {
		d.session.Note = "Given up: " + req.GetNote()
	}
	return d.handOver(ctx, resp.GetRound(), resp.GetReadiness())
}

// handOver shows the words for the next watch; they are made once.
func (d *Desk) handOver(ctx context.Context, r *pb.Round, left *pb.Readiness) error {
	if err := d.look(ctx); err != nil {
		return err
	}
	s := d.session
	s.Phase, s.Step, s.Given, s.Cure, s.Turnout, s.Resuming = PhaseHandover, "", nil, nil, nil, false
	s.turnAway()
	words, err := d.handoverOf(ctx, r, left)
	if err != nil {
		return err
	}
	s.Closed = &closed{
		Vehicle: s.Vehicle, Routine: s.Routine, Round: s.Round, Driver: s.Driver,
		At: words.at.Round(0), Handover: words.text(), Open: words.open(),
	}
	return nil
}

// endedElsewhere leaves a round that somebody else has ended.
func (d *Desk) endedElsewhere() {
	s := d.session
	if s.Round == "" || s.Phase == PhaseHandover || s.Phase == PhaseSecond || s.Pending != nil || d.scene.round == nil || live(d.scene.round) {
		return
	}
	s.leaveRound()
	s.Notice = &Notice{
		Reason: "ROUND_ENDED", Message: "this round was ended on another tablet or at the station; what was recorded counts", At: d.now().Round(0),
	}
	d.scene.plan, d.scene.round = nil, nil
}

// changedMeanwhile says, once, that something else was put in force in the middle of
// a round. Nothing of the round is lost: it goes on as it was begun; where this tablet
// does not know any more how that was, the steps are those of today.
func (d *Desk) changedMeanwhile(before *scene) {
	s, sc := d.session, d.scene
	if s.Round == "" || sc.round == nil || !live(sc.round) {
		return
	}
	if step := sc.stepOf(s.Step); s.Step != "" && step == nil {
		s.Phase, s.Step, s.Draft, s.Cure, s.Confirm, s.AskLeft = PhaseOverview, "", draft{}, nil, "", false
		s.turnAway()
		s.Notice = &Notice{
			Reason: "STEP_GONE", Message: "what is checked was changed at the station and this step is not part of it any more; what was recorded counts, go on with another",
			At: d.now().Round(0),
		}
		return
	}
	if before != nil && before.digest != sc.digest && d.planToday(sc.round) != sc.round.GetPlanDigest() {
		s.Notice = &Notice{
			Reason: "PLAN_CHANGED", Message: "what is checked was changed at the station; this round goes on as it was begun, the next one has the change",
			At: d.now().Round(0),
		}
	}
}

// planToday is the digest of the plan that a round would have if it were begun now.
func (d *Desk) planToday(r *pb.Round) string {
	today, err := d.twin.Outline(r.GetVehicle(), r.GetRoutine(), r.GetWithItems())
	if err != nil {
		return r.GetPlanDigest() // the next look says so
	}
	return today.Plan.GetDigest()
}
