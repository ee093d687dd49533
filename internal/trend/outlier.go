package trend

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Window is what the Hampel identifier saw around one value.
type Window struct {
	// Median of the values in the window.
	Median float64
	// Sigma is their Spread, or the floor when that is greater.
	Sigma float64
	// Outlier says that the value lies too far from the median.
	Outlier bool
}

// Hampel compares each value with the median of itself and up to half neighbours on
// each side; the window is cut short at the ends. A value farther away than so many
// sigmas is an outlier. The floor keeps a run of equal readings from making the next
// digit of the gauge an outlier. Two wrong readings in a row stand in the window's
// middle half and are believed.
func Hampel(values []float64, half int, sigmas, floor float64) []Window {
	windows := make([]Window, len(values))
	around := make([]float64, 0, 2*half+1)
	for i, v := range values {
		around = append(around[:0], values[max(i-half, 0):min(i+half+1, len(values))]...)
		centre, sigma := centreAndSpread(around)
		sigma = max(sigma, floor)
		windows[i] = Window{Median: centre, Sigma: sigma, Outlier: math.Abs(v-centre) > sigmas*sigma}
	}
	return windows
}

// GrubbsTest asks of the value farthest from the mean whether it is too far.
type GrubbsTest struct {
	// Index of that value; -1 when there is none.
	Index int
	// SD is the standard deviation of the sample.
	SD float64
	// G is its distance from the mean in standard deviations of the sample.
	G float64
	// Critical is what G exceeds with probability alpha when all belong together.
	Critical float64
	// Outlier says that G exceeds it.
	Outlier bool
}

// Grubbs is the two-sided test for one outlier (Grubbs 1950) in normal values. Fewer
// than three values, or values all equal, have none.
func Grubbs(values []float64, alpha float64) GrubbsTest {
	if len(values) < 3 {
		return GrubbsTest{Index: -1}
	}
	centre, farthest := mean(values), 0
	for i, v := range values {
		if math.Abs(v-centre) > math.Abs(values[farthest]-centre) {
			farthest = i
		}
	}
	size := math.Abs(values[farthest] - centre)
	if size == 0 {
		return GrubbsTest{Index: -1}
	}
	squares := 0.0 // in units of the farthest, so that none is lost for being small
	for _, v := range values {
		squares += (v - centre) / size * ((v - centre) / size)
	}
	sd := math.Sqrt(squares / float64(len(values)-1))
	g := GrubbsTest{Index: farthest, SD: sd * size, G: 1 / sd}
	g.Critical = GrubbsCritical(len(values), alpha/2)
	g.Outlier = g.G > g.Critical
	return g
}

// GrubbsCritical is the value that the greatest (or the least) of n normal values
// exceeds in standard deviations from the mean with probability alpha; n from 3.
func GrubbsCritical(n int, alpha float64) float64 {
	count := float64(n)
	t := distuv.StudentsT{Sigma: 1, Nu: count - 2}.Quantile(1 - alpha/count)
	return (count - 1) / math.Sqrt(count) * math.Sqrt(t*t/(count-2+t*t))
}

const (
	// ignoreHalf and ignoreSigmas are Summarise's settings of Hampel. Three neighbours
	// on each side are the usual choice; four sigmas and not three, because what is
	// left out is told to people and should be rare.
	ignoreHalf   = 3
	ignoreSigmas = 4
)

// ignored says which values cannot belong to the rest. Neighbours scatter more than
// seven readings on a coarse grid show, so the scatter of the whole series is the floor.
// A value that the one before or after agrees with is believed: a drop is ignored until the
// next reading confirms it. It is judged by itself elsewhere, and a trend has time.
func ignored(values []float64, step float64) []bool {
	out := make([]bool, len(values))
	if len(values) < LeastPoints {
		return out
	}
	for i, w := range Hampel(values, ignoreHalf, ignoreSigmas, max(scatter(values), step/2)) {
		out[i] = w.Outlier && !confirmed(values, i, math.Abs(values[i]-w.Median)/2)
	}
	return out
}

// confirmed says whether a neighbour of a value lies within reach of it.
func confirmed(values []float64, i int, reach float64) bool {
	before := i > 0 && math.Abs(values[i-1]-values[i]) < reach
	after := i+1 < len(values) && math.Abs(values[i+1]-values[i]) < reach
	return before || after
}

// scatter is the standard deviation of one reading, from the differences of neighbours:
// a slow trend hardly enters it.
func scatter(values []float64) float64 {
	if len(values) < 2 {
		return 0
	}
	steps := make([]float64, len(values)-1)
	for i := range steps {
		steps[i] = values[i+1] - values[i]
	}
	_, sigma := centreAndSpread(steps)
	return sigma / math.Sqrt2
}

// smallestStep is the smallest difference between values that are not the same: the
// digit of the gauge, when nobody has said what that is. 0 when all are the same.
func smallestStep(values []float64) float64 {
	sorted := slices.Clone(values)
	slices.Sort(sorted)
	least := math.Inf(1)
	for i := 1; i < len(sorted); i++ {
		gap := sorted[i] - sorted[i-1]
		// What differs in the fifteenth digit differs by arithmetic, not by reading.
		if gap > 1e-9*max(1, math.Abs(sorted[i])) {
			least = min(least, gap)
		}
	}
	if math.IsInf(least, 1) {
		return 0
	}
	return least
}
