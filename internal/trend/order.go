package trend

import (
	"math"
	"slices"
)

// Median of values, the mean of the middle two when their number is even; 0 for none.
func Median(values []float64) float64 { return medianOf(slices.Clone(values)) }

// medianOf is the Median of values, whose order it changes.
func medianOf(values []float64) float64 {
	n := len(values)
	if n == 0 {
		return 0
	}
	upper := nth(values, n/2)
	if n%2 == 1 {
		return upper
	}
	return (slices.Max(values[:n/2]) + upper) / 2
}

// few is how many values are sorted rather than searched.
const few = 24

// nth puts the k-th smallest value, counted from 0, where it would stand in sorted values,
// none greater before it and none smaller after it, and returns it. It is Hoare's
// selection with partitions that do not branch on what they compare: slopes of rounded
// readings come in no order, and a branch guessed wrongly costs more than a move. Cost n
// on average.
func nth(values []float64, k int) float64 {
	for begin, end := 0, len(values); ; {
		part := values[begin:end]
		if len(part) <= few {
			slices.Sort(part)
			return values[k]
		}
		pivot := pivotOf(part)
		smaller := begin + partition(part, func(v float64) bool { return v < pivot })
		if k < smaller {
			end = smaller
			continue
		}
		same := smaller + partition(values[smaller:end], func(v float64) bool { return v <= pivot })
		if k < same {
			return pivot // readings rounded to a step have many equal slopes
		}
		begin = same
	}
}

// partition moves what is chosen to the front and returns how much that is.
func partition(values []float64, chosen func(float64) bool) int {
	front := 0
	for i, v := range values {
		values[i] = values[front]
		values[front] = v
		front += count(chosen(v))
	}
	return front
}

// count is 1 for true; the compiler makes no branch of it.
func count(b bool) int {
	n := 0
	if b {
		n = 1
	}
	return n
}

// pivotOf is the median of nine values spread over the part.
func pivotOf(part []float64) float64 {
	var sample [9]float64
	for i := range sample {
		sample[i] = part[(len(part)-1)*i/(len(sample)-1)]
	}
	slices.Sort(sample[:])
	return sample[len(sample)/2]
}

// madScale makes a median absolute deviation a standard deviation for normal errors:
// 1/Φ⁻¹(3/4).
const madScale = 1.482602218505602

// Spread is a standard deviation that wrong readings cannot bend: the median absolute
// deviation from the median, scaled for normal errors.
func Spread(values []float64) float64 {
	_, sigma := centreAndSpread(slices.Clone(values))
	return sigma
}

// centreAndSpread is the median and the Spread of values, which it destroys.
func centreAndSpread(values []float64) (centre, sigma float64) {
	centre = medianOf(values)
	for i, v := range values {
		values[i] = math.Abs(v - centre)
	}
	return centre, madScale * medianOf(values)
}
