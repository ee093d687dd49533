package trend

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Line is a straight line by least squares with what its numbers are worth. It is bent by
// a single wrong reading; TheilSen is not.
type Line struct {
	// Slope and Intercept of the line.
	Slope, Intercept float64
	// SlopeError and InterceptError are their standard errors.
	SlopeError, InterceptError float64
	// Covariance of the two.
	Covariance float64
	// ResidualSD is the standard deviation about the line.
	ResidualSD float64
	// SumResiduals and SumRegression are the sums of squares about the line and of the
	// line about the mean.
	SumResiduals, SumRegression float64
	// Freedoms are the degrees of freedom of ResidualSD: n - 2.
	Freedoms int

	meanX, sumXX float64
	meanY        float64
	n            float64
}

// FitLine fits y = Intercept + Slope·x. It needs three points and two different x,
// otherwise it says false. Sums are taken about the means, which keeps the digits that
// the usual formula loses when x or y are large and close together.
func FitLine(x, y []float64) (Line, bool) {
	l := Line{n: float64(len(x)), Freedoms: len(x) - 2}
	if l.Freedoms < 1 {
		return Line{}, false
	}
	l.meanX, l.meanY = mean(x), mean(y)
	var sumXY float64
	for i := range x {
		dx := x[i] - l.meanX
		l.sumXX += dx * dx
		sumXY += dx * (y[i] - l.meanY)
	}
	if l.sumXX == 0 {
		return Line{}, false
	}
	l.Slope = sumXY / l.sumXX
	l.Intercept = l.meanY - l.Slope*l.meanX
	for i := range x {
		fitted := l.Slope * (x[i] - l.meanX)
		off := y[i] - l.meanY - fitted
		l.SumResiduals += off * off
		l.SumRegression += fitted * fitted
	}
	variance := l.SumResiduals / float64(l.Freedoms)
	l.ResidualSD = math.Sqrt(variance)
	l.SlopeError = math.Sqrt(variance / l.sumXX)
	l.InterceptError = math.Sqrt(variance * (1/l.n + l.meanX*l.meanX/l.sumXX))
	l.Covariance = -variance * l.meanX / l.sumXX
	return l, true
}

// mean in two passes: the second takes back what the first lost in rounding.
func mean(values []float64) float64 {
	n := float64(len(values))
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	first := sum / n
	rest := 0.0
	for _, v := range values {
		rest += v - first
	}
	return first + rest/n
}

// At is the line's value at x.
func (l Line) At(x float64) float64 { return l.meanY + l.Slope*(x-l.meanX) }

// ErrorAt is the standard error of the line at x.
func (l Line) ErrorAt(x float64) float64 {
	off := x - l.meanX
	return l.ResidualSD * math.Sqrt(1/l.n+off*off/l.sumXX)
}

// Interval is where the line lies at x, with a confidence such as 0.95.
func (l Line) Interval(x, confidence float64) (low, high float64) {
	reach := l.quantile(confidence) * l.ErrorAt(x)
	return l.At(x) - reach, l.At(x) + reach
}

// PredictionInterval is where one more reading at x will lie.
func (l Line) PredictionInterval(x, confidence float64) (low, high float64) {
	reach := l.quantile(confidence) * math.Hypot(l.ResidualSD, l.ErrorAt(x))
	return l.At(x) - reach, l.At(x) + reach
}

// quantile is how many standard errors a two-sided interval reaches.
func (l Line) quantile(confidence float64) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: float64(l.Freedoms)}.Quantile((1 + confidence) / 2)
}

// RSquared is the share of the scatter that the line explains; 1 when there is none.
func (l Line) RSquared() float64 {
	total := l.SumRegression + l.SumResiduals
	if total == 0 {
		return 1
	}
	return l.SumRegression / total
}

// F is the statistic of the test that the slope is nothing.
func (l Line) F() float64 { return l.SumRegression / (l.SumResiduals / float64(l.Freedoms)) }
