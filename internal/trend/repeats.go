package trend

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
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

// RepeatsOf is what Summarise tells of repetition, without the rest of its work. A
// resolution of 0 is taken from the readings.
func RepeatsOf(s Series, resolution float64) Repetition {
	current := s.Current()
	shown := readings(current)
	if n := len(shown); n < 2 || shown[n-1] != shown[n-2] {
		return Repeats(shown, 0) // no run, and so nothing to say of how likely it is
	}
	return Repeats(shown, stepOf(resolution, current))
}

// unrounded is the scatter of readings without what rounding to the step adds to it; 0
// when there are too few or rounding explains it all.
func unrounded(before []float64, step float64) float64 {
	if len(before) < LeastOthers || !(step > 0) {
		return 0
	}
	sigma := mean(movingRanges(before)) / rangeOfTwo
	return math.Sqrt(max(0, sigma*sigma-step*step/12))
}

const (
	// LeastHeaped is how many readings a question about last digits needs: five for
	// each digit, the usual condition of the chi-square test.
	LeastHeaped = 50
	// leastSteps is the Spread in steps of the gauge below which last digits are not
	// evenly spread anyway: readings from 7.9 to 8.2 know but four of them.
	leastSteps = 4
	digits     = 10
)

// LastDigits is how often each last digit was read.
type LastDigits struct {
	// Count of each digit.
	Count [digits]int
	// ChiSquare against all digits alike, with nine degrees of freedom.
	ChiSquare float64
	// P is the probability of digits as uneven, or more so, were all alike; 1 when there
	// are fewer than LeastHeaped readings or they lie too close together to tell.
	P float64
	// ZeroFive is the share of readings that end in 0 or 5, of the fifth that it should be:
	// 1 is usual, 5 is all of them. It is Whipple's index divided by 100; 0 when P is 1
	// for want of readings.
	ZeroFive float64
}

// Heaping asks whether readings end in some digits more than in others. Rounding to the
// nearest half is human and harmless until a limit falls in between. Readings of several
// wheels or vehicles may be put together as long as the gauges have one step.
func Heaping(shown []float64, step float64) LastDigits {
	out := LastDigits{P: 1}
	if !(step > 0) || len(shown) < LeastHeaped || !(Spread(shown) >= leastSteps*step) {
		return out
	}
	for _, v := range shown {
		out.Count[lastDigit(v, step)]++
	}
	expected := float64(len(shown)) / digits
	for _, count := range out.Count {
		off := float64(count) - expected
		out.ChiSquare += off * off / expected
	}
	out.P = distuv.ChiSquared{K: digits - 1}.Survival(out.ChiSquare)
	out.ZeroFive = float64(out.Count[0]+out.Count[5]) / (2 * expected)
	return out
}

// lastDigit of a reading counted in steps of the gauge.
func lastDigit(v, step float64) int {
	return int(math.Abs(math.Mod(math.Round(v/step), digits)))
}
