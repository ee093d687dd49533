package round

import (
	"context"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"bayround/internal/access"
	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// choose picks a vehicle and what is to be checked on it.
func (d *Desk) choose(ctx context.Context, a Act) error {
	vehicle, routine := a.Values["vehicle"], a.Values["routine"]
	if d.scene.vehicle(vehicle) == nil || d.scene.routine(routine) == nil {
		return fault.New(fault.NotFound, "CHOICE_UNKNOWN", "there is no such vehicle or check on this tablet; choose from the list")
	}
	o, err := d.twin.Outline(vehicle, routine, nil)
	if err != nil {
		return err
	}
	if len(o.Plan.GetSteps()) == 0 {
		return fault.New(fault.Precondition, "PLAN_EMPTY", "nothing of this check applies to this vehicle; choose another")
	}
	d.session.leaveRound()
	d.session.Phase, d.session.Vehicle, d.session.Routine = PhaseSignIn, vehicle, routine
	d.stale = true
	return nil
}

// resumeRound takes up a round that has not ended: one that was left, one of a
// tablet that died, one that was interrupted.
func (d *Desk) resumeRound(ctx context.Context, a Act) error {
	r := d.scene.findRound(a.Values["round"])
	if r == nil {
		return fault.New(fault.NotFound, "ROUND_UNKNOWN", "this round has ended, or is not on this tablet; begin a new one")
	}
	again, err := d.againByRecord(ctx, r)
	if err != nil {
		return err
	}
	d.session.leaveRound()
	s := d.session
	s.Again = again
	s.Phase, s.Vehicle, s.Routine, s.Round, s.Resuming = PhaseSignIn, r.GetVehicle(), r.GetRoutine(), r.GetName(), true
	s.BrokeOff = -1 // nobody here knows where it broke off; found out when the walk goes on
	d.stale = true
	return nil
}

// signIn takes a person and a PIN.
func (d *Desk) signIn(ctx context.Context, a Act) error {
	person := a.Values["person"]
	if err := d.checkPIN(ctx, person, a.Values["pin"]); err != nil {
		return err
	}
	if p := d.scene.person(person); !slices.Contains(p.GetRoles(), pb.Role_ROLE_DRIVER) {
		return fault.New(fault.Denied, "NOT_A_DRIVER", "%s is not a nominated driver; a driver signs in", p.GetTitle())
	}
	s := d.session
	if s.Driver != person {
		s.Gauges = nil
	}
	s.Driver, s.SignedIn, s.Offline, s.ByBadge = person, d.now().Round(0), !d.uplink.Link().Live, d.badgeFresh(person)
	s.Badge, s.BadgeAt, s.Roles = "", time.Time{}, rolesOf(d.scene.person(person))
	if s.Assistant == person {
		s.Assistant = ""
	}
	d.meetAnswers(ctx)
	return nil
}

// checkPIN asks the guard about somebody. A PIN of nobody is no attempt.
func (d *Desk) checkPIN(ctx context.Context, person, pin string) error {
	if person == "" {
		return fault.New(fault.Invalid, "NOBODY_NAMED", "nothing is done yet: choose a name, then give the PIN")
	}
	err := d.guard.Check(ctx, access.Attempt{Person: person, Device: d.device, PIN: pin, Hash: d.scene.hashes[person]})
	d.tellLocks(ctx)
	return err
}

// signOut ends the session; a round that is under way stays open.
func (d *Desk) signOut(context.Context, Act) error {
	d.session.signOut()
	d.leave()
	return nil
}

// assist says who assists, or that nobody does, and goes on to what must be known
// before the first step.
func (d *Desk) assist(ctx context.Context, a Act) error {
	s, person := d.session, a.Values["person"]
	switch {
	case s.Driver == "":
		return fault.New(fault.Precondition, "NOBODY_SIGNED_IN", "sign in first: person, then PIN")
	case person == s.Driver:
		return fault.New(fault.Invalid, "ASSISTANT_IS_DRIVER", "driver and assistant are two people; choose another, or alone")
	case person != "" && (d.scene.person(person) == nil || d.scene.person(person).GetErased()):
		return fault.New(fault.NotFound, "PERSON_UNKNOWN", "this person is not on the station's list")
	}
	if s.Round != "" && !s.Resuming {
		return d.tellAssistant(ctx, person)
	}
	s.Assistant = person
	if s.Phase == PhaseSignIn {
		s.Phase = PhaseBefore
		s.Engine, s.Ambient, s.Figures = engine{}, "", nil
		d.stale = true // what counts as cold may have followed from them
	}
	return nil
}

// tellAssistant says who assists from now on in a round that has begun.
func (d *Desk) tellAssistant(ctx context.Context, person string) error {
	return d.command(ctx, &pending{Kind: commandAssist}, &pb.ChangeAssistantRequest{
		RequestId: uuid.NewString(), Round: d.session.Round, Assistant: person, DeviceTime: d.deviceTime(),
	})
}

// assisted goes on with another assistant, or alone: what takes two is not done by
// the method for one any more, or is offered by it.
func (d *Desk) assisted(ctx context.Context, req *pb.ChangeAssistantRequest, _ *pb.ChangeAssistantResponse) error {
	s := d.session
	s.Assistant, s.Draft.Alone = req.GetAssistant(), false
	return d.plotHere(ctx)
}

// longestStood is the longest that an engine is said to have stood, in minutes: a year.
const longestStood = 366 * 24 * 60

// sayEngine says when the engine last ran. Within a round the station is told at once.
func (d *Desk) sayEngine(ctx context.Context, a Act) error {
	s, now := d.session, d.now().Round(0)
	e := engine{Said: saidStopped, Stopped: now, Ran: s.Engine.Ran}
	switch {
	case a.Values["running"] == "1":
		e.Said = saidRunning
	case a.Values["unknown"] == "1":
		e.Said = saidUnknown
	default:
		minutes, err := strconv.Atoi(strings.TrimSpace(a.Values["minutes"]))
		if err != nil || minutes < 0 || minutes > longestStood {
			return fault.New(fault.Invalid, "MINUTES_WRONG", "say how many minutes ago the engine stopped, as a whole number from 0")
		}
		e.Stopped = now.Add(-time.Duration(minutes) * time.Minute)
	}
	s.Engine = e
	if s.Phase == PhaseBefore {
		return nil
	}
	return d.command(ctx, &pending{Kind: commandResume}, &pb.ResumeRoundRequest{
		RequestId: uuid.NewString(), Round: s.Round, Conditions: d.engineTold(), DeviceTime: d.deviceTime(),
	})
}

// Temperatures in which vehicles stand, in degrees Celsius; the contract's.
const (
	coldestBay = -60
	hottestBay = 60
)

// sayAmbient takes the temperature where the vehicle stands; nothing says that it
// was not read.
func (d *Desk) sayAmbient(_ context.Context, a Act) error {
	text := strings.TrimSpace(a.Values["text"])
	x, whole := number(text)
	if text != "" && (!whole || x < coldestBay || x > hottestBay) {
		return fault.New(fault.Invalid, "TEMPERATURE_WRONG", "a temperature lies between %d and %d °C; leave it empty when nobody has read it", coldestBay, hottestBay)
	}
	d.session.Ambient = text
	return nil
}

// takeGauge takes a gauge in hand for what it measures.
func (d *Desk) takeGauge(_ context.Context, a Act) error {
	g := d.scene.gauge(a.Values["gauge"])
	if g == nil {
		return fault.New(fault.NotFound, "GAUGE_UNKNOWN", "this gauge is not on the register, or was taken out of use; choose another")
	}
	gauges := maps.Clone(d.session.Gauges)
	if gauges == nil {
		gauges = map[pb.Quantity]string{}
	}
	gauges[g.GetQuantity()] = g.GetName()
	d.session.Gauges = gauges
	return nil
}

// beginRound opens the round, or goes on with the one to be resumed.
func (d *Desk) beginRound(ctx context.Context, _ Act) error {
	s := d.session
	if s.Driver == "" {
		return fault.New(fault.Precondition, "NOBODY_SIGNED_IN", "sign in first: person, then PIN")
	}
	if n, _ := coldSteps(d.scene.plan.GetSteps(), s.Engine, d.now()); n > 0 && s.Engine.Said == saidNothing {
		return fault.New(fault.Precondition, "ENGINE_NOT_SAID", "say first when the engine last ran, or that nobody knows")
	}
	d.cutShort(ctx)
	if s.Resuming {
		if s.Assistant != d.scene.round.GetAssistant() {
			if err := d.tellAssistant(ctx, s.Assistant); err != nil {
				return err
			}
		}
		return d.command(ctx, d.resumption(), &pb.ResumeRoundRequest{
			RequestId: uuid.NewString(), Round: s.Round, Conditions: d.engineTold(), DeviceTime: d.deviceTime(),
		})
	}
	return d.command(ctx, &pending{Kind: commandOpen}, &pb.OpenRoundRequest{
		Round: "rounds/" + uuid.NewString(), Vehicle: s.Vehicle, Routine: s.Routine, Driver: s.Driver, Assistant: s.Assistant,
		Device: d.device, Conditions: d.engineTold(), DeviceTime: d.deviceTime(), WithItems: d.scene.with,
	})
}

// opened goes to the first step.
func (d *Desk) opened(ctx context.Context, req *pb.OpenRoundRequest, _ *pb.OpenRoundResponse) error {
	d.session.Round, d.session.BrokeOff = req.GetRound(), 0
	return d.goOn(ctx, "", undisturbed)
}

// resumption works out what a walk goes on with, from the round as it was
// interrupted: once it is resumed nobody can tell any more.
func (d *Desk) resumption() *pending {
	s := d.session
	w := d.scene.walk(s, d.now())
	w.steps = d.scene.plan.GetSteps() // halts are those of the plan, whatever the way
	p := &pending{Kind: commandResume, Again: s.Again, BrokeOff: s.BrokeOff}
	if p.BrokeOff < 0 {
		p.BrokeOff = brokeOffAt(w.marks())
	}
	if d.scene.round.GetState() == pb.RoundState_ROUND_STATE_PAUSED && s.hasRun(d.scene.round) {
		p.Again, p.Ran = slices.Sorted(maps.Keys(againAfter(w, p.BrokeOff))), true
	}
	return p
}

// resumed goes on with the walk; in a walk that was going on already it was only
// told when the engine ran.
func (d *Desk) resumed(ctx context.Context, _ *pb.ResumeRoundRequest, _ *pb.ResumeRoundResponse) error {
	s := d.session
	if !s.Resuming {
		return d.plotHere(ctx)
	}
	s.Again, s.BrokeOff, s.Told = s.Pending.Again, s.Pending.BrokeOff, nil // control is told anew
	s.Resuming, s.Turnout = false, nil
	if s.Pending.Ran {
		s.At, s.Passed = "", nil // the driver comes from the cab, and what stood in the way may be gone
		return d.goOn(ctx, "", whyRun)
	}
	return d.takeUp(ctx)
}

// hasRun tells that the vehicle may have been out since a round was interrupted:
// by what was said of its engine, or where it has none by that it left.
func (s *session) hasRun(r *pb.Round) bool {
	since := r.GetLastActivity().AsTime()
	if s.Turnout != nil {
		since = s.Turnout.Paused
		if s.Engine.Said == saidNothing {
			return !s.Turnout.Away.IsZero()
		}
	}
	return s.Engine.Said != saidStopped || s.Engine.Stopped.After(since)
}

// brokeOffAt is the halt at which a walk broke off, as far as its marks tell: that
// of the last step that was answered.
func brokeOffAt(marks []Mark) int {
	for _, m := range slices.Backward(marks) {
		if m.Answer != "" {
			return m.Stop
		}
	}
	return 0
}
