package station

import (
	"context"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/admit"
	"bayround/internal/fault"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// ofDefect carries out a command about a defect that is one event, and gives the
// defect and the readiness right after it, also when the command is repeated.
func (s *Station) ofDefect(ctx context.Context, id string, req proto.Message, decide func(c *command) (*pb.JournalEvent, error)) (*pb.Defect, *pb.Readiness, int64, error) {
	var left *snapshot // of the vehicle right after the event
	d, receipt, err := run(ctx, s, id, req, func(c *command) (*pb.Defect, error) {
		ev, err := decide(c)
		if err != nil {
			return nil, err
		}
		if err := c.happen(ev, nil); err != nil {
			return nil, err
		}
		v := c.state.vehicles[ev.GetVehicle()]
		left = v.snapshot()
		return verdict.DefectAt(v.defects[defectOf(ev)], c.time), nil
	})
	if err != nil {
		return nil, nil, 0, err
	}
	sequence := int64(receipt.Last)
	if !receipt.Repeated {
		return d, left.at(left.standing.at).asOf(left.standing.at), sequence, nil
	}
	vehicle, _, _ := strings.Cut(d.GetName(), "/defects/")
	readiness, err := s.readinessAfter(ctx, vehicle, sequence)
	return d, readiness, sequence, err
}

// defectOf is the defect that an event is about.
func defectOf(ev *pb.JournalEvent) string {
	switch e := ev.GetEvent().(type) {
	case *pb.JournalEvent_DefectDeferred:
		return e.DefectDeferred.GetDefect()
	case *pb.JournalEvent_DeferralEnded:
		return e.DeferralEnded.GetDefect()
	case *pb.JournalEvent_VehicleStopped:
		return e.VehicleStopped.GetDefect()
	case *pb.JournalEvent_VehicleReleased:
		return e.VehicleReleased.GetDefect()
	}
	return ""
}

// StopVehicle stops a vehicle at once. One that comes from a device may be late: it
// counts also where a step it is about has been taken off the vehicle meanwhile.
func (s *Station) StopVehicle(ctx context.Context, req *pb.StopVehicleRequest) (*pb.StopVehicleResponse, error) {
	if err := checkDeviceTime(req); err != nil {
		return nil, err
	}
	d, readiness, sequence, err := s.ofDefect(ctx, req.GetRequestId(), req, func(c *command) (*pb.JournalEvent, error) {
		v := c.state.vehicles[req.GetVehicle()]
		if v == nil {
			return nil, unknown("vehicle", req.GetVehicle())
		}
		if err := c.state.lib.active(req.GetPerson(), deviceTimeOf(req)); err != nil {
			return nil, err
		}
		if err := c.mayOnce(req.GetPerson(), admit.Stop, req.GetDeviceTime()); err != nil {
			return nil, err
		}
		for _, id := range req.GetStepIds() {
			if v.model.steps[id] == nil && req.GetDevice() == "" { // nobody would hear of it at a device
				return nil, unknown("step", id).At("step_ids", "%s is not on this vehicle; leave it out, and say it in the reason", id)
			}
		}
		return &pb.JournalEvent{
			Person: req.GetPerson(), Vehicle: v.name, Device: req.GetDevice(), DeviceTime: req.GetDeviceTime(),
			Event: &pb.JournalEvent_VehicleStopped{VehicleStopped: &pb.VehicleStopped{
				Defect: v.name + "/defects/stop-" + strings.ReplaceAll(req.GetRequestId(), "-", "")[:20],
				Stop:   &pb.VehicleStop{Person: req.GetPerson(), StationTime: timestamppb.New(c.time), Reason: req.GetReason(), StepIds: req.GetStepIds()},
			}},
		}, nil
	})
	return &pb.StopVehicleResponse{Defect: d, Readiness: readiness, Sequence: sequence}, err
}

// ReleaseVehicle releases a stopped vehicle that was repaired and checked again. One that
// comes late from a device is held to what is known when it comes.
func (s *Station) ReleaseVehicle(ctx context.Context, req *pb.ReleaseVehicleRequest) (*pb.ReleaseVehicleResponse, error) {
	if err := checkDeviceTime(req); err != nil {
		return nil, err
	}
	d, readiness, sequence, err := s.ofDefect(ctx, req.GetRequestId(), req, func(c *command) (*pb.JournalEvent, error) {
		v, d, err := c.state.defectFor(req)
		if err != nil {
			return nil, err
		}
		if err := c.state.may(req.GetPerson(), admit.Release); err != nil {
			return nil, err
		}
		if err := (releasing{v.model, v.answers, v.input().Defects, d}).mayRelease(req.GetPerson()); err != nil {
			return nil, err
		}
		return &pb.JournalEvent{
			Person: req.GetPerson(), Vehicle: v.name, Device: req.GetDevice(), DeviceTime: req.GetDeviceTime(),
			Event: &pb.JournalEvent_VehicleReleased{VehicleReleased: &pb.VehicleReleased{Defect: d.GetName(), Release: &pb.VehicleRelease{
				Person: req.GetPerson(), StationTime: timestamppb.New(c.time), Checked: req.GetChecked(),
			}}},
		}, nil
	})
	return &pb.ReleaseVehicleResponse{Defect: d, Readiness: readiness, Sequence: sequence}, err
}

// releasing is what decides whether a stopped vehicle may be released.
type releasing struct {
	model   *model
	answers map[string]*verdict.Answer // by step id
	open    []*pb.Defect               // those not closed
	defect  *pb.Defect                 // the one that stops it
}

// mayRelease refuses a release before the workshop's work, by the one who did it, and
// before every step concerned was found sound again by another.
func (s releasing) mayRelease(person string) error {
	d := s.defect
	switch {
	case d.GetStop() == nil:
		return fault.New(fault.Precondition, "NOT_STOPPED", "nobody stopped the vehicle with this defect; record its repair and check %s again", d.GetStepId())
	case d.GetState() == pb.DefectState_DEFECT_STATE_CLOSED:
		return fault.New(fault.Precondition, "DEFECT_NOT_OPEN", "the vehicle was released at %s", clockWords(d.GetClosed().AsTime()))
	case d.GetState() != pb.DefectState_DEFECT_STATE_RECTIFIED:
		return fault.New(fault.Precondition, "REPAIR_MISSING", "the workshop has not recorded what it did; a vehicle is released after its repair")
	case d.GetRepair().GetPerson() == person:
		return fault.New(fault.Precondition, "SAME_PERSON", "who repaired a vehicle does not release it; have another person check it again and release it").At("person", "is the one who repaired it")
	}
	var missing []string
	for _, id := range d.GetStop().GetStepIds() {
		if step := s.model.steps[id]; step != nil && !s.soundSince(id) {
			missing = append(missing, step.GetTitle()+" ("+id+")")
		}
	}
	if len(missing) > 0 {
		return fault.New(fault.Precondition, "RECHECK_MISSING", "not found sound since the repair, by another than who repaired: %s; check it again, then release", strings.Join(missing, ", "))
	}
	return nil
}

// soundSince tells that somebody else than the one who repaired has looked at a step
// since the repair, and that nothing is open there beside the stop.
func (s releasing) soundSince(stepID string) bool {
	a, d := s.answers[stepID], s.defect
	if a == nil || a.Real == nil || !a.RealFits || a.Real.GetPerson() == d.GetRepair().GetPerson() {
		return false
	}
	if verdict.Looked(a.Real).Before(later(a.VoidBefore, repairTime(d))) {
		return false
	}
	return !slices.ContainsFunc(s.open, func(other *pb.Defect) bool {
		return other.GetStepId() == stepID && other.GetName() != d.GetName()
	})
}

func repairTime(d *pb.Defect) time.Time { return d.GetRepair().GetStationTime().AsTime() }
