package measure

import "math"

// line is a straight line laid through points by least squares.
type line struct {
	slope      float64
	slopeError float64 // standard error of the slope; 0 without freedom
	freedom    int     // degrees of freedom: points less two
}

// fitLine lays a line through points (x, y) that are equally good, errors in y
// alone. False when there are fewer than two, all at one x, or numbers too large
// to be squared.
func fitLine(x, y []float64) (line, bool) {
	if len(x) < 2 {
		return line{}, false
	}
	xMean, yMean := mean(x), mean(y)
	sxx, sxy := 0.0, 0.0
	for i := range x {
		sxx += (x[i] - xMean) * (x[i] - xMean)
		sxy += (x[i] - xMean) * (y[i] - yMean)
	}
	if !(sxx > 0) {
		return line{}, false
	}
	l := line{slope: sxy / sxx, freedom: len(x) - 2}
	residual := 0.0
	for i := range x {
		off := y[i] - yMean - l.slope*(x[i]-xMean)
		residual += off * off
	}
	if l.freedom > 0 {
		l.slopeError = math.Sqrt(residual / float64(l.freedom) / sxx)
	}
	return l, isFinite(l.slope) && isFinite(l.slopeError)
}

func mean(values []float64) float64 {
	sum := 0.0
	for i, v := range values {
		sum += (v - sum) / float64(i+1)
	}
	return sum
}
