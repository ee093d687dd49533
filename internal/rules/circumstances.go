package rules

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// Circumstances are what, beside step and result, decides what a reading is
// worth. The zero value knows nothing: a reading stands as it was read, and
// nobody can say how well. They must not be changed while they are used.
type Circumstances struct {
	// Station has the altitude and the reference temperature; nil when not
	// known, and then no pressure is normalised.
	Station *pb.Station
	// Gauges is the register, by name.
	Gauges map[string]*pb.Gauge
	// Series is what was measured at the step before; nil when nothing was.
	Series *pb.Series
}

// Observe makes what rules see of a step's result when nothing else is known.
func Observe(step *pb.CheckStep, r *pb.Result) *pb.Observation {
	return Circumstances{}.Observe(step, r)
}

// Observe makes what rules see of a step's result, or nil when nobody looked.
// Values must be in the units of their quantities already. No number in it is
// ever NaN or infinite: what is, counts as not given. Conditions the step does
// not know are left out; that the answer no longer fits is for the verdict to say.
func (c Circumstances) Observe(step *pb.CheckStep, r *pb.Result) *pb.Observation {
	if r.GetAnswer() == nil || r.GetNotChecked() != nil {
		return nil
	}
	o := &pb.Observation{Step: step, Result: r, Series: c.Series}
	if step.Target != nil && isFinite(step.GetTarget()) {
		o.HasTarget, o.Target = true, step.GetTarget()
	}
	switch answer := r.GetAnswer().(type) {
	case *pb.Result_Reading:
		observeReading(o, answer.Reading)
	case *pb.Result_Profile:
		observeProfile(o, answer.Profile)
	case *pb.Result_Level:
		observeLevel(o, answer.Level)
	case *pb.Result_Seen:
		observeConditions(o, answer.Seen.GetConditions())
	}
	if r.GetSeen() == nil && statesConditions(o) {
		observeConditions(o, r.GetAlsoSeen())
	}
	c.observeGauge(o)
	c.observeWorth(o)
	c.normalise(o)
	c.observeShape(o)
	observeLitres(o)
	return o
}

// Point is what joins the series of a step when r is recorded; nil when nothing
// was measured. What was put in, repairs and the odometer are for the caller to add.
func Point(step *pb.CheckStep, r *pb.Result) *pb.SeriesPoint {
	o := Observe(step, r)
	value, measured := pointValue(o)
	if !measured {
		return nil
	}
	return pointOf(r, value)
}

func pointOf(r *pb.Result, value float64) *pb.SeriesPoint {
	p := &pb.SeriesPoint{LookedAt: lookedAtOf(r), Value: value, Gauge: r.GetGauge()}
	if r.AirCelsius != nil && isFinite(r.GetAirCelsius()) {
		air := r.GetAirCelsius()
		p.AirCelsius = &air
	}
	return p
}

// pointValue is the number that a series follows: the first value as it was
// read, the best band of a profile, or a level as a share between its marks.
func pointValue(o *pb.Observation) (float64, bool) {
	switch {
	case o.GetHasValue():
		return o.GetAsRead(), true
	case o.GetHasTread():
		return o.GetTreadBandMm(), true
	case o.GetHasLevel():
		return min(max(o.GetLevel(), 0), 1), true
	}
	return 0, false
}

// lookedAtOf is when somebody looked, in the station's time; by the device's
// clock when the station has not set it yet.
func lookedAtOf(r *pb.Result) *timestamppb.Timestamp {
	if t := r.GetLookedAt(); t != nil {
		return t
	}
	return timeOf(r)
}

func instantOf(r *pb.Result) time.Time { return lookedAtOf(r).AsTime() }
