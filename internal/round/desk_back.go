package round

import (
	"cmp"
	"context"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// A vehicle that comes back from a run is told of here: when, what was used, what it went
// through, and by whom. What is checked after a run is due from then. Who was in the
// middle of a round is asked about the run, and may pass the question by.

// backDeed are the acts about a run.
func backDeed(name string) deed {
	back := []Phase{PhaseBack}
	switch name {
	case "run":
		return deed{(*Desk).toRun, []Phase{PhaseVehicles, PhaseSignIn, PhaseBefore}}
	case "run-back":
		return deed{(*Desk).sayReturned, back}
	case "run-used":
		return deed{(*Desk).sayUsed, back}
	case "run-tell":
		return deed{(*Desk).tellRun, back}
	case "run-done":
		return deed{(*Desk).leaveRun, back}
	}
	return deed{}
}

// toRun opens the page of a run: of the vehicle that is named, or of the round that a
// turnout broke into.
func (d *Desk) toRun(_ context.Context, a Act) error {
	s, vehicle := d.session, a.Values["vehicle"]
	switch {
	case s.Phase == PhaseBefore && s.Resuming && (vehicle == "" || vehicle == s.Vehicle):
		s.Back = &back{Broken: true}
	case d.scene.vehicle(vehicle) == nil:
		return fault.New(fault.NotFound, "CHOICE_UNKNOWN", "there is no such vehicle on this tablet; choose from the list")
	default:
		s.leaveRound()
		s.Vehicle, s.Back, d.stale = vehicle, &back{}, true
	}
	s.Phase = PhaseBack
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

// longestRun is how long ago a run may have ended, in minutes: a week.
const longestRun = 7 * 24 * 60

// sayReturned says when the vehicle came back.
func (d *Desk) sayReturned(_ context.Context, a Act) error {
	if d.session.Back.Recorded {
		return toldAlready()
	}
	minutes, err := strconv.Atoi(strings.TrimSpace(a.Values["minutes"]))
	if err != nil || minutes < 0 || minutes > longestRun {
		return fault.New(fault.Invalid, "MINUTES_WRONG", "say how many minutes ago the vehicle came back, as a whole number from 0 to %d", longestRun)
	}
	d.session.Back.Said, d.session.Back.Returned = true, d.now().Round(0).Add(-time.Duration(minutes)*time.Minute)
	return nil
}

// sayUsed says that something was used, or takes that back.
func (d *Desk) sayUsed(_ context.Context, a Act) error {
	b, id := d.session.Back, a.Values["used"]
	switch {
	case b.Recorded:
		return toldAlready()
	case !slices.ContainsFunc(UsesOf(d.scene.vehicle(d.session.Vehicle)), func(u Use) bool { return u.ID == id }):
		return fault.New(fault.NotFound, "CHOICE_UNKNOWN", "this vehicle has nothing of that kind; choose from the list")
	case slices.Contains(b.Used, id):
		b.Used = without(b.Used, id)
	default:
		b.Used = append(b.Used, id)
	}
	return nil
}

// tellRun records the run. By name and without a PIN, as whoever knows of it may say it.
func (d *Desk) tellRun(ctx context.Context, a Act) error {
	s, person, note := d.session, a.Values["person"], strings.TrimSpace(a.Values["note"])
	if person == "" {
		person = s.Driver
	}
	switch {
	case s.Back.Recorded:
		return toldAlready()
	case !s.Back.Said:
		return fault.New(fault.Precondition, "RETURN_NOT_SAID", "nothing is recorded yet: say first when the vehicle came back")
	case d.scene.person(person) == nil || d.scene.person(person).GetErased():
		return fault.New(fault.Invalid, "RUN_NO_NAME", "nothing is recorded yet: say who tells of it")
	case len([]rune(note)) > longestRunNote:
		return fault.New(fault.Invalid, "NOTE_TOO_LONG", "nothing is recorded yet: the words hold %d characters; make them shorter", longestRunNote)
	}
	return d.command(ctx, &pending{Kind: commandIncident}, &pb.RecordIncidentRequest{
		RequestId: uuid.NewString(), Vehicle: s.Vehicle, Person: person, Returned: timestamp(s.Back.Returned), Note: note,
		Used: usedWords(d.scene.vehicle(s.Vehicle), s.Back.Used), Device: d.device, DeviceTime: d.deviceTime(),
	})
}

// longestRunNote is how long the words for a run may be, in characters.
const longestRunNote = 400

// toldOfRun goes on to what is checked after the run.
func (d *Desk) toldOfRun(_ context.Context, req *pb.RecordIncidentRequest, _ *pb.RecordIncidentResponse) error {
	s := d.session
	if s.Back == nil || s.Vehicle != req.GetVehicle() {
		return nil // carried out late, after a kill: the screen is about something else
	}
	s.Back.Recorded, s.Back.Words, s.RunTold = true, req.GetUsed(), s.Back.Broken
	return nil
}

// leaveRun goes back to where the run was told from: the round that it broke into, or the
// list.
func (d *Desk) leaveRun(context.Context, Act) error {
	s := d.session
	if s.Back.Broken && s.Round != "" && s.Resuming {
		s.Phase, s.Back = PhaseBefore, nil
		return nil
	}
	d.leave()
	return nil
}

func toldAlready() error {
	return fault.New(fault.Precondition, "RUN_TOLD", "this run is recorded; begin anew for another")
}

// backView is the page of a run.
func (d *Desk) backView() *Back {
	s := d.session
	b := &Back{
		Said: s.Back.Said, Returned: s.Back.Returned, Broken: s.Back.Broken, Recorded: s.Back.Recorded, Words: s.Back.Words,
		Due: slices.DeleteFunc(slices.Clone(d.scene.readiness[s.Vehicle].GetRoutineDues()), func(due *pb.RoutineDue) bool {
			return due.GetState() < pb.DueState_DUE_STATE_DUE
		}),
	}
	for _, u := range UsesOf(d.scene.vehicle(s.Vehicle)) {
		b.Uses = append(b.Uses, UseChoice{u, slices.Contains(s.Back.Used, u.ID)})
	}
	slices.SortStableFunc(b.Due, func(x, y *pb.RoutineDue) int { return cmp.Compare(afterRun(y), afterRun(x)) })
	return b
}

// afterRun is 1 for what a run has made due.
func afterRun(d *pb.RoutineDue) int {
	if d.GetBecause() == pb.HappeningKind_HAPPENING_KIND_INCIDENT {
		return 1
	}
	return 0
}
