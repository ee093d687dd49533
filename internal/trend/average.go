package trend

import "math"

// EWMA is the chart of exponentially weighted moving averages (Roberts 1959): each average
// is Lambda times the value and the rest of the average before.
type EWMA struct {
	// Target is what values should be, and the average before the first.
	Target float64
	// Sigma is the standard deviation of one value.
	Sigma float64
	// Lambda from above 0 to 1: the smaller, the longer the memory.
	Lambda float64
	// L is how many standard deviations of the average the limits lie from Target.
	L float64
}

// RecommendedEWMA is the chart for Scores at the settings that DESIGN.md tells the false
// alarms of.
func RecommendedEWMA() EWMA { return EWMA{Sigma: 1, Lambda: 0.2, L: 3} }

// Averages is an EWMA carried out.
type Averages struct {
	// Values are the averages after each value.
	Values []float64
	// First is the first signal by the exact limits, nil for none.
	First *Signal
}

// Reach is how far the exact limits lie from Target at the n-th value, counted from 1.
// They start narrow, because the average starts at Target and cannot have moved yet.
func (e EWMA) Reach(n int) float64 {
	return e.SteadyReach() * math.Sqrt(1-math.Pow(1-e.Lambda, 2*float64(n)))
}

// SteadyReach is what Reach tends to.
func (e EWMA) SteadyReach() float64 {
	return e.L * e.Sigma * math.Sqrt(e.Lambda/(2-e.Lambda))
}

// Run averages values in their order.
func (e EWMA) Run(values []float64) Averages {
	out := Averages{Values: make([]float64, len(values))}
	average, onset := e.Target, 0
	for i, v := range values {
		before := average
		average = e.Lambda*v + (1-e.Lambda)*average
		out.Values[i] = average
		if (before-e.Target)*(average-e.Target) <= 0 {
			onset = i // it has crossed the target, or stood on it
		}
		if out.First == nil && math.Abs(average-e.Target) > e.Reach(i+1) {
			out.First = &Signal{At: i, Onset: onset, Up: average > e.Target}
		}
	}
	return out
}

// Individuals is Shewhart's chart of single values.
type Individuals struct {
	// Centre is the mean.
	Centre float64
	// MeanRange is the mean of the moving ranges of neighbours.
	MeanRange float64
	// Upper and Lower limits lie three standard deviations from the centre.
	Upper, Lower float64
	// Out are the indices of the values beyond them.
	Out []int
}

// rangeOfTwo is the expected range of two standard normal values, the constant d2 of
// control charts for n = 2, with the digits that tables give.
const rangeOfTwo = 1.128

// FitIndividuals makes the chart. The standard deviation comes from neighbours, so that a
// slow drift does not widen the limits that should show it.
func FitIndividuals(values []float64) Individuals {
	if len(values) < 2 {
		return Individuals{}
	}
	c := Individuals{Centre: mean(values), MeanRange: mean(movingRanges(values))}
	reach := 3 * c.MeanRange / rangeOfTwo
	c.Upper, c.Lower = c.Centre+reach, c.Centre-reach
	for i, v := range values {
		if v > c.Upper || v < c.Lower {
			c.Out = append(c.Out, i)
		}
	}
	return c
}

// movingRanges are the sizes of the differences between neighbours.
func movingRanges(values []float64) []float64 {
	ranges := make([]float64, max(len(values)-1, 0))
	for i := range ranges {
		ranges[i] = math.Abs(values[i+1] - values[i])
	}
	return ranges
}
