package station

import (
	"context"
	"math"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/admit"
	"bayround/internal/fault"
	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// maxChecks is how many checks of a gauge its register keeps; the journal keeps all.
const maxChecks = 50

// checkSlack forgives what is lost when decimal numbers are subtracted: 8.16 less
// 8.00 is a little more than 0.16.
const checkSlack = 1e-9

// CheckGauge records a comparison of a gauge with a reference. What was read with
// the gauge is judged anew at once.
func (s *Station) CheckGauge(ctx context.Context, req *pb.CheckGaugeRequest) (*pb.CheckGaugeResponse, error) {
	resp, _, err := run(ctx, s, req.GetRequestId(), req, func(c *command) (*pb.CheckGaugeResponse, error) {
		g, err := c.state.mayCheck(req)
		if err != nil {
			return nil, err
		}
		ev := &pb.JournalEvent{
			Person: req.GetCheck().GetPerson(),
			Event:  &pb.JournalEvent_GaugeApplied{GaugeApplied: checked(g, req.GetCheck(), c.time)},
		}
		if err := c.happen(ev, nil); err != nil {
			return nil, err
		}
		return &pb.CheckGaugeResponse{Gauge: ev.GetGaugeApplied(), Sequence: ev.GetSequence()}, nil
	})
	return resp, err
}

// mayCheck refuses a check of what is not there, or cannot be compared.
func (st *state) mayCheck(req *pb.CheckGaugeRequest) (*pb.Gauge, error) {
	g, check := st.lib.set.Gauges[req.GetGauge()], req.GetCheck()
	switch {
	case g == nil:
		return nil, unknown("gauge", req.GetGauge()).At("gauge", "not on the register")
	case st.lib.set.People[check.GetPerson()] == nil:
		return nil, unknown("person", check.GetPerson()).At("check.person", "not on this station's list")
	case st.lib.active(check.GetPerson(), time.Time{}) != nil:
		return nil, st.lib.active(check.GetPerson(), time.Time{})
	case st.may(check.GetPerson(), admit.CheckGauge) != nil:
		return nil, st.may(check.GetPerson(), admit.CheckGauge)
	case !isNumber(check.GetShown()):
		return nil, invalid("VALUE_IMPOSSIBLE", "check.shown", "what the gauge showed must be a number")
	case !isNumber(check.GetReferenceValue()):
		return nil, invalid("VALUE_IMPOSSIBLE", "check.reference_value", "what the reference showed must be a number")
	case check.GetReference() == req.GetGauge():
		return nil, invalid("REFERENCE_IS_GAUGE", "check.reference", "a gauge says nothing about itself; compare it with another one")
	case strings.HasPrefix(check.GetReference(), "gauges/") && st.lib.set.Gauges[check.GetReference()] == nil:
		return nil, unknown("gauge", check.GetReference()).At("check.reference", "not on the register")
	case g.GetWithdrawn():
		return nil, fault.New(fault.Precondition, "GAUGE_WITHDRAWN", "%s was taken out of use; put it back on the register first", g.GetTitle())
	}
	return g, nil
}

func isNumber(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// checked is a gauge with one check more.
func checked(g *pb.Gauge, check *pb.GaugeCheck, at time.Time) *pb.Gauge {
	g, check = proto.CloneOf(g), proto.CloneOf(check)
	check.StationTime = timestamppb.New(at)
	off := math.Abs(check.GetShown() - check.GetReferenceValue())
	check.Good = off <= rules.PermissibleError(g, check.GetReferenceValue())+checkSlack
	g.Checks = append(g.Checks, check)
	g.Checks = g.Checks[max(0, len(g.Checks)-maxChecks):]
	return g
}

// isCheck tells that of two states of a gauge the second one differs by a check.
func isCheck(before, after *pb.Gauge) bool {
	if before == nil || len(after.GetChecks()) == 0 {
		return false
	}
	bare := proto.CloneOf(after)
	bare.Checks = before.GetChecks()
	return proto.Equal(before, bare) && !proto.Equal(before, after)
}
