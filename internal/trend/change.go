package trend

import "math"

// ChangeTest is Pettitt's test for one change of level.
type ChangeTest struct {
	// After is how many values come before the change.
	After int
	// K is the statistic: the greatest size of U.
	K int
	// P is about the probability of such a change were there none.
	P float64
}

// Pettitt finds where values before most differ from those after by rank (Pettitt 1979). It
// asks nothing of the distribution, and wrong readings count like any other. Cost n².
func Pettitt(values []float64) ChangeTest {
	n := float64(len(values))
	out := ChangeTest{P: 1}
	u := 0
	for k, v := range values {
		for _, other := range values {
			switch { // those on v's own side of the change cancel in the sum
			case v > other:
				u++
			case v < other:
				u--
			}
		}
		if size := max(u, -u); size > out.K {
			out.K, out.After = size, k+1
		}
	}
	if out.K > 0 {
		k := float64(out.K)
		out.P = math.Min(1, 2*math.Exp(-6*k*k/(n*n*n+n*n)))
	}
	return out
}

// Split is a series cut in two.
type Split struct {
	// After is how many values come before the cut; 0 when there are too few to cut.
	After int
	// MeanBefore and MeanAfter are the means of the two parts.
	MeanBefore, MeanAfter float64
	// SumSquares about them.
	SumSquares float64
}

// Break cuts values where two means fit them best, with at least so many on each side.
func Break(values []float64, least int) Split {
	n := len(values)
	least = max(least, 1)
	whole := mean(values) // taken out so that squares stay small
	total, squares := 0.0, 0.0
	for _, v := range values {
		total += v - whole
		squares += (v - whole) * (v - whole)
	}
	best := Split{SumSquares: math.Inf(1)}
	sum := 0.0
	for after := 1; after < n; after++ {
		sum += values[after-1] - whole
		if after < least || n-after < least {
			continue
		}
		left, right := sum/float64(after), (total-sum)/float64(n-after)
		rest := squares - left*sum - right*(total-sum)
		if rest < best.SumSquares {
			best = Split{After: after, MeanBefore: whole + left, MeanAfter: whole + right, SumSquares: rest}
		}
	}
	if best.After == 0 {
		return Split{}
	}
	return best
}
