package round

import (
	"context"
	"slices"
	"strings"

	"github.com/google/uuid"

	"bayround/internal/admit"
	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// Release is a stopped vehicle that is to be released: what was done, what is missing and
// who may release it.
type Release struct {
	Stopped
	Vehicle    *pb.VehicleConfiguration
	RepairedBy string       // by the name that is spoken; empty while nobody has, or where that is not known here
	People     []*pb.Person // who may release it
}

// releasePage opens the page on which a stopped vehicle is released.
func (d *Desk) releasePage(_ context.Context, a Act) error {
	if d.stopNamed(a.Values["defect"]) == nil {
		return fault.New(fault.Precondition, "NOT_STOPPED", "this vehicle is not stopped any more; look at the list")
	}
	d.session.Releasing = a.Values["defect"]
	return nil
}

// leaveRelease leaves that page.
func (d *Desk) leaveRelease(context.Context, Act) error {
	d.session.Releasing = ""
	return nil
}

// stopNamed is a stop that stands against a vehicle shown here; nil when it does not.
func (d *Desk) stopNamed(name string) *pb.Defect {
	vehicle, _, _ := strings.Cut(name, "/defects/")
	ready, _ := d.readinessOf(vehicle, d.link())
	for _, defect := range ready.GetOpenDefects() {
		if defect.GetName() == name && defect.GetStop() != nil {
			return defect
		}
	}
	return nil
}

// releaseView is the page of the release; nil when it is not open, or when the vehicle is
// released by now.
func (d *Desk) releaseView(vehicles []Vehicle) *Release {
	if d.session.Releasing == "" || d.session.Phase > PhaseBefore {
		return nil
	}
	for _, v := range vehicles {
		for _, stop := range v.Stopped {
			if stop.Defect.GetName() != d.session.Releasing {
				continue
			}
			repairer := stop.Defect.GetRepair().GetPerson()
			view := &Release{Stopped: stop, Vehicle: v.Configuration, RepairedBy: d.scene.person(repairer).GetTitle()}
			view.People = slices.DeleteFunc(d.whoMay(admit.Release), func(who *pb.Person) bool { return who.GetName() == repairer })
			return view
		}
	}
	return nil
}

// release releases a stopped vehicle by the word and the PIN of a person: the one named,
// else who is signed in.
func (d *Desk) release(ctx context.Context, a Act) error {
	checked, person := strings.TrimSpace(a.Values["checked"]), a.Values["person"]
	if person == "" {
		person = d.session.Driver
	}
	switch {
	case person == "":
		return fault.New(fault.Precondition, "NOBODY_NAMED", "nothing is released yet: say who releases it")
	case d.scene.person(person) == nil || d.scene.person(person).GetErased():
		return fault.New(fault.NotFound, "PERSON_UNKNOWN", "nothing is released yet: this person is not on the station's list")
	case checked == "" || len([]rune(checked)) > longestStop:
		return fault.New(fault.Invalid, "CHECKED_MISSING", "nothing is released yet: say in a few words what you checked again")
	}
	if err := d.checkPIN(ctx, person, a.Values["pin"]); err != nil {
		return err
	}
	return d.command(ctx, &pending{Kind: commandRelease}, &pb.ReleaseVehicleRequest{
		RequestId: uuid.NewString(), Defect: a.Values["defect"], Person: person, Checked: checked,
		Device: d.device, DeviceTime: d.deviceTime(),
	})
}

// released leaves the page of the release; the list shows what the vehicle may do now.
func (d *Desk) released(context.Context, *pb.ReleaseVehicleRequest, *pb.ReleaseVehicleResponse) error {
	d.session.Releasing = ""
	return nil
}
