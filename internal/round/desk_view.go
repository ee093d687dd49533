package round

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"bayround/internal/signature"
	pb "bayround/proto/bayround/v1"
)

// newView makes the view from the session, the scene and the link, and works out
// when it next changes by itself.
func (d *Desk) newView(ctx context.Context) (*View, error) {
	s, sc, now := d.session, d.scene, d.now()
	d.wakeAt = time.Time{}
	v := &View{
		Version: 1, Phase: s.Phase, Now: now, Lag: d.lag(), TimeZone: d.zone(), Station: d.stationTitle(), Link: d.link(),
		People: sc.people, Gauges: sc.gauges, Notice: s.Notice, Session: d.sessionView(),
	}
	v.Stock, v.StockTold = d.stockView()
	v.NearsideRight = d.stationOf().GetTrafficKeepsRight()
	if err := d.vehiclesInto(ctx, v); err != nil {
		return nil, err
	}
	var w walk
	if sc.plan != nil {
		w = sc.walk(s, now)
	}
	marks := w.marks()
	v.Answers, v.Release = d.answersView(), d.releaseView(v.Vehicles)
	switch s.Phase {
	case PhaseVehicles:
		v.Stocked = len(d.materials()) > 0
		var err error
		if v.Awaiting, err = d.awaiting(ctx); err != nil {
			return nil, err
		}
	case PhaseSignIn:
		v.Locked = d.lockedOut()
		v.TakesBadges = d.badges != nil && len(sc.badges) > 0
		if d.badgeFresh(s.Badge) {
			v.Badge = sc.person(s.Badge)
			d.wake(s.BadgeAt.Add(idleFor))
		}
	case PhaseBefore:
		v.Before = d.beforeView(ctx, now)
	case PhaseStep:
		v.Step = d.stepView(ctx, marks)
	case PhaseOverview, PhaseSign, PhaseHandover, PhaseSecond:
		var err error
		if v.Closing, err = d.closingView(ctx, v.Link, marks); err != nil {
			return nil, err
		}
	case PhaseTurnout:
		v.Turnout = d.turnoutView()
	case PhaseTell:
		var err error
		if v.Telling, err = d.tellView(ctx); err != nil {
			return nil, err
		}
	}
	if sc.round != nil && s.Phase >= PhaseStep && s.Phase != PhaseTell {
		v.Round = d.roundView(w.steps, marks)
	}
	v.Given = d.givenView()
	d.wakeWhenCold(marks, now)
	return v, nil
}

// wake notes that the view changes by itself at an instant.
func (d *Desk) wake(at time.Time) {
	if at.After(d.now()) && (d.wakeAt.IsZero() || at.Before(d.wakeAt)) {
		d.wakeAt = at
	}
}

// wakeWhenCold notes when the next step becomes cold.
func (d *Desk) wakeWhenCold(marks []Mark, now time.Time) {
	for _, m := range marks {
		if m.State == MarkCold && d.session.Engine.Said != saidRunning {
			d.wake(d.session.Engine.coldAt(d.scene.stepOf(m.StepID), now))
		}
	}
}

// link is how the tablet stands, and whether anything can be recorded here.
func (d *Desk) link() Link {
	l := d.uplink.Link()
	select {
	case <-d.twin.Failed():
		l.Recovery = cmp.Or(l.Recovery, "the tablet could not write to its disk and takes nothing more; start it again")
	default:
	}
	return l
}

// stationOf is the station that the tablet stands in: the one it was told, that of the
// vehicle in hand, or the first.
func (d *Desk) stationOf() *pb.Station {
	name := cmp.Or(d.station, d.scene.vehicle(d.session.Vehicle).GetStation())
	if name == "" && len(d.scene.vehicles) > 0 {
		name = d.scene.vehicles[0].GetStation()
	}
	return d.scene.stations[name]
}

// stationTitle names the station; empty where there are several and none was told.
func (d *Desk) stationTitle() string {
	if d.station == "" && d.session.Vehicle == "" && len(d.scene.stations) > 1 {
		return ""
	}
	return d.stationOf().GetTitle()
}

// zone is the station's time zone; UTC where it cannot be loaded.
func (d *Desk) zone() *time.Location {
	zone, err := time.LoadLocation(d.stationOf().GetTimeZone())
	if err != nil {
		return time.UTC
	}
	return zone
}

func (d *Desk) sessionView() *Session {
	s := d.session
	if s.Driver == "" {
		return nil
	}
	return &Session{
		Driver: d.scene.person(s.Driver), Assistant: d.scene.person(s.Assistant), Since: s.SignedIn, Offline: s.Offline,
	}
}

func (d *Desk) beforeView(ctx context.Context, now time.Time) *Before {
	s := d.session
	steps := d.scene.plan.GetSteps()
	n, last := coldSteps(steps, s.Engine, now)
	b := &Before{
		Unknown: s.Engine.Said == saidUnknown, Running: s.Engine.Said == saidRunning, AmbientText: s.Ambient, Figures: figureViews(s.Figures),
		ColdSteps: n, Gauges: s.Gauges, Quantities: gaugedQuantities(steps, d.scene.gauges), Resuming: s.Resuming, AskRun: d.asksRun(),
		Time: d.timeView(ctx), NotAlone: d.notAloneTitles(),
	}
	if s.Engine.Said == saidStopped {
		stopped := s.Engine.Stopped
		b.EngineStopped = &stopped
	}
	if !last.IsZero() && s.Engine.Said != saidRunning {
		b.ColdAt = &last
		d.wake(last)
	}
	return b
}

func (d *Desk) roundView(steps []*pb.CheckStep, marks []Mark) *Round {
	s, r := d.session, d.scene.round
	view := &Round{
		Name: r.GetName(), Routine: d.scene.routine(r.GetRoutine()), Marks: marks, Stops: stops(steps, marks),
		Current: placeOf(marks, s.Step), Opened: r.GetOpened().AsTime(), DebtS: d.scene.readiness[s.Vehicle].GetReadinessDebtS(), Walk: d.scene.way,
	}
	for _, m := range marks {
		switch m.State {
		case MarkAnswered, MarkFault:
			view.Answered++
		case MarkNotChecked:
			view.Answered++
			view.NotChecked++
		}
	}
	return view
}

// givenView is the answer given last: a sound one while it can be taken back, one
// that found something until the next.
func (d *Desk) givenView() *Given {
	g := d.session.Given
	if g == nil || d.session.Phase != PhaseStep && d.session.Phase != PhaseOverview {
		return nil
	}
	view, err := d.given(g)
	if err != nil {
		d.log.Error("what the last answer meant cannot be shown", "cause", err)
		return nil
	}
	if view.Undo {
		d.wake(g.At.Add(undoFor))
	} else if len(view.Findings) == 0 && !view.CanCure && len(view.Closed) == 0 {
		return nil
	}
	return view
}

func (d *Desk) given(g *given) (*Given, error) {
	response, err := g.response()
	if err != nil {
		return nil, err
	}
	view := &Given{
		StepID: g.StepID, Title: g.Title, Answer: g.Answer, Findings: response.GetFindings(), Verdict: response.GetVerdict(),
		Closed: g.Closed, CanCure: g.CanCure, ResultID: response.GetResultId(), At: g.At, Undo: d.now().Sub(g.At) < undoFor,
	}
	former, err := g.former()
	if err != nil || former == nil {
		return view, err
	}
	step := d.scene.stepOf(g.StepID)
	if step == nil {
		step = &pb.CheckStep{}
	}
	view.Former = answerWords(step, former)
	view.FormerAt = former.GetStationTime().AsTime()
	if at := former.GetLookedAt(); at != nil {
		view.FormerAt = at.AsTime()
	}
	return view, nil
}

func (d *Desk) turnoutView() *Turnout {
	t := d.session.Turnout
	if t == nil {
		return nil
	}
	ready, _ := d.readinessOf(d.session.Vehicle, d.link())
	view := &Turnout{DebtS: d.scene.readiness[d.session.Vehicle].GetReadinessDebtS(), Paused: t.Paused, Away: t.Away, Verdict: ready.GetVerdict()}
	undone := d.undoneNow()
	for _, it := range t.Items {
		still := slices.ContainsFunc(undone, func(u safeItem) bool { return u.StepID == it.StepID })
		view.Items = append(view.Items, SafeItem{StepID: it.StepID, Title: it.Title, Place: it.Place, UndoS: it.UndoS, Done: !still})
	}
	return view
}

func (d *Desk) closingView(ctx context.Context, l Link, marks []Mark) (*Closing, error) {
	s, sc := d.session, d.scene
	ready, _ := d.readinessOf(s.Vehicle, l)
	c := &Closing{Readiness: ready, Note: s.Note, ProvisionalWhy: waitWords(l, d.now(), d.zone())}
	for _, m := range marks {
		if m.State.toDo() || m.State == MarkCold {
			c.Left = append(c.Left, m)
			if s.Assistant == "" && notAlone(sc.stepOf(m.StepID)) {
				c.NotAlone = append(c.NotAlone, m)
			}
		}
	}
	if len(s.LeftOut) > 0 {
		c.Minutes = s.Minutes
	}
	required, err := d.requiredSteps(ctx, sc.vehicle(s.Vehicle))
	if err != nil {
		return nil, err
	}
	for _, m := range marks {
		step := sc.stepOf(m.StepID)
		if m.State != MarkNotChecked || s.Phase == PhaseSecond && step.GetLast().GetRound() != s.Round {
			continue // or it was looked at again since
		}
		c.NotChecked = append(c.NotChecked, NotCheckedLine{
			StepID: step.GetStepId(), Title: step.GetTitle(), Reason: step.GetLast().GetNotChecked().GetReason(),
			Note: step.GetLast().GetNote(), Meaning: notCheckedMeaning(ready, required[step.GetStepId()], step.GetStepId()),
		})
	}
	for _, defect := range ready.GetOpenDefects() {
		if s.Round != "" && defect.GetRound() == s.Round {
			c.Found = append(c.Found, defect)
		}
	}
	c.Known = d.known(d.knownBefore(ready), marks)
	for _, it := range d.undoneHere() {
		c.Undone = append(c.Undone, SafeItem{StepID: it.StepID, Title: it.Title, Place: it.Place, UndoS: it.UndoS})
	}
	if s.Closed != nil {
		c.Handover, c.GivenBy, c.TakenBy = s.Closed.Handover, sc.person(s.Closed.Driver), sc.person(s.Closed.TakenBy)
		c.Since = s.Closed.since(sc.readiness[s.Vehicle], sc.plan.GetSteps())
		c.GivenAt, _ = time.Parse(time.RFC3339Nano, s.Closed.GivenAt) // zero while not confirmed
	}
	if sc.round != nil && !live(sc.round) {
		c.Ended, c.WantsOfficer = sc.round, signature.OfficerMissing(sc.round)
	}
	if s.Phase == PhaseSign || s.Phase == PhaseSecond {
		paper, err := d.paper(ctx, ready)
		if err != nil {
			return nil, err
		}
		c.Seen = paper.seen()
	}
	return c, nil
}

// handoverOf gathers what the next watch is told.
func (d *Desk) handoverOf(ctx context.Context, r *pb.Round, left *pb.Readiness) (handover, error) {
	s := d.session
	stock, _ := d.stockView()
	elsewhere, err := d.titlesElsewhere(ctx, left.GetOpenDefects())
	return handover{
		elsewhere: elsewhere,
		stock:     stock, vehicle: d.scene.vehicle(s.Vehicle), routine: d.scene.routine(s.Routine), driver: d.scene.person(s.Driver).GetTitle(),
		assistant: d.scene.person(s.Assistant).GetTitle(), round: r, readiness: left, steps: d.scene.plan.GetSteps(),
		note: s.Note, noTime: s.LeftOut, at: d.now(), zone: d.zone(), until: comingWatchEnds(d.scene.stations[d.scene.vehicle(s.Vehicle).GetStation()], d.now()), waits: waitWords(d.link(), d.now(), d.zone()),
	}, err
}

// titlesElsewhere are what steps with defects are called that are not of the plan in hand: as
// another routine of the vehicle has them, or, where none does any more, by the catalogue.
func (d *Desk) titlesElsewhere(ctx context.Context, defects []*pb.Defect) (map[string]string, error) {
	titles := map[string]string{}
	for _, one := range defects {
		id := one.GetStepId()
		item, place, _ := strings.Cut(id, "/")
		if title := d.scene.items[item]; title != "" && d.scene.stepOf(id) == nil {
			titles[id] = title + ", " + strings.ReplaceAll(place, "-", " ")
		}
	}
	if len(titles) == 0 {
		return nil, nil
	}
	for _, routine := range d.scene.routines {
		plan, err := d.outline(d.session.Vehicle, routine.GetName(), nil)
		if err != nil {
			return nil, err
		}
		for _, step := range plan.Plan.GetSteps() {
			if titles[step.GetStepId()] != "" {
				titles[step.GetStepId()] = step.GetTitle()
			}
		}
	}
	return titles, nil
}
