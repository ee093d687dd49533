package measure

import (
	"fmt"
	"math"
)

// AirSample is what the pressure gauge of an air system showed at one moment of
// a timed test. Such tests are done with the wheels chocked and by someone
// trained for them: brakes may come on or stay off while the air is low.
type AirSample struct {
	Seconds  float64 // by any clock that runs through the test
	Pressure Kilopascals
}

// AirRate is how fast pressure changed.
type AirRate struct {
	KPaPerMinute float64 // above 0 it built up, below 0 it leaked
	// StandardError of the rate by how the samples scatter round a line. It means
	// something only with at least one degree of freedom: of two samples nobody
	// can say how much they scatter.
	StandardError    float64
	DegreesOfFreedom int
}

// RateOfAir returns how fast the pressure changed over a test: by the straight
// line of least squares through three samples or more, by the two where there
// are two. Samples may come in any order. The first drop when a brake is applied
// is no leak: the samples begin after it.
func RateOfAir(samples []AirSample) (AirRate, error) {
	minutes, kpa := make([]float64, len(samples)), make([]float64, len(samples))
	for i, s := range samples {
		if err := s.check(i); err != nil {
			return AirRate{}, err
		}
		minutes[i], kpa[i] = s.Seconds/60, float64(s.Pressure)
	}
	fitted, ok := fitLine(minutes, kpa)
	if !ok {
		return AirRate{}, fmt.Errorf("%d samples at no two different times give no rate; read the gauge again a minute later", len(samples))
	}
	return AirRate{KPaPerMinute: fitted.slope, StandardError: fitted.slopeError, DegreesOfFreedom: fitted.freedom}, nil
}

// Leak returns how much pressure is lost in a minute, 0 when none is: what laws
// set a greatest value for.
func (r AirRate) Leak() float64 { return max(0, -r.KPaPerMinute) }

// greatestSample is far beyond every gauge and every test; below it no
// difference of two samples overflows.
const greatestSample = 1e15

func (s AirSample) check(index int) error {
	if !(math.Abs(s.Seconds) <= greatestSample && math.Abs(float64(s.Pressure)) <= greatestSample) {
		return fmt.Errorf("sample %d is %v kPa at %v s; both must be what a gauge and a clock can show", index+1, float64(s.Pressure), s.Seconds)
	}
	return nil
}

// SecondsToBuild returns how long the pressure took to rise from one value to
// another: from the last moment at which it still stood at from, to the first at
// which it reached to, both straight between samples. The samples come in the
// order of time, and the first shows no more than from.
func SecondsToBuild(samples []AirSample, from, to Kilopascals) (float64, error) {
	if err := inOrder(samples); err != nil {
		return 0, err
	}
	switch {
	case !(from < to):
		return 0, fmt.Errorf("nothing builds up from %v to %v kPa; the second must be the greater", float64(from), float64(to))
	case len(samples) == 0 || samples[0].Pressure > from:
		return 0, fmt.Errorf("the test does not begin at or below %v kPa; let air out and begin again", float64(from))
	}
	start := 0.0 // known before to can be reached: the first sample is at or below from
	for i, now := range samples[1:] {
		before := samples[i]
		if before.Pressure <= from && now.Pressure > from {
			start = passed(before, now, from)
		}
		if now.Pressure >= to {
			return max(0, passed(before, now, to)-start), nil
		}
	}
	return 0, fmt.Errorf("the pressure never reached %v kPa; go on until it does", float64(to))
}

func inOrder(samples []AirSample) error {
	for i, s := range samples {
		if err := s.check(i); err != nil {
			return err
		}
		if i > 0 && !(s.Seconds > samples[i-1].Seconds) {
			return fmt.Errorf("sample %d is at %v s, not after %v s; give them in the order of time", i+1, s.Seconds, samples[i-1].Seconds)
		}
	}
	return nil
}

// passed returns when, on the way from one sample up to the next, the pressure
// was at a value between the two.
func passed(before, after AirSample, at Kilopascals) float64 {
	share := float64((at - before.Pressure) / (after.Pressure - before.Pressure))
	return before.Seconds*(1-share) + after.Seconds*share
}

// WarningSample is what the gauge showed and whether the low-air warning was on.
type WarningSample struct {
	Pressure Kilopascals
	Warning  bool
}

// Bracket is two readings between which something happened. Where a limit
// guards life, the less favourable of the two counts.
type Bracket struct {
	Low, High Kilopascals
	Seen      bool // false when it did not happen in the test
}

// WarningPressures returns where the low-air warning came on and where it went
// out again, by samples in the order of the test: each between the last reading
// before and the first after, the first time it happened. A warning that is on
// from the start has not been seen coming on.
func WarningPressures(samples []WarningSample) (on, off Bracket, err error) {
	for i, s := range samples {
		if !isFinite(float64(s.Pressure)) {
			return Bracket{}, Bracket{}, fmt.Errorf("sample %d shows %v kPa; it must be a number", i+1, float64(s.Pressure))
		}
		if i == 0 || s.Warning == samples[i-1].Warning {
			continue
		}
		between := Bracket{Low: min(s.Pressure, samples[i-1].Pressure), High: max(s.Pressure, samples[i-1].Pressure), Seen: true}
		if s.Warning && !on.Seen {
			on = between
		}
		if !s.Warning && !off.Seen {
			off = between
		}
	}
	return on, off, nil
}
