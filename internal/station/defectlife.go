package station

import (
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// A defect holds as many earlier lives and photos at most.
const (
	mostLives  = 12
	mostPhotos = 12
)

// withLife gives the earlier lives of a defect after the present one, which ended
// when it was closed; nil when its repair did not hold.
func withLife(d *pb.Defect, closed *timestamppb.Timestamp) []*pb.EarlierDefect {
	lives := append([]*pb.EarlierDefect{{
		FirstFound: d.GetFirstFound(), Acknowledged: d.GetAcknowledgement().GetFirst(), Repair: d.GetRepair(), Closed: closed,
	}}, d.GetEarlier()...)
	return lives[:min(len(lives), mostLives)]
}

// withPhotos puts photos before others, each once.
func withPhotos(others, photos []string) []string {
	all := slices.Clone(photos)
	for _, p := range others {
		if !slices.Contains(all, p) {
			all = append(all, p)
		}
	}
	return all[:min(len(all), mostPhotos)]
}

// comesBack is how often a defect that was closed has come back when it is found
// again now: within the pack's time it is a repeat.
func (v *vehicle) comesBack(d *pb.Defect, now time.Time) int32 {
	within := v.model.deferral.GetDeferral().GetRepeatWithin()
	if within == nil || now.Sub(d.GetClosed().AsTime()) > within.AsDuration() {
		return 0
	}
	return d.GetRepeats() + 1
}

// goesOn is a defect that is not closed when somebody looks at it and finds it again.
// After a repair it begins anew: the repair did not hold.
func goesOn(d *pb.Defect, looked time.Time) *pb.Defect {
	next := proto.CloneOf(d)
	if d.GetState() != pb.DefectState_DEFECT_STATE_RECTIFIED {
		return next
	}
	next.State, next.Deferral = pb.DefectState_DEFECT_STATE_OPEN, nil
	if !looked.Before(d.GetRepair().GetStationTime().AsTime()) {
		next.Earlier, next.Acknowledgement, next.Repair = withLife(d, nil), nil, nil // they are of the life that ended
		next.Repeats++
	}
	return next
}

// stillDeferred is the deferral of a defect that was found again: over at once when it
// is graver than what was deferred, or when who looked since says that it is worse.
func (st *state) stillDeferred(d *pb.Defect, res *pb.Result) *pb.Deferral {
	decided := d.GetDeferral()
	switch {
	case d.GetState() != pb.DefectState_DEFECT_STATE_DEFERRED, !st.station.Before(decided.GetExpires().AsTime()):
		return decided // there is none, or it was over before
	case verdict.DefectAt(d, st.station) != d:
		return st.over(decided, "", "it was found worse")
	case res.GetWorse() && !verdict.Looked(res).Before(decided.GetStationTime().AsTime()):
		return st.over(decided, res.GetPerson(), "who looked again says that it is worse")
	}
	return decided
}

// over is a deferral that ends now, before its time.
func (st *state) over(d *pb.Deferral, person, because string) *pb.Deferral {
	d = proto.CloneOf(d)
	now := timestamppb.New(st.station)
	d.Expires, d.Ended, d.EndedBy, d.EndedBecause = now, now, person, because
	return d
}

// mayBeUnknown tells that events may speak of a defect that is not there: what found it was
// dropped, as it was put right and checked long ago, or would never have been found.
func (st *state) mayBeUnknown() bool { return st.supposed || st.sequence <= st.horizon }

// changeDefect puts a defect in another shape. One that may be unknown is passed over.
func (st *state) changeDefect(v *vehicle, name string, rows *rowSet, change func(d *pb.Defect)) error {
	d := v.defects[name]
	switch {
	case d == nil && !st.mayBeUnknown():
		return unreadable("what happened to "+name, errEvent)
	case d == nil:
		return nil
	}
	d = proto.CloneOf(d)
	change(d)
	return st.putDefect(v, d, rows)
}

func (st *state) defectAcknowledged(v *vehicle, e *pb.DefectAcknowledged, rows *rowSet) error {
	return st.changeDefect(v, e.GetDefect(), rows, func(d *pb.Defect) {
		d.Acknowledgement = e.GetAcknowledgement()
		if d.GetState() == pb.DefectState_DEFECT_STATE_OPEN {
			d.State = pb.DefectState_DEFECT_STATE_ACKNOWLEDGED
		}
	})
}

func (st *state) defectDeferred(v *vehicle, e *pb.DefectDeferred, rows *rowSet) error {
	return st.changeDefect(v, e.GetDefect(), rows, func(d *pb.Defect) {
		d.State, d.Deferral = pb.DefectState_DEFECT_STATE_DEFERRED, e.GetDeferral()
	})
}

func (st *state) deferralEnded(v *vehicle, ev *pb.JournalEvent, rows *rowSet) error {
	e := ev.GetDeferralEnded()
	return st.changeDefect(v, e.GetDefect(), rows, func(d *pb.Defect) {
		if d.GetDeferral() == nil && st.supposed {
			return // it would have been found after it was deferred
		}
		d.Deferral = st.over(d.GetDeferral(), ev.GetPerson(), e.GetBecause())
	})
}

// vehicleStopped makes the defect that lets the vehicle not move.
func (st *state) vehicleStopped(v *vehicle, e *pb.VehicleStopped, rows *rowSet) error {
	stop := e.GetStop()
	d := &pb.Defect{
		Name: e.GetDefect(), State: pb.DefectState_DEFECT_STATE_OPEN, Stop: stop, Note: stop.GetReason(),
		FirstFound: stop.GetStationTime(), LastFound: stop.GetStationTime(), LastLooked: stop.GetStationTime(),
		FoundBy: stop.GetPerson(), TimesFound: 1,
		Findings: []*pb.Finding{{
			FindingId: uuidOf(e.GetDefect()), Rule: "stopped", Scope: pb.RuleScope_RULE_SCOPE_RESULT, StepIds: stop.GetStepIds(),
			Grade: pb.Grade_GRADE_DANGEROUS, Effect: pb.Effect_EFFECT_MOVING, Text: "Stopped: " + stop.GetReason(),
			DriverDoes: "Leave it where it stands. The workshop repairs it, and a second person checks it again and releases it.",
			Source:     &pb.Source{Title: "anybody may stop a vehicle, alone and at once", Clause: "common practice", Status: pb.SourceStatus_SOURCE_STATUS_COMMON_PRACTICE},
		}},
	}
	if len(stop.GetStepIds()) > 0 {
		d.StepId = stop.GetStepIds()[0]
	}
	return st.putDefect(v, d, rows)
}

func (st *state) vehicleReleased(v *vehicle, e *pb.VehicleReleased, rows *rowSet) error {
	return st.changeDefect(v, e.GetDefect(), rows, func(d *pb.Defect) {
		d.State, d.Release = pb.DefectState_DEFECT_STATE_CLOSED, e.GetRelease()
		d.Closed, d.ClosedBy = e.GetRelease().GetStationTime(), e.GetRelease().GetPerson()
	})
}
