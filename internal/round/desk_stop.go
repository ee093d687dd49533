package round

import (
	"context"
	"strings"

	"github.com/google/uuid"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// StopReason is why a vehicle is stopped, where it can be said with one touch.
type StopReason struct {
	ID   string
	Text string // as it stands in the record
}

// StopReasons are what a stop is mostly about. Source: common practice.
func StopReasons() []StopReason {
	return []StopReason{
		{"brakes", "the brakes do not hold, or feel wrong"},
		{"steering", "the steering has play, pulls or binds"},
		{"wheels", "a wheel, a tyre or wheel nuts"},
		{"leak", "fuel, oil, coolant or air escapes"},
		{"smoke", "smoke, heat or a smell of burning"},
		{"loose", "something heavy is loose or not shut"},
		{"struck", "it struck something, or was struck"},
	}
}

// longestStop is how long words for a stop may be, in characters.
const longestStop = 400

// stop stops a vehicle at once. Anybody may, by name and without a PIN: nobody who
// sees a danger must first find somebody who can sign in.
func (d *Desk) stop(ctx context.Context, a Act) error {
	vehicle, person := a.Values["stopped"], a.Values["person"]
	if vehicle == "" {
		vehicle = d.session.Vehicle
	}
	if person == "" {
		person = d.session.Driver
	}
	reason, err := stopWords(a)
	switch {
	case err != nil:
		return err
	case d.scene.vehicle(vehicle) == nil:
		return fault.New(fault.Invalid, "STOP_NO_VEHICLE", "nothing is stopped yet: say which vehicle")
	case d.scene.person(person) == nil:
		return fault.New(fault.Invalid, "STOP_NO_NAME", "nothing is stopped yet: say who stops it")
	}
	req := &pb.StopVehicleRequest{
		RequestId: uuid.NewString(), Vehicle: vehicle, Person: person, Reason: reason, Device: d.device, DeviceTime: d.deviceTime(),
	}
	if step := d.scene.stepOf(d.session.Step); a.Values["here"] != "" && step != nil && vehicle == d.session.Vehicle {
		req.StepIds = []string{step.GetStepId()}
	}
	return d.command(ctx, &pending{Kind: commandStop}, req)
}

// stopWords is why, in words: a reason that was chosen, what was typed, or both.
func stopWords(a Act) (string, error) {
	text := strings.TrimSpace(a.Values["text"])
	for _, r := range StopReasons() {
		if a.Values["reason"] == r.ID {
			text = strings.TrimSuffix(r.Text+": "+text, ": ")
		}
	}
	switch {
	case text == "":
		return "", fault.New(fault.Invalid, "STOP_NO_REASON", "nothing is stopped yet: choose why, or say it in words")
	case len([]rune(text)) > longestStop:
		return "", fault.New(fault.Invalid, "NOTE_TOO_LONG", "nothing is stopped yet: a reason holds %d characters; make it shorter", longestStop)
	}
	return text, nil
}

// stopped has nothing to add: the view shows the stop for as long as it stands.
func (d *Desk) stopped(context.Context, *pb.StopVehicleRequest, *pb.StopVehicleResponse) error {
	return nil
}

// stopsOf are the stops that stand against a vehicle, and what releasing it wants.
func (d *Desk) stopsOf(ctx context.Context, ready *pb.Readiness) (all []Stopped) {
	for _, defect := range ready.GetOpenDefects() {
		if defect.GetStop() == nil {
			continue
		}
		stop := Stopped{Defect: defect, By: d.scene.person(defect.GetStop().GetPerson()).GetTitle()}
		resp, err := d.twin.GetDefect(ctx, &pb.GetDefectRequest{Name: defect.GetName()})
		if err == nil {
			stop.Defect, stop.Missing = resp.GetDefect(), resp.GetReleaseMissing() // both of one instant
		} else { // the station told of it, and the twin has not taken it over yet
			stop.Missing = "this tablet does not know it yet; ask at the station"
		}
		all = append(all, stop)
	}
	return all
}
