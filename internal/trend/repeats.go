package trend

import (
	"math"

	"gonum.org/v1/gonum/stat"
)

// LeastOthers is how many readings before a run must show what the scatter is.
const LeastOthers = 8

// Repetition is how often the newest reading has been read in a row. It is a number, not
// a suspicion: a good gauge on a sound tyre repeats itself, too.
type Repetition struct {
	// InARow is the number of readings equal to the newest, with it; 0 for no reading.
	InARow int
	// P is about the greatest probability that a run as long comes about by itself; 1
	// when nothing can be said.
	P float64
}

// Repeats looks at the run of equal readings that ends with the newest. Each reading after
// the first falls on the same step of the gauge with a probability that is greatest
// when the truth lies in the step's middle, so the run's is a power of that (geometric).
// The scatter is that of the readings before the run: those in it may be copies.
func Repeats(shown []float64, step float64) Repetition {
	n := len(shown)
	if n == 0 {
		return Repetition{P: 1}
	}
	run := 1
	for run < n && shown[n-1-run] == shown[n-1] {
		run++
	}
	r := Repetition{InARow: run, P: 1}
	if noise := unrounded(shown[:n-run], step); noise > 0 {
		same := math.Erf(step / (2 * math.Sqrt2 * noise))
		r.P = math.Pow(same, float64(run-1))
	}
	return r
}

// unrounded is the scatter of readings without what rounding to the step adds to it; 0
// when there are too few or rounding explains it all.
func unrounded(before []float64, step float64) float64 {
	if len(before) < LeastOthers || !(step > 0) {
		return 0
	}
	sigma := stat.Mean(movingRanges(before), nil) / rangeOfTwo
	return math.Sqrt(max(0, sigma*sigma-step*step/12))
}

// rangeOfTwo is the expected range of two standard normal values, 2/√π: the constant d2
// of control charts for n = 2, which tables print as 1.128.
const rangeOfTwo = 2 / math.SqrtPi

// movingRanges are the sizes of the differences between neighbours.
func movingRanges(values []float64) []float64 {
	ranges := make([]float64, max(len(values)-1, 0))
	for i := range ranges {
		ranges[i] = math.Abs(values[i+1] - values[i])
	}
	return ranges
}
