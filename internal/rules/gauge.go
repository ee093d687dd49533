package rules

import (
	"time"

	pb "bayround/proto/bayround/v1"
)

// observeGauge says what the gauge could prove when it was used, and how far it
// may have been off.
func (c Circumstances) observeGauge(o *pb.Observation) {
	r := o.GetResult()
	if r.GetGauge() == "" {
		if gaugeUsed(o.GetStep()) {
			o.GaugeStanding = pb.GaugeStanding_GAUGE_STANDING_UNKNOWN
		}
		return
	}
	g := c.Gauges[r.GetGauge()]
	off, wrong := foundOff(g, instantOf(r))
	switch {
	case wrong:
		o.GaugeStanding, o.MayReadHighBy = pb.GaugeStanding_GAUGE_STANDING_FOUND_WRONG, off
	case r.GetGaugeOverdue(), g != nil && lapsed(g, instantOf(r)):
		o.GaugeStanding = pb.GaugeStanding_GAUGE_STANDING_OVERDUE
	case g == nil:
		o.GaugeStanding = pb.GaugeStanding_GAUGE_STANDING_UNKNOWN
	default:
		o.GaugeStanding = pb.GaugeStanding_GAUGE_STANDING_IN_DATE
	}
}

// gaugeUsed tells that a step is measured with a gauge in the hand. What is read
// off the dashboard or a stopwatch is not.
func gaugeUsed(step *pb.CheckStep) bool {
	if len(step.GetParts()) == 0 || !gaugedPart(step.GetParts()[0]) {
		return false
	}
	switch step.GetPosition() {
	case pb.Position_POSITION_OUTSIDE_KNEELING, pb.Position_POSITION_ENGINE_FLAP, pb.Position_POSITION_BATTERY_BOX:
		return true
	}
	return step.GetAxle() > 0
}

// lapsed tells that the calibration had lapsed at an instant, or that nobody
// knows when it does.
func lapsed(g *pb.Gauge, at time.Time) bool {
	return g.GetCalibrationDue() == nil || at.After(g.GetCalibrationDue().AsTime())
}

// foundOff gives by how much a gauge reads high (low when negative) by the checks
// that found it wrong round an instant: the newest before it, when nothing has
// found it good since, and the next one after it, for nobody knows since when.
// Of two the greater error counts.
func foundOff(g *pb.Gauge, at time.Time) (off float64, wrong bool) {
	var before, after *pb.GaugeCheck
	for _, check := range g.GetChecks() { // oldest first
		if !check.GetStationTime().AsTime().After(at) {
			before = check
			continue
		}
		after = check
		break
	}
	for _, check := range []*pb.GaugeCheck{before, after} {
		if check == nil || check.GetGood() {
			continue
		}
		wrong = true
		if e := check.GetShown() - check.GetReferenceValue(); isFinite(e) && abs(e) > abs(off) {
			off = e
		}
	}
	return off, wrong
}

func abs(x float64) float64 { return max(x, -x) }
