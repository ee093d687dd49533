package rules

import (
	"math"

	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

const (
	// handTimingS is how far a hand is off when it starts or stops a timer, plus or
	// minus (common practice).
	handTimingS = 0.2
	// dashStepKPa is the step to which a gauge on the dashboard is read, a tenth of
	// a bar (common practice), where no gauge of the register was named.
	dashStepKPa = 10
	// normalCoverage is the half breadth of a 95 % interval in standard uncertainties.
	normalCoverage = 1.959964
)

// tracedWorth gives the standard uncertainty of a value that was tapped, timed or
// watched; false when it was not, or its trace tells nothing.
func tracedWorth(g *pb.Gauge, p *pb.ReadingPart, trace *pb.Trace) (float64, bool) {
	if trace == nil {
		return 0, false
	}
	switch p.GetHow() {
	case pb.ReadingHow_READING_HOW_TAPPED:
		rate, err := measure.TapRate(trace.GetAtS())
		return (rate.High - rate.Low) / 2 / normalCoverage, err == nil
	case pb.ReadingHow_READING_HOW_TIMED:
		return math.Hypot(handTimingS, handTimingS) / math.Sqrt(3), true
	case pb.ReadingHow_READING_HOW_WATCHED:
		return watchedWorth(g, trace)
	}
	return 0, false
}

// watchedWorth is that of a rate, in kPa a minute: how the pressures scatter round
// their line, or how well the first and the last of them can be read, whichever is more.
func watchedWorth(g *pb.Gauge, trace *pb.Trace) (float64, bool) {
	n := len(trace.GetAtS())
	if n < 2 || len(trace.GetAsTyped()) != n {
		return 0, false
	}
	samples := make([]measure.AirSample, n)
	for i, typed := range trace.GetAsTyped() {
		kpa, err := measure.Convert(typed, trace.GetUnit(), "kPa")
		if err != nil {
			return 0, false
		}
		samples[i] = measure.AirSample{Seconds: trace.GetAtS()[i], Pressure: measure.Kilopascals(kpa)}
	}
	rate, err := measure.RateOfAir(samples)
	minutes := (trace.GetAtS()[n-1] - trace.GetAtS()[0]) / 60
	if err != nil || minutes <= 0 {
		return 0, false
	}
	// A gauge's own error is the same in both and drops out of their difference.
	step := float64(dashStepKPa)
	if g.GetQuantity() == pb.Quantity_QUANTITY_PRESSURE {
		step = g.GetResolution()
	}
	u := measure.StandardUncertainty(0, step) * math.Sqrt2 / minutes
	if rate.DegreesOfFreedom > 0 {
		u = max(u, rate.StandardError)
	}
	return u, isFinite(u)
}
