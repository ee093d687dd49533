package measure

import (
	"fmt"
	"math"
	"slices"
)

// How a person taps along with a lamp, and what can still be mended (common
// practice: a hand keeps time to a twentieth of a cycle or so).
const (
	leastTaps = 8
	// tapTolerance is how far, as a share of a cycle, the time between two taps
	// may lie from a whole number of cycles.
	tapTolerance = 0.3
	// mostSkipped is how many taps may be missed between two.
	mostSkipped = 2
	// mostMended is the greatest share of cycles whose tap was missed: where more
	// are, the middle of all intervals may itself be two cycles.
	mostMended = 0.25
	// flashConfidence is that of the interval round a rate.
	flashConfidence = 0.95
)

// FlashRate is how often a lamp flashes, as tapped by a person.
type FlashRate struct {
	PerMinute float64
	// Low and High enclose the true rate with 95 % confidence, by how the taps
	// scatter (Student's distribution).
	Low, High float64
	// Mended is how many taps were missed, plus one when one was too many.
	Mended int
}

// TapRate returns the rate of a lamp from the instants, in seconds by any clock,
// at which someone tapped along with it: at least eight, in the order tapped. A
// missed tap, up to two in a row, and one tap too many are mended and counted.
// The error says what was wrong with the taps and what to do; what is too
// irregular is refused, for nobody can tell a faltering hand from a faltering
// lamp.
func TapRate(taps []float64) (FlashRate, error) {
	if err := checkTaps(taps); err != nil {
		return FlashRate{}, err
	}
	best, regular := regularRate(taps)
	if regular {
		return best, nil
	}
	// The shortest interval has the tap too many at one of its ends.
	for _, extra := range [2]int{shortest(taps), shortest(taps) + 1} {
		rate, fits := regularRate(slices.Delete(slices.Clone(taps), extra, extra+1))
		if fits && (!regular || rate.High-rate.Low < best.High-best.Low) {
			best, regular = rate, true
			best.Mended++
		}
	}
	if !regular {
		return FlashRate{}, fmt.Errorf("the %d taps are too irregular for a rate; tap along once more, once for each flash", len(taps))
	}
	return best, nil
}

func checkTaps(taps []float64) error {
	if len(taps) < leastTaps {
		return fmt.Errorf("%d taps are too few for a rate; tap along with at least %d flashes", len(taps), leastTaps)
	}
	for i, at := range taps {
		switch {
		case !isFinite(at):
			return fmt.Errorf("tap %d was at %v s, which is no time", i+1, at)
		case i > 0 && at < taps[i-1]:
			return fmt.Errorf("tap %d was at %v s, before tap %d at %v s; give them in the order tapped", i+1, at, i, taps[i-1])
		}
	}
	return nil
}

// regularRate returns the rate when every interval is close to a whole number
// of cycles. The cycle is the slope of a line laid through the taps, counted in
// cycles: each tap is off by a little on its own, and early and late taps do not
// add up as they would in a mean of intervals.
func regularRate(taps []float64) (FlashRate, bool) {
	counts, ok := cycleCounts(taps)
	if !ok {
		return FlashRate{}, false
	}
	fitted, ok := fitLine(counts, taps)
	half := Student(flashConfidence, float64(fitted.freedom)) * fitted.slopeError
	if !ok || !(fitted.slope > half) {
		return FlashRate{}, false
	}
	cycles := counts[len(counts)-1]
	missed := int(cycles) - (len(taps) - 1)
	if float64(missed) > mostMended*cycles {
		return FlashRate{}, false
	}
	rate := FlashRate{
		PerMinute: 60 / fitted.slope,
		Low:       60 / (fitted.slope + half),
		High:      60 / (fitted.slope - half),
		Mended:    missed,
	}
	return rate, isFinite(rate.High)
}

// cycleCounts numbers the taps by the cycles since the first; false when an
// interval fits no whole number of cycles.
func cycleCounts(taps []float64) ([]float64, bool) {
	intervals := make([]float64, len(taps)-1)
	for i := range intervals {
		intervals[i] = taps[i+1] - taps[i]
	}
	cycle := median(slices.Clone(intervals))
	counts := make([]float64, len(taps))
	for i, interval := range intervals {
		whole := math.Round(interval / cycle)
		if !(whole >= 1 && whole <= 1+mostSkipped && math.Abs(interval-whole*cycle) <= tapTolerance*cycle) {
			return nil, false
		}
		counts[i+1] = counts[i] + whole
	}
	return counts, true
}

// shortest returns the index of the tap that begins the shortest interval.
func shortest(taps []float64) int {
	at := 0
	for i := 1; i+1 < len(taps); i++ {
		if taps[i+1]-taps[i] < taps[at+1]-taps[at] {
			at = i
		}
	}
	return at
}

// FlashCycle is one cycle of a lamp, timed by an instrument.
type FlashCycle struct {
	OnSeconds, OffSeconds float64
}

// RateOfCycles returns the flashes per minute of timed cycles as the authority
// averages them: the mean of the rates of the single cycles (NHTSA
// interpretation of 14 November 2002), not the rate of the mean cycle. The two
// differ where cycles do: two short cycles and a long one can be above a limit
// by the one and below it by the other.
func RateOfCycles(cycles []FlashCycle) (float64, error) {
	if len(cycles) == 0 {
		return 0, fmt.Errorf("no cycle was timed; time at least one")
	}
	rates := make([]float64, len(cycles))
	for i, c := range cycles {
		rates[i] = 60 / (c.OnSeconds + c.OffSeconds)
		if !(c.OnSeconds > 0 && c.OffSeconds > 0) || !isFinite(rates[i]) || rates[i] == 0 {
			return 0, fmt.Errorf("cycle %d is on for %v s and off for %v s; both are times above 0", i+1, c.OnSeconds, c.OffSeconds)
		}
	}
	return mean(rates), nil
}
