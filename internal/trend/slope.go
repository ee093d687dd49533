package trend

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

const (
	daysPerWeek = 7
	// Confidence of every interval that Summarise, PeerLoss and Predict give.
	Confidence = 0.95
)

// Slope is a straight line through points that wrong ones can hardly bend.
type Slope struct {
	// PerDay is the median of the slopes of all pairs of points.
	PerDay float64
	// Low and High are the ends of its confidence interval.
	Low, High float64
	// Intercept is the line's value at day 0: the median of value - PerDay·day.
	Intercept float64
	// Pairs of points at different times.
	Pairs int
}

// At is the line's value on a day.
func (s Slope) At(day float64) float64 { return s.Intercept + s.PerDay*day }

// TheilSen fits the line (Theil 1950; Sen, JASA 63, 1968). Up to 29 in 100 points may be
// wrong without carrying it away. The interval comes from the variance of Kendall's S
// with its correction for ties, so that readings rounded to a coarse gauge widen nothing
// they should not. It needs two points at different times, otherwise it says false. Cost n².
func TheilSen(days, values []float64, confidence float64) (Slope, bool) {
	slopes := pairSlopes(days, values)
	if len(slopes) == 0 {
		return Slope{}, false
	}
	pairs := len(slopes)
	// Half the width of the interval in ranks, as in Sen's equation 2.6.
	reach := normal.Quantile((1+confidence)/2) * math.Sqrt(kendallVariance(days, values))
	low := int(math.RoundToEven((float64(pairs)-reach)/2)) - 1
	high := int(math.RoundToEven((float64(pairs) + reach) / 2))
	low, high = max(low, 0), min(high, pairs-1)
	s := Slope{PerDay: medianOf(slopes), Pairs: pairs}
	s.Low = nth(slopes[:max(low+1, pairs/2)], low) // the median has parted the slopes
	half := min(pairs/2, high)
	s.High = nth(slopes[half:], high-half)
	s.Intercept = interceptFor(s.PerDay, days, values)
	return s, true
}

// normal is the standard normal distribution.
var normal = distuv.UnitNormal

// pairSlopes are the slopes of all pairs of points at different times.
func pairSlopes(days, values []float64) []float64 {
	slopes := make([]float64, 0, len(days)*(len(days)-1)/2)
	for i, day := range days {
		for j := range i {
			if run := day - days[j]; run != 0 {
				slopes = append(slopes, (values[i]-values[j])/run)
			}
		}
	}
	return slopes
}

// interceptFor puts a line of a given slope through the middle of the points.
func interceptFor(perDay float64, days, values []float64) float64 {
	residuals := make([]float64, len(days))
	for i, day := range days {
		residuals[i] = values[i] - perDay*day
	}
	return medianOf(residuals)
}

// Kendall is the Mann-Kendall test: do later values tend to be higher or lower?
type Kendall struct {
	// S is the number of pairs that rise less the number that fall.
	S int
	// Up, Down and Tied are those pairs, and those that do neither.
	Up, Down, Tied int
	// Variance of S were there no trend, corrected for ties.
	Variance float64
	// Z is S in standard deviations, moved one step towards zero for continuity.
	Z float64
	// P is the probability of such a trend, or a clearer one, were there none (two-sided).
	P float64
}

// MannKendall tests for a trend (Mann 1945, Kendall 1975). It asks nothing of the shape
// of the trend or of the errors but that they are independent. Points must be sorted by
// day; those of one instant are not compared. Fewer than three say P = 1. Cost n².
func MannKendall(days, values []float64) Kendall {
	k := Kendall{P: 1}
	for i, day := range days {
		for j := range i {
			if day != days[j] {
				k.Up += count(values[i] > values[j])
				k.Down += count(values[i] < values[j])
			}
		}
	}
	k.Tied = len(days)*(len(days)-1)/2 - k.Up - k.Down
	k.S = k.Up - k.Down
	k.Variance = kendallVariance(days, values)
	if k.Variance > 0 && k.S != 0 {
		step := math.Copysign(1, float64(k.S))
		k.Z = (float64(k.S) - step) / math.Sqrt(k.Variance)
		k.P = min(1, 2*normal.Survival(math.Abs(k.Z)))
	}
	return k
}

// kendallVariance is the variance of S under independence with ties in both rows
// (Kendall, Rank Correlation Methods; from memory, held to a count over all orders).
func kendallVariance(days, values []float64) float64 {
	n := float64(len(days))
	if n < 3 {
		return n * (n - 1) * (2*n + 5) / 18
	}
	x, y := countTies(days), countTies(values)
	variance := (n*(n-1)*(2*n+5) - x.five - y.five) / 18
	variance += x.pairs * y.pairs / (2 * n * (n - 1))
	variance += x.triples * y.triples / (9 * n * (n - 1) * (n - 2))
	return max(variance, 0)
}

// ties are the sums over groups of t equal numbers that the variance of S needs:
// t(t-1), t(t-1)(t-2) and t(t-1)(2t+5).
type ties struct{ pairs, triples, five float64 }

func countTies(values []float64) (sums ties) {
	sorted := slices.Clone(values)
	slices.Sort(sorted)
	for begin := 0; begin < len(sorted); {
		end := begin + 1
		for end < len(sorted) && sorted[end] == sorted[begin] {
			end++
		}
		t := float64(end - begin)
		sums.pairs += t * (t - 1)
		sums.triples += t * (t - 1) * (t - 2)
		sums.five += t * (t - 1) * (2*t + 5)
		begin = end
	}
	return sums
}
