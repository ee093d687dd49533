package station

import (
	"context"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/admit"
	"bayround/internal/deferral"
	"bayround/internal/fault"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// AcknowledgeDefect records the workshop's answer to who reported a defect.
func (s *Station) AcknowledgeDefect(ctx context.Context, req *pb.AcknowledgeDefectRequest) (*pb.AcknowledgeDefectResponse, error) {
	resp, _, err := run(ctx, s, req.GetRequestId(), req, func(c *command) (*pb.AcknowledgeDefectResponse, error) {
		v, d, err := c.state.mayAcknowledge(req, c.time)
		if err != nil {
			return nil, err
		}
		now := timestamppb.New(c.time)
		answer := &pb.Acknowledgement{Person: req.GetPerson(), StationTime: now, Planned: req.GetPlanned(), Note: req.GetNote(), First: now}
		if before := d.GetAcknowledgement().GetFirst(); before != nil {
			answer.First = before
		}
		ev := &pb.JournalEvent{Person: req.GetPerson(), Vehicle: v.name, Event: &pb.JournalEvent_DefectAcknowledged{
			DefectAcknowledged: &pb.DefectAcknowledged{Defect: d.GetName(), Acknowledgement: answer},
		}}
		if err := c.happen(ev, nil); err != nil {
			return nil, err
		}
		return &pb.AcknowledgeDefectResponse{Defect: verdict.DefectAt(v.defects[d.GetName()], c.time), Sequence: ev.GetSequence()}, nil
	})
	return resp, err
}

func (st *state) mayAcknowledge(req *pb.AcknowledgeDefectRequest, now time.Time) (*vehicle, *pb.Defect, error) {
	v, d, err := st.defectFor(req)
	if err != nil {
		return nil, nil, err
	}
	if err := st.may(req.GetPerson(), admit.Acknowledge); err != nil {
		return nil, nil, err
	}
	if err := notPutRight(d); err != nil {
		return nil, nil, err
	}
	if planned := req.GetPlanned(); !planned.IsValid() || planned.AsTime().Before(now) {
		return nil, nil, fault.New(fault.Precondition, "PLANNED_PAST", "the reporter is told by when it will be put right, and that must lie ahead; it is %s at the station", clockWords(now)).
			At("planned", "lies in the past, or is no instant")
	}
	return v, d, nil
}

// DeferDefect lets a defect wait.
func (s *Station) DeferDefect(ctx context.Context, req *pb.DeferDefectRequest) (*pb.DeferDefectResponse, error) {
	d, readiness, sequence, err := s.ofDefect(ctx, req.GetRequestId(), req, func(c *command) (*pb.JournalEvent, error) {
		v, d, err := c.state.defectFor(req)
		if err != nil {
			return nil, err
		}
		if err := notPutRight(d); err != nil {
			return nil, err
		}
		decided, err := c.deferralOf(v, d, req)
		if err != nil {
			return nil, err
		}
		return &pb.JournalEvent{Person: req.GetPerson(), Vehicle: v.name, Event: &pb.JournalEvent_DefectDeferred{
			DefectDeferred: &pb.DefectDeferred{Defect: d.GetName(), Deferral: decided},
		}}, nil
	})
	return &pb.DeferDefectResponse{Defect: d, Readiness: readiness, Sequence: sequence}, err
}

// caseOf is what decides whether a defect may wait.
func (v *vehicle) caseOf(d *pb.Defect) deferral.Case {
	return deferralCase(v.model, v.input().Defects, d)
}

func deferralCase(m *model, open []*pb.Defect, d *pb.Defect) deferral.Case {
	of := deferral.Case{Defect: d, Pack: m.deferral, Zone: m.zone()}
	for _, other := range open {
		if other.GetState() == pb.DefectState_DEFECT_STATE_DEFERRED {
			of.Deferred = append(of.Deferred, other)
		}
	}
	return of
}

// deferralOf is the deferral that is asked for, or why it is refused.
func (c *command) deferralOf(v *vehicle, d *pb.Defect, req *pb.DeferDefectRequest) (*pb.Deferral, error) {
	of := v.caseOf(d)
	right := of.Right()
	if !right.GetAllowed() {
		return nil, fault.New(fault.Precondition, "NOT_DEFERRABLE", "this defect may not wait: %s; have it repaired", right.GetWhyNot())
	}
	if right.GetNeedsRestriction() && len(req.GetRestrictions()) == 0 {
		return nil, fault.New(fault.Precondition, "RESTRICTION_MISSING", "this defect takes something away; say under what limits the vehicle may respond while it waits").
			At("restrictions", "at least one is needed")
	}
	if err := lookedTogether(right, req.GetTogetherWith()); err != nil {
		return nil, err
	}
	until, err := c.until(of, right, req)
	if err != nil {
		return nil, err
	}
	decided := of.Until(until, right)
	decided.Person, decided.Reason, decided.Restrictions = req.GetPerson(), req.GetReason(), req.GetRestrictions()
	decided.StationTime = timestamppb.New(c.time)
	return decided, nil
}

// lookedTogether refuses a deferral when the person has not looked at all the others
// on its system.
func lookedTogether(right *pb.DeferralRight, looked []string) error {
	looked = slices.Sorted(slices.Values(looked))
	if slices.Equal(looked, right.GetTogetherWith()) {
		return nil
	}
	if len(right.GetTogetherWith()) == 0 {
		return fault.New(fault.Precondition, "TOGETHER_NOT_SEEN", "nothing else waits on the same system; name no defects").At("together_with", "names defects that do not wait there")
	}
	return fault.New(fault.Precondition, "TOGETHER_NOT_SEEN", "on %s these wait already and are judged together with it: %s; look at them and name exactly them", right.GetSystem(), strings.Join(right.GetTogetherWith(), ", ")).
		At("together_with", "names other defects than wait there")
}

// until is when the deferral that is asked for ends.
func (c *command) until(of deferral.Case, right *pb.DeferralRight, req *pb.DeferDefectRequest) (time.Time, error) {
	if err := c.state.may(req.GetPerson(), admit.Defer); err != nil {
		return time.Time{}, err
	}
	duty := c.state.may(req.GetPerson(), admit.Extend) == nil
	latest, extended := right.GetLatest().AsTime(), right.GetLatest().AsTime()
	if right.GetLatestExtended() != nil {
		extended = right.GetLatestExtended().AsTime()
	}
	at := func(t time.Time) string { return t.In(of.Zone).Format("2006-01-02 15:04") }
	until := latest
	if duty && !c.time.Before(latest) {
		until = extended
	}
	if req.GetUntil() != nil {
		until = req.GetUntil().AsTime()
	}
	switch {
	case !until.After(c.time) && req.GetUntil() != nil:
		return until, fault.New(fault.Precondition, "DEFERRAL_PAST", "%s is past; it can wait until %s at the latest", at(until), at(latest)).At("until", "lies in the past")
	case until.After(extended), !extended.After(c.time):
		return until, fault.New(fault.Precondition, "DEFERRAL_TOO_LONG", "it was found at %s and may wait %d days, the day of discovery not counted: until %s, and extended by the duty officer until %s; have it repaired by then",
			at(of.Defect.GetFirstFound().AsTime()), right.GetDays(), at(latest), at(extended)).At("until", "is later than %s", at(extended))
	case !duty && (until.After(latest) || !until.After(c.time)):
		return until, fault.New(fault.Precondition, "NOT_DUTY_OFFICER", "its interval ends at %s, and only the duty officer may extend it; ask the duty officer, or choose an earlier end", at(latest)).At("until", "is later than %s", at(latest))
	}
	return until, nil
}

// EndDeferral ends a deferral before its time.
func (s *Station) EndDeferral(ctx context.Context, req *pb.EndDeferralRequest) (*pb.EndDeferralResponse, error) {
	d, readiness, sequence, err := s.ofDefect(ctx, req.GetRequestId(), req, func(c *command) (*pb.JournalEvent, error) {
		v, d, err := c.state.defectFor(req)
		if err != nil {
			return nil, err
		}
		if err := c.state.may(req.GetPerson(), admit.EndDeferral); err != nil {
			return nil, err
		}
		if verdict.DefectAt(d, c.time).GetState() != pb.DefectState_DEFECT_STATE_DEFERRED {
			return nil, fault.New(fault.Precondition, "NOT_DEFERRED", "this defect does not wait by anybody's leave now; there is nothing to end")
		}
		return &pb.JournalEvent{Person: req.GetPerson(), Vehicle: v.name, Event: &pb.JournalEvent_DeferralEnded{
			DeferralEnded: &pb.DeferralEnded{Defect: d.GetName(), Because: req.GetBecause()},
		}}, nil
	})
	return &pb.EndDeferralResponse{Defect: d, Readiness: readiness, Sequence: sequence}, err
}
