package station

import (
	"context"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/admit"
	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// RecordRepair records that a defect was put right. Its step proves nothing
// until it is checked again.
func (s *Station) RecordRepair(ctx context.Context, req *pb.RecordRepairRequest) (*pb.RecordRepairResponse, error) {
	resp, _, err := run(ctx, s, req.GetRequestId(), req, func(c *command) (*pb.RecordRepairResponse, error) {
		v, d, err := c.state.mayRepair(req)
		if err != nil {
			return nil, err
		}
		ev := &pb.JournalEvent{
			Person: req.GetPerson(), Vehicle: v.name,
			Event: &pb.JournalEvent_RepairRecorded{RepairRecorded: &pb.RepairRecorded{
				Defect:       d.GetName(),
				Repair:       &pb.Repair{Person: req.GetPerson(), Done: req.GetDone(), StationTime: timestamppb.New(c.time), Parts: req.GetParts(), DoneBy: req.GetDoneBy()},
				RecheckSteps: concerned(d),
			}},
		}
		wheels, err := v.model.wheelsNamed(req, c.time)
		if err != nil {
			return nil, err
		}
		if err := c.happen(ev, nil); err != nil {
			return nil, err
		}
		if len(wheels) > 0 {
			err := c.happen(&pb.JournalEvent{
				Person: req.GetPerson(), Vehicle: v.name, Event: &pb.JournalEvent_WheelsFitted{WheelsFitted: &pb.WheelsFitted{Wheels: wheels, Note: req.GetDone()}},
			}, nil)
			if err != nil {
				return nil, err
			}
		}
		return &pb.RecordRepairResponse{Defect: v.defects[d.GetName()], Sequence: ev.GetSequence()}, nil
	})
	return resp, err
}

// concerned are the steps that must be checked again after a repair.
func concerned(d *pb.Defect) []string {
	if d.GetStop() != nil {
		return d.GetStop().GetStepIds()
	}
	return []string{d.GetStepId()}
}

func (st *state) mayRepair(req *pb.RecordRepairRequest) (*vehicle, *pb.Defect, error) {
	v, d, err := st.defectFor(req)
	if err != nil {
		return nil, nil, err
	}
	if err := st.may(req.GetPerson(), admit.Repair); err != nil {
		return nil, nil, err
	}
	return v, d, notPutRight(d)
}

// notPutRight refuses a defect that is repaired or closed already.
func notPutRight(d *pb.Defect) error {
	switch d.GetState() {
	case pb.DefectState_DEFECT_STATE_RECTIFIED:
		return fault.New(fault.Precondition, "DEFECT_NOT_OPEN", "this defect was repaired at %s and waits to be checked again", clockWords(d.GetRepair().GetStationTime().AsTime()))
	case pb.DefectState_DEFECT_STATE_CLOSED:
		return fault.New(fault.Precondition, "DEFECT_NOT_OPEN", "this defect was closed at %s", clockWords(d.GetClosed().AsTime()))
	}
	return nil
}

// ofDefect is a request about a defect.
type ofDefect interface {
	GetDefect() string
	GetPerson() string
}

// defectFor gives the defect that a person asks for something about.
func (st *state) defectFor(req ofDefect) (*vehicle, *pb.Defect, error) {
	name, _, _ := strings.Cut(req.GetDefect(), "/defects/")
	v := st.vehicles[name]
	if v == nil {
		return nil, nil, unknown("vehicle", name)
	}
	d := v.defects[req.GetDefect()]
	if d == nil {
		return nil, nil, unknown("defect", req.GetDefect())
	}
	return v, d, st.lib.active(req.GetPerson(), time.Time{})
}
