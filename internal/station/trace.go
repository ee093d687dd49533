package station

import (
	"fmt"

	"bayround/internal/catalogue"
	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// settleValue works out what a value is in the unit it is kept in: of several
// readings the mean, of what was tapped, timed or watched what the trace says. It
// refuses what cannot be true; odd holds lines for what is unusual.
func settleValue(p *pb.ReadingPart, v *pb.Value, path string) (odd []string, err error) {
	if v.GetTrace() != nil {
		return settleTrace(p, v, path)
	}
	sum := 0.0
	for i, reading := range append([]float64{v.GetAsTyped()}, v.GetAgain()...) {
		typed := typedValue{part: p, value: reading, unit: v.GetUnit(), path: path}
		if i > 0 {
			typed.field = fmt.Sprintf("again[%d]", i-1)
		}
		si, unusual, err := typed.believe()
		if err != nil {
			return nil, err
		}
		v.Si, odd, sum = si, append(odd, unusual...), sum+reading
	}
	if n := len(v.GetAgain()); n > 0 { // the mean as typed, so that decimals stay decimals
		v.Si, err = measure.Convert(sum/float64(n+1), v.GetUnit(), catalogue.UnitOf(p.GetQuantity()))
	}
	return odd, err
}

// settleTrace takes the value from its trace; what the device made of it stays in
// the record as it was typed, and is believed no further.
func settleTrace(p *pb.ReadingPart, v *pb.Value, path string) (odd []string, err error) {
	if len(v.GetAgain()) > 0 {
		return nil, invalid("AGAIN_WITH_TRACE", path+".again", "%s was taken along a stretch of time; give it once", p.GetTitle())
	}
	kept := catalogue.UnitOf(p.GetQuantity())
	if _, err := measure.Convert(v.GetAsTyped(), v.GetUnit(), kept); err != nil {
		return nil, invalid("UNIT_WRONG", path+".unit", "%v", err)
	}
	value, err := ofTrace(p, v.GetTrace(), path+".trace")
	if err != nil {
		return nil, err
	}
	taken := typedValue{part: p, value: value, unit: kept, path: path, field: "trace"}
	v.Si, odd, err = taken.believe()
	return odd, err
}

// ofTrace is the value that a trace shows, in the unit of the part's quantity.
func ofTrace(p *pb.ReadingPart, t *pb.Trace, path string) (float64, error) {
	if err := checkInstants(t, path); err != nil {
		return 0, err
	}
	switch how := p.GetHow(); {
	case how == pb.ReadingHow_READING_HOW_WATCHED && p.GetQuantity() == pb.Quantity_QUANTITY_PRESSURE_RATE:
		return watched(p, t, path)
	case how != pb.ReadingHow_READING_HOW_TAPPED && how != pb.ReadingHow_READING_HOW_TIMED:
		return 0, invalid("TRACE_UNFIT", path, "%s is read off and typed; leave the trace away", p.GetTitle())
	case len(t.GetAsTyped()) > 0 || t.GetUnit() != "":
		return 0, invalid("TRACE_UNFIT", path+".as_typed", "nothing is read while %s is taken; give the instants alone", p.GetTitle())
	case how == pb.ReadingHow_READING_HOW_TIMED && p.GetQuantity() == pb.Quantity_QUANTITY_DURATION:
		return startToStop(p, t, path)
	case p.GetQuantity() != pb.Quantity_QUANTITY_FREQUENCY:
		return 0, invalid("TRACE_UNFIT", path, "%s cannot be taken along a stretch of time; type it", p.GetTitle())
	}
	rate, err := measure.TapRate(t.GetAtS())
	if err != nil {
		return 0, invalid("TRACE_UNCLEAR", path+".at_s", "%v", err)
	}
	return rate.PerMinute, nil
}

// checkInstants makes sure that instants begin with 0 and rise.
func checkInstants(t *pb.Trace, path string) error {
	before := 0.0
	for i, at := range t.GetAtS() {
		where := fmt.Sprintf("%s.at_s[%d]", path, i)
		switch {
		case !isNumber(at):
			return invalid("INSTANTS_NOT_RISING", where, "an instant must be a number of seconds")
		case i == 0 && at != 0:
			return invalid("INSTANTS_NOT_RISING", where, "instants count from the first one, which is 0")
		case i > 0 && at <= before:
			return invalid("INSTANTS_NOT_RISING", where, "each instant lies after the one before")
		}
		before = at
	}
	if len(t.GetAtS()) < 2 {
		return invalid("TRACE_UNFIT", path+".at_s", "a stretch of time has a beginning and an end; give at least two instants")
	}
	return nil
}

// startToStop is the time from a start to a stop.
func startToStop(p *pb.ReadingPart, t *pb.Trace, path string) (float64, error) {
	if len(t.GetAtS()) != 2 {
		return 0, invalid("TRACE_UNFIT", path+".at_s", "%s is timed from a start to a stop; give these two instants", p.GetTitle())
	}
	return t.GetAtS()[1], nil
}

// watched is how fast a pressure changed. A part that is never below 0 asks for a
// fall, and a rise is none; other parts are below 0 where the pressure fell.
func watched(p *pb.ReadingPart, t *pb.Trace, path string) (float64, error) {
	if len(t.GetAsTyped()) != len(t.GetAtS()) {
		return 0, invalid("TRACE_UNFIT", path+".as_typed", "there are %d instants and %d pressures; give one pressure at each instant", len(t.GetAtS()), len(t.GetAsTyped()))
	}
	samples := make([]measure.AirSample, len(t.GetAtS()))
	for i, typed := range t.GetAsTyped() {
		kpa, err := measure.Convert(typed, t.GetUnit(), catalogue.UnitOf(pb.Quantity_QUANTITY_PRESSURE))
		if err != nil {
			return 0, invalid("UNIT_WRONG", path+".unit", "%v", err)
		}
		samples[i] = measure.AirSample{Seconds: t.GetAtS()[i], Pressure: measure.Kilopascals(kpa)}
	}
	rate, err := measure.RateOfAir(samples)
	if err != nil {
		return 0, invalid("TRACE_UNCLEAR", path, "%v", err)
	}
	if p.GetPossible().GetLeast() >= 0 {
		return rate.Leak(), nil
	}
	return rate.KPaPerMinute, nil
}
