package station

import (
	"context"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

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
				Repair:       &pb.Repair{Person: req.GetPerson(), Done: req.GetDone(), StationTime: timestamppb.New(c.time)},
				RecheckSteps: []string{d.GetStepId()},
			}},
		}
		if err := c.happen(ev, nil); err != nil {
			return nil, err
		}
		return &pb.RecordRepairResponse{Defect: v.defects[d.GetName()], Sequence: ev.GetSequence()}, nil
	})
	return resp, err
}

func (st *state) mayRepair(req *pb.RecordRepairRequest) (*vehicle, *pb.Defect, error) {
	name, _, _ := strings.Cut(req.GetDefect(), "/defects/")
	v := st.vehicles[name]
	if v == nil {
		return nil, nil, unknown("vehicle", name)
	}
	d := v.defects[req.GetDefect()]
	if d == nil {
		return nil, nil, unknown("defect", req.GetDefect())
	}
	if err := st.lib.active(req.GetPerson(), time.Time{}); err != nil {
		return nil, nil, err
	}
	person := st.lib.set.People[req.GetPerson()]
	if !slices.Contains(person.GetRoles(), pb.Role_ROLE_WORKSHOP) {
		return nil, nil, fault.New(fault.Precondition, "NOT_WORKSHOP", "%s is not of the workshop; a repair is recorded by who is", person.GetTitle())
	}
	switch d.GetState() {
	case pb.DefectState_DEFECT_STATE_RECTIFIED:
		return nil, nil, fault.New(fault.Precondition, "DEFECT_NOT_OPEN", "this defect was repaired at %s and waits to be checked again", clockWords(d.GetRepair().GetStationTime().AsTime()))
	case pb.DefectState_DEFECT_STATE_CLOSED:
		return nil, nil, fault.New(fault.Precondition, "DEFECT_NOT_OPEN", "this defect was closed at %s", clockWords(d.GetClosed().AsTime()))
	}
	return v, d, nil
}
