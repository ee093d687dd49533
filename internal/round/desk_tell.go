package round

import (
	"cmp"
	"context"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	"bayround/internal/admit"
	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// What happened beside a round is told of here: that a vehicle came back from a run, that
// its wheels were off and fitted again, that some of a material came, or was counted. When,
// what, and by whom; nothing is said beforehand. What is checked after a run or at a wheel
// is due from then. Who was in the middle of a round is asked about the run, and may pass
// the question by.

// Tale is of what is told. Written out: the session file keeps it.
type Tale int

// The tales.
const (
	TaleRun      Tale = 0 // a vehicle came back from a run
	TaleWheels   Tale = 1 // wheels of it were off and fitted again
	TaleDelivery Tale = 2 // some of a material came
	TaleCount    Tale = 3 // somebody counted what there is of one
)

// ofVehicle tells that a tale is about a vehicle, not about a station's stock.
func (t Tale) ofVehicle() bool { return t == TaleRun || t == TaleWheels }

// deed is what the person does who tells of it.
func (t Tale) deed() admit.Deed {
	return map[Tale]admit.Deed{TaleRun: admit.Incident, TaleWheels: admit.FitWheels, TaleDelivery: admit.Deliver, TaleCount: admit.Count}[t]
}

// tellDeed are the acts by which something is told.
func tellDeed(name string) deed {
	telling := []Phase{PhaseTell}
	switch name {
	case "run":
		return deed{(*Desk).toRun, []Phase{PhaseVehicles, PhaseSignIn, PhaseBefore}}
	case "wheels":
		return deed{(*Desk).toWheels, []Phase{PhaseVehicles}}
	case "stock-came":
		return deed{(*Desk).toDelivery, []Phase{PhaseVehicles}}
	case "stock-counted":
		return deed{(*Desk).toCount, []Phase{PhaseVehicles}}
	case "tell-when":
		return deed{(*Desk).sayWhen, telling}
	case "tell-what":
		return deed{(*Desk).sayWhat, telling}
	case "tell":
		return deed{(*Desk).tell, telling}
	case "tell-done":
		return deed{(*Desk).leaveTale, telling}
	}
	return deed{}
}

// toRun opens the page of a run: of the vehicle that is named, or of the round that a
// turnout broke into.
func (d *Desk) toRun(_ context.Context, a Act) error {
	s, vehicle := d.session, a.Values["vehicle"]
	if s.Phase == PhaseBefore && s.Resuming && (vehicle == "" || vehicle == s.Vehicle) {
		s.Phase, s.Telling = PhaseTell, &telling{Broken: true}
		return nil
	}
	return d.toTale(TaleRun, vehicle)
}

// toWheels opens the page of wheels that were fitted.
func (d *Desk) toWheels(_ context.Context, a Act) error {
	return d.toTale(TaleWheels, a.Values["vehicle"])
}

// toTale opens the page of what is to be told of a vehicle.
func (d *Desk) toTale(of Tale, vehicle string) error {
	if d.scene.vehicle(vehicle) == nil {
		return fault.New(fault.NotFound, "CHOICE_UNKNOWN", "there is no such vehicle on this tablet; choose from the list")
	}
	s := d.session
	s.leaveRound()
	s.Phase, s.Vehicle, s.Telling, d.stale = PhaseTell, vehicle, &telling{Of: of}, true
	return nil
}

// asksRun tells that a turnout broke into the round to be gone on with, that the vehicle
// may have left, and that nobody has told of the run.
func (d *Desk) asksRun() bool {
	s, runs := d.session, d.scene.round.GetTurnouts()
	if !s.Resuming || s.RunTold || len(runs) == 0 || runs[len(runs)-1].GetResumed() != nil {
		return false
	}
	return s.Turnout == nil || !s.Turnout.Away.IsZero()
}

// longestAgo is how long ago what is told may have happened, in minutes: a week.
const longestAgo = 7 * 24 * 60

// sayWhen says when it happened.
func (d *Desk) sayWhen(_ context.Context, a Act) error {
	if d.session.Telling.Recorded {
		return toldAlready()
	}
	minutes, err := strconv.Atoi(strings.TrimSpace(a.Values["minutes"]))
	if err != nil || minutes < 0 || minutes > longestAgo {
		return fault.New(fault.Invalid, "MINUTES_WRONG", "say how many minutes ago that was, as a whole number from 0 to %d", longestAgo)
	}
	d.session.Telling.Said, d.session.Telling.When = true, d.now().Round(0).Add(-time.Duration(minutes)*time.Minute)
	return nil
}

// sayWhat says of what it is, or takes that back. Of stock it is one material at a time.
func (d *Desk) sayWhat(ctx context.Context, a Act) error {
	t, id := d.session.Telling, a.Values["what"]
	choices, err := d.tellChoices(ctx)
	switch {
	case err != nil:
		return err
	case t.Recorded:
		return toldAlready()
	case !slices.ContainsFunc(choices, func(c TellChoice) bool { return c.ID == id }):
		return fault.New(fault.NotFound, "CHOICE_UNKNOWN", "there is nothing of that kind here; choose from the list")
	case slices.Contains(t.What, id):
		t.What = without(t.What, id)
	case t.Of.ofVehicle():
		t.What = append(t.What, id)
	default:
		t.What = []string{id}
	}
	return nil
}

// tellChoices are what can be said with a touch.
func (d *Desk) tellChoices(ctx context.Context) ([]TellChoice, error) {
	switch t := d.session.Telling; {
	case t.Of == TaleRun:
		return UsesOf(d.scene.vehicle(d.session.Vehicle)), nil
	case t.Of == TaleWheels:
		return d.wheels(ctx)
	default:
		return d.materials(), nil
	}
}

// tell records it. By name and without a PIN: who may, may say so.
func (d *Desk) tell(ctx context.Context, a Act) error {
	s, t, person, note := d.session, d.session.Telling, cmp.Or(a.Values["person"], d.session.Driver), strings.TrimSpace(a.Values["note"])
	switch {
	case t.Recorded:
		return toldAlready()
	case !t.Said:
		return fault.New(fault.Precondition, "WHEN_NOT_SAID", "nothing is recorded yet: say first when that was")
	case d.scene.person(person) == nil || d.scene.person(person).GetErased():
		return fault.New(fault.Invalid, "TELLER_MISSING", "nothing is recorded yet: say who tells of it")
	case len([]rune(note)) > longestTold:
		return fault.New(fault.Invalid, "NOTE_TOO_LONG", "nothing is recorded yet: the words hold %d characters; make them shorter", longestTold)
	}
	switch t.Of {
	case TaleWheels:
		return d.tellWheels(ctx, person, note, a.Values["odometer"])
	case TaleDelivery, TaleCount:
		return d.tellStock(ctx, person, note, a.Values["amount"])
	}
	return d.command(ctx, &pending{Kind: commandIncident}, &pb.RecordIncidentRequest{
		RequestId: uuid.NewString(), Vehicle: s.Vehicle, Person: person, Returned: timestamp(t.When), Note: note,
		Used: usedWords(d.scene.vehicle(s.Vehicle), t.What), Device: d.device, DeviceTime: d.deviceTime(),
	})
}

// longestTold is how long the words beside it may be, in characters.
const longestTold = 400

// taleTold goes on to what follows from what was told: words of what is on record now. What is
// carried out late, after a kill, may find the screen about something else.
func (d *Desk) taleTold(of Tale, vehicle string, words ...string) error {
	if t := d.session.Telling; t != nil && t.Of == of && d.session.Vehicle == vehicle {
		t.Recorded, t.Words, d.session.RunTold = true, words, t.Broken
	}
	return nil
}

func (d *Desk) toldOfRun(_ context.Context, req *pb.RecordIncidentRequest, _ *pb.RecordIncidentResponse) error {
	return d.taleTold(TaleRun, req.GetVehicle(), req.GetUsed()...)
}

// leaveTale goes back to where it was told from: the round that a run broke into, or the
// list.
func (d *Desk) leaveTale(context.Context, Act) error {
	s := d.session
	if s.Telling.Broken && s.Round != "" && s.Resuming {
		s.Phase, s.Telling = PhaseBefore, nil
		return nil
	}
	d.leave()
	return nil
}

func toldAlready() error {
	return fault.New(fault.Precondition, "TOLD_ALREADY", "this is recorded; begin anew for another")
}

// tellView is the page on which it is told.
func (d *Desk) tellView(ctx context.Context) (*Telling, error) {
	s, t := d.session, d.session.Telling
	choices, err := d.tellChoices(ctx)
	if err != nil {
		return nil, err
	}
	for i := range choices {
		choices[i].Chosen = slices.Contains(t.What, choices[i].ID)
	}
	view := &Telling{
		Of: t.Of, Said: t.Said, When: t.When, Choices: choices, Broken: t.Broken, Recorded: t.Recorded, Words: t.Words,
		Tellers: d.whoMay(t.Of.deed()),
		Due: slices.DeleteFunc(slices.Clone(d.scene.readiness[s.Vehicle].GetRoutineDues()), func(due *pb.RoutineDue) bool {
			return due.GetState() < pb.DueState_DUE_STATE_DUE
		}),
	}
	slices.SortStableFunc(view.Due, func(x, y *pb.RoutineDue) int { return cmp.Compare(t.Of.madeDue(y), t.Of.madeDue(x)) })
	return view, nil
}

// whoMay are the people of the station who may do a deed.
func (d *Desk) whoMay(deed admit.Deed) (all []*pb.Person) {
	for _, who := range d.scene.people {
		if _, may := admit.PersonMay(who.GetRoles(), deed); may && !who.GetErased() {
			all = append(all, who)
		}
	}
	return all
}

// madeDue is 1 for what is due because of what is told.
func (t Tale) madeDue(d *pb.RoutineDue) int {
	because := map[Tale]pb.HappeningKind{TaleRun: pb.HappeningKind_HAPPENING_KIND_INCIDENT, TaleWheels: pb.HappeningKind_HAPPENING_KIND_WHEEL_FITTED}
	if kind, known := because[t]; known && d.GetBecause() == kind {
		return 1
	}
	return 0
}

// wheels are those of the vehicle whose nuts are torqued again after they were off.
func (d *Desk) wheels(ctx context.Context) (all []TellChoice, err error) {
	for _, r := range d.scene.routines {
		if !slices.Contains(r.GetTriggers(), pb.Trigger_TRIGGER_AFTER_WHEEL_FITTED) {
			continue
		}
		plan, err := d.outline(d.session.Vehicle, r.GetName(), nil)
		if err != nil {
			return nil, err
		}
		for _, step := range plan.Plan.GetSteps() {
			if d.scene.refitted[step.GetItem()] {
				_, wheel, _ := strings.Cut(step.GetStepId(), "/")
				all = append(all, TellChoice{ID: wheel, Text: step.GetPlace().GetTitle()})
			}
		}
	}
	slices.SortFunc(all, func(x, y TellChoice) int { return strings.Compare(x.ID, y.ID) })
	return slices.CompactFunc(all, func(x, y TellChoice) bool { return x.ID == y.ID }), nil
}

// mostKm is the most that an odometer shows, by the contract.
const mostKm = 5_000_000

// tellWheels records that wheels were off and fitted.
func (d *Desk) tellWheels(ctx context.Context, person, note, odometer string) error {
	s := d.session
	odometer = strings.TrimSpace(odometer)
	km, whole := number(odometer)
	switch {
	case len(s.Telling.What) == 0:
		return fault.New(fault.Precondition, "WHAT_NOT_SAID", "nothing is recorded yet: touch the wheels that were off")
	case odometer != "" && (!whole || km < 0 || km > mostKm):
		return fault.New(fault.Invalid, "FIGURE_WRONG", "nothing is recorded yet: the odometer is a number from 0 to %d km; leave it empty when nobody has read it", mostKm)
	}
	req := &pb.RecordWheelsFittedRequest{
		RequestId: uuid.NewString(), Vehicle: s.Vehicle, Person: person, Wheels: s.Telling.What, Fitted: timestamp(s.Telling.When), Note: note,
		Device: d.device, DeviceTime: d.deviceTime(),
	}
	if odometer != "" {
		req.OdometerKm = proto.Float64(km)
	}
	return d.command(ctx, &pending{Kind: commandWheels}, req)
}

// toldOfWheels says when their nuts are to be torqued again.
func (d *Desk) toldOfWheels(_ context.Context, req *pb.RecordWheelsFittedRequest, resp *pb.RecordWheelsFittedResponse) error {
	var words []string
	for _, due := range resp.GetDues() {
		words = append(words, due.GetText())
	}
	return d.taleTold(TaleWheels, req.GetVehicle(), words...)
}
