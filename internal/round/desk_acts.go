package round

import (
	"cmp"
	"context"
	"slices"
	"strconv"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// deed carries out one act. It looks first and changes the session after, so that
// a refusal changes nothing.
type deed struct {
	do     func(*Desk, context.Context, Act) error
	phases []Phase // in which it can be done; none = in all
}

// deedOf is what an act's name means; the templates send these and no others.
func deedOf(name string) (deed, bool) {
	for _, table := range []func(string) deed{startDeed, stepDeed, closingDeed, tellDeed} {
		if d := table(name); d.do != nil {
			return d, true
		}
	}
	return deed{}, false
}

func startDeed(name string) deed {
	choosing := []Phase{PhaseVehicles, PhaseSignIn, PhaseBefore, PhaseTell}
	switch name {
	case "choose":
		return deed{(*Desk).choose, choosing}
	case "resume-round":
		return deed{(*Desk).resumeRound, choosing}
	case "sign-in":
		return deed{(*Desk).signIn, []Phase{PhaseVehicles, PhaseSignIn}}
	case "badge":
		return deed{(*Desk).readBadge, []Phase{PhaseSignIn}}
	case "unlock":
		return deed{(*Desk).unlock, []Phase{PhaseSignIn}}
	case "wake":
		return deed{(*Desk).wakeUp, []Phase{PhaseAsleep}}
	case "sign-out":
		return deed{(*Desk).signOut, nil}
	case "assistant":
		return deed{(*Desk).assist, []Phase{PhaseSignIn, PhaseBefore, PhaseStep, PhaseOverview}}
	case "engine":
		return deed{(*Desk).sayEngine, []Phase{PhaseBefore, PhaseStep, PhaseOverview}}
	case "ambient":
		return deed{(*Desk).sayAmbient, []Phase{PhaseBefore}}
	case "minutes":
		return deed{(*Desk).sayMinutes, []Phase{PhaseBefore}}
	case "figure":
		return deed{(*Desk).sayFigure, []Phase{PhaseBefore}}
	case "gauge":
		return deed{(*Desk).takeGauge, []Phase{PhaseBefore, PhaseStep}}
	case "begin":
		return deed{(*Desk).beginRound, []Phase{PhaseBefore}}
	case "answers":
		return deed{(*Desk).showAnswers, choosing}
	case "answers-read":
		return deed{(*Desk).readAnswers, choosing}
	case "answers-later":
		return deed{(*Desk).leaveAnswers, choosing}
	case "stop":
		return deed{(*Desk).stop, nil}
	case "release-page":
		return deed{(*Desk).releasePage, choosing}
	case "release-later":
		return deed{(*Desk).leaveRelease, choosing}
	case "release":
		return deed{(*Desk).release, nil}
	case "home", "done":
		return deed{(*Desk).home, nil}
	case "dismiss":
		return deed{(*Desk).dismiss, nil}
	case "dismiss-notice":
		return deed{(*Desk).nothing, nil}
	}
	return deed{}
}

func stepDeed(name string) deed {
	step := []Phase{PhaseStep}
	switch name {
	case "go", "correct":
		return deed{(*Desk).goTo, []Phase{PhaseStep, PhaseOverview, PhaseSign}}
	case "next":
		return deed{(*Desk).goNext, step}
	case "previous":
		return deed{(*Desk).goBack, step}
	case "field", "key", "section", "grooves", "level", "see", "count", "note", "proof", "drop-photo", "alone", "take-again", "by-hand", "read-again":
		return deed{(*Desk).edit, step}
	case "compare":
		return deed{(*Desk).compare, step}
	case "take":
		return deed{(*Desk).take, step}
	case "photo":
		return deed{(*Desk).takePhoto, step}
	case "control":
		return deed{(*Desk).tellControl, step}
	case "enter":
		return deed{(*Desk).enter, step}
	case "record":
		return deed{(*Desk).record, step}
	case "confirm":
		return deed{(*Desk).confirm, step}
	case "skip":
		return deed{(*Desk).skip, step}
	case "undo":
		return deed{(*Desk).undo, []Phase{PhaseStep, PhaseOverview}}
	case "cure":
		return deed{(*Desk).beginCure, []Phase{PhaseStep, PhaseOverview}}
	case "cure-cancel":
		return deed{(*Desk).endCure, step}
	}
	return deed{}
}

func closingDeed(name string) deed {
	closing := []Phase{PhaseOverview, PhaseSign}
	switch name {
	case "turnout":
		return deed{(*Desk).turnOut, nil}
	case "safe":
		return deed{(*Desk).makeSafe, []Phase{PhaseTurnout, PhaseOverview, PhaseSign}}
	case "away":
		return deed{(*Desk).goAway, []Phase{PhaseTurnout}}
	case "back":
		return deed{(*Desk).comeBack, []Phase{PhaseTurnout}}
	case "overview":
		return deed{(*Desk).toOverview, []Phase{PhaseStep, PhaseOverview, PhaseSign}}
	case "walk":
		return deed{(*Desk).toWalk, []Phase{PhaseStep, PhaseOverview, PhaseSign}}
	case "sign-page":
		return deed{(*Desk).toSign, closing}
	case "hand-note":
		return deed{(*Desk).handNote, closing}
	case "sign":
		return deed{(*Desk).sign, []Phase{PhaseSign}}
	case "hand-over":
		return deed{(*Desk).confirmHandOver, []Phase{PhaseHandover}}
	case "take-over":
		return deed{(*Desk).takeOver, []Phase{PhaseHandover}}
	case "open-hand-over":
		return deed{(*Desk).openHandOver, []Phase{PhaseVehicles}}
	case "second":
		return deed{(*Desk).toSecond, []Phase{PhaseVehicles, PhaseHandover}}
	case "sign-second":
		return deed{(*Desk).signSecond, []Phase{PhaseSecond}}
	case "later":
		return deed{(*Desk).leaveSecond, []Phase{PhaseSecond}}
	case "give-up":
		return deed{(*Desk).giveUp, []Phase{PhaseBefore, PhaseStep, PhaseOverview, PhaseSign, PhaseTurnout}}
	}
	return deed{}
}

// act carries out an act. A command that still waits for its answer comes first;
// when the act would only give the same command again, that was all.
func (d *Desk) act(ctx context.Context, a Act) error {
	do, known := deedOf(a.Name)
	if !known {
		return fault.New(fault.Invalid, "ACT_UNKNOWN", "the tablet does not know what %q means", a.Name)
	}
	if p := d.session.Pending; p != nil {
		if err := d.finish(ctx); err != nil || p.givenBy(a.Name) {
			return err
		}
		if err := d.look(ctx); err != nil {
			return err
		}
	}
	if len(do.phases) > 0 && !slices.Contains(do.phases, d.session.Phase) || d.session.Phase == PhaseAsleep && !slices.Contains(asleepDeeds, a.Name) {
		return fault.New(fault.Precondition, "ACT_OUT_OF_PLACE", "this cannot be done here; the screen has moved on")
	}
	if d.meantForAnother(a) {
		return fault.New(fault.Precondition, "STEP_HAS_CHANGED", "that touch was meant for what stood here before; look, and touch again")
	}
	return do.do(d, ctx, a)
}

// meantForAnother tells that an act says what the screen showed when it was done
// ("at": the step), and that it is something else now. A
// late touch must never become an answer to the next step.
func (d *Desk) meantForAnother(a Act) bool {
	at := a.Values["at"]
	if at == "" {
		return false
	}
	switch a.Name {
	case "field", "key", "section", "grooves", "level", "see", "count", "note", "proof", "drop-photo", "alone", "photo",
		"take", "take-again", "by-hand", "read-again", "enter", "record", "confirm", "skip", "cure-cancel", "control", "compare":
		return at != d.session.Step
	case "cure": // of the step in the light, or of what was found last
		return a.Values["step"] != "" && at != d.session.Step
	}
	return false
}

// givenBy tells that an act would give a waiting command again. A stop is given
// beside whatever else waits.
func (p *pending) givenBy(act string) bool {
	switch act {
	case "begin", "enter", "record", "confirm", "skip", "sign", "take-over", "sign-second", "give-up", "unlock":
		return true
	case "tell":
		return commandIncident <= p.Kind && p.Kind <= commandCount
	case "stop":
		return p.Kind == commandStop
	case "release":
		return p.Kind == commandRelease
	}
	return false
}

// nothing is an act that only takes the notice away.
func (d *Desk) nothing(context.Context, Act) error { return nil }

func (d *Desk) dismiss(_ context.Context, a Act) error {
	d.uplink.Dismiss(a.Values["id"])
	return nil
}

// home goes to the list of vehicles; the round stays as it is, and whoever is
// signed in stays so.
func (d *Desk) home(context.Context, Act) error {
	d.leave()
	return nil
}

// edit changes the answer being made.
func (d *Desk) edit(ctx context.Context, a Act) error {
	step, err := d.lit()
	if err != nil {
		return err
	}
	if a.Name == "alone" && step.GetAlonePrompt() == "" {
		return fault.New(fault.Invalid, "NO_ALONE_METHOD", "there is no accepted method for one alone; get somebody, or leave it not checked")
	}
	if d.mustTellControl(step) && !slices.Contains([]string{"note", "drop-photo", "alone"}, a.Name) {
		return controlNotTold()
	}
	next, err := edited(d.session.Draft, step, a)
	if err != nil {
		return err
	}
	if slices.Contains([]string{"key", "level", "see"}, a.Name) {
		if err := d.enterInto(ctx, step); err != nil {
			return err
		}
	}
	d.amend(next.noted(step, d.wall()))
	return nil
}

// amend goes on with another answer: what was asked of the one before is over.
func (d *Desk) amend(next draft) {
	next.Left = leftUnsaid
	d.session.Draft, d.session.Confirm, d.session.AskLeft = next, "", false
}

// edited is a draft after an act.
func edited(d draft, step *pb.CheckStep, a Act) (draft, error) {
	v := a.Values
	switch a.Name {
	case "field":
		return d.withField(step, v["id"])
	case "key":
		return d.withKey(step, v["key"])
	case "section":
		n, _ := strconv.Atoi(v["n"]) // what is no number is no place
		return d.withSection(step, n)
	case "grooves":
		n, _ := strconv.Atoi(v["n"])
		return d.withGrooves(step, n)
	case "level":
		fraction, err := strconv.ParseFloat(cmp.Or(v["fraction"], "0"), 64)
		if err != nil {
			fraction = -1
		}
		return d.withLevel(step, markOf(v["mark"]), fraction)
	case "see":
		return d.withSeen(step, v["condition"])
	case "count":
		n, _ := strconv.Atoi(v["affected"])
		return d.withCount(step, v["condition"], int32(min(max(n, 0), 1<<20)))
	case "take-again":
		return d.withoutTaken(step, false)
	case "read-again":
		return d.withAgain(step)
	case "by-hand":
		return d.withoutTaken(step, v["on"] == "1")
	}
	return d.withWords(a)
}

// withWords takes what is typed beside the answer.
func (d draft) withWords(a Act) (draft, error) {
	d = d.clone()
	text := a.Values["text"]
	switch a.Name {
	case "note":
		if len([]rune(text)) > longestNote {
			return d, fault.New(fault.Invalid, "NOTE_TOO_LONG", "a note holds %d characters; make it shorter", longestNote)
		}
		d.Note = text
	case "proof":
		if len([]rune(text)) > longestProof {
			return d, fault.New(fault.Invalid, "PROOF_TOO_LONG", "this holds %d characters; make it shorter", longestProof)
		}
		d.Proof = text
	case "drop-photo":
		d.Photos = slices.DeleteFunc(d.Photos, func(sum string) bool { return sum == a.Values["sha256"] })
	case "alone":
		d.Alone = a.Values["on"] != "" && a.Values["on"] != "0"
	}
	return d, nil
}

func markOf(name string) pb.LevelMark {
	switch name {
	case "below":
		return pb.LevelMark_LEVEL_MARK_BELOW
	case "between":
		return pb.LevelMark_LEVEL_MARK_BETWEEN
	case "above":
		return pb.LevelMark_LEVEL_MARK_ABOVE
	}
	return pb.LevelMark_LEVEL_MARK_UNSPECIFIED
}
