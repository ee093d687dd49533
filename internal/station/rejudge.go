package station

import (
	"context"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// RejudgeGauge tells which verdicts would have been others had a gauge read true
// since the last good check before it was first found wrong. Each reading is
// corrected by the error that rules reckon with at its time: by that of the checks
// before and after it, and between two good checks not at all.
func (s *Station) RejudgeGauge(ctx context.Context, req *pb.RejudgeGaugeRequest, send func(*pb.RejudgeGaugeResponse) error) error {
	g := s.current.Load().lib.set.Gauges[req.GetGauge()]
	if g == nil {
		return unknown("gauge", req.GetGauge()).At("gauge", "not on the register")
	}
	good, wrong := doubted(g)
	if !wrong {
		return fault.New(fault.Precondition, "GAUGE_NEVER_WRONG", "no check has found %s wrong; there is nothing to judge anew", g.GetTitle())
	}
	leave, err := s.turn(ctx)
	if err != nil {
		return err
	}
	defer leave()
	from := int64(0)
	if !good.IsZero() {
		if from, err = s.sequenceAt(ctx, good); err != nil {
			return err
		}
	}
	r, err := s.newRehearsal(ctx, from, func(d *draft) {
		if then := d.set.Gauges[g.GetName()]; then != nil {
			d.set.Gauges[g.GetName()] = trusted(then)
		}
	})
	if err != nil {
		return err
	}
	r.read = func(step *pb.CheckStep, res *pb.Result) *pb.Result { return corrected(g, step, res) }
	done, err := r.run(ctx, func(change *pb.VerdictChange) error {
		return send(&pb.RejudgeGaugeResponse{Message: &pb.RejudgeGaugeResponse_Change{Change: change}})
	})
	if err != nil {
		return err
	}
	return send(&pb.RejudgeGaugeResponse{Message: &pb.RejudgeGaugeResponse_Done{Done: done}})
}

// doubted is when a gauge was last found good before it was first found wrong, zero
// when it never was; false when nothing has found it wrong.
func doubted(g *pb.Gauge) (good time.Time, wrong bool) {
	for _, check := range g.GetChecks() { // oldest first
		if !check.GetGood() {
			return good, true
		}
		good = check.GetStationTime().AsTime()
	}
	return time.Time{}, false
}

// trusted is a gauge of which nothing bad is known.
func trusted(g *pb.Gauge) *pb.Gauge {
	bad := func(c *pb.GaugeCheck) bool { return !c.GetGood() }
	if !slices.ContainsFunc(g.GetChecks(), bad) {
		return g
	}
	g = proto.CloneOf(g)
	g.Checks = slices.DeleteFunc(g.Checks, bad)
	return g
}

// corrected is a result as it would have been read with a true gauge; the same one
// when the gauge was not used, or nothing is known against it at that time.
func corrected(g *pb.Gauge, step *pb.CheckStep, res *pb.Result) *pb.Result {
	if res.GetGauge() != g.GetName() {
		return res
	}
	register := rules.Circumstances{Gauges: map[string]*pb.Gauge{g.GetName(): g}}
	off := register.Observe(step, res).GetMayReadHighBy()
	if off == 0 {
		return res
	}
	res = proto.CloneOf(res)
	for _, value := range res.GetReading().GetValues() {
		if p := partOf(step, value.GetPart()); p.GetQuantity() == g.GetQuantity() {
			value.Si = max(value.GetSi()-off, p.GetPossible().GetLeast())
		}
	}
	if g.GetQuantity() != pb.Quantity_QUANTITY_LENGTH {
		return res
	}
	for _, section := range res.GetProfile().GetSections() {
		for _, point := range section.GetPoints() {
			point.DepthMm = max(0, point.GetDepthMm()-off)
		}
	}
	return res
}
