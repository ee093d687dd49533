package measure

import "math"

// CoverageFactor is the k of an expanded uncertainty U = k·u: about 95 % of
// true values lie within ±U of the reading (GUM 6.2.1, 6.3.3).
const CoverageFactor = 2

// ditherShare is the scatter of repeated readings, in steps of the display,
// from which on their rounding errors are as good as independent: what is left
// of rounding in the mean of many readings is then below 0.0025 of a step, the
// first harmonic (1/π)·exp(-2π²·0.5²) of the error of rounding.
const ditherShare = 0.5

// StandardUncertainty returns the standard uncertainty of one reading of an
// instrument, in the unit of its arguments:
//
//	u = √((a/√3)² + (d/√12)² + s² + …)
//
// a is the maximum permissible error, plus or minus, of which nothing else is
// known (rectangular, GUM 4.3.7); d is the smallest step shown (GUM F.2.2.1); s
// is the standard deviation of repeated readings, and further independent
// standard uncertainties may follow. What is negative or no number makes the
// uncertainty infinite: nothing is known then, and nothing may be decided.
func StandardUncertainty(maxPermissibleError, resolution float64, repeatability ...float64) float64 {
	u := quadrature(maxPermissibleError/math.Sqrt(3), resolution/math.Sqrt(12))
	for _, s := range repeatability {
		u = quadrature(u, s)
	}
	return u
}

// MeanUncertainty returns the standard uncertainty of the mean of so many
// readings taken anew with one instrument. What scatters by chance falls with
// the root of their number; the instrument's own error is the same in each and
// does not fall, however often one looks.
//
// Rounding falls only where the readings scatter by half a step or more: on a
// steadier value the display rounds the same way each time. Fewer than one
// reading is an infinite uncertainty.
func MeanUncertainty(readings int, maxPermissibleError, resolution, repeatability float64) float64 {
	if readings < 1 {
		return math.Inf(1)
	}
	root := math.Sqrt(float64(readings))
	rounding := resolution / math.Sqrt(12)
	if repeatability >= ditherShare*resolution {
		rounding /= root
	}
	return quadrature(maxPermissibleError/math.Sqrt(3), rounding, repeatability/root)
}

// Expanded returns the expanded uncertainty U = 2u.
func Expanded(standardUncertainty float64) float64 {
	return CoverageFactor * quadrature(standardUncertainty)
}

// Component is one contribution to a standard uncertainty, already multiplied
// by its sensitivity, and how well it is known.
type Component struct {
	StandardUncertainty float64
	DegreesOfFreedom    float64 // infinite for what is given, not estimated
}

// Combine adds independent contributions: the standard uncertainty is the root
// of the sum of squares (GUM 5.1.2), its degrees of freedom are those of
// Welch and Satterthwaite (GUM G.4.1). A contribution without a positive number
// of degrees of freedom is not known at all and makes the sum infinite.
func Combine(components ...Component) Component {
	sum := Component{DegreesOfFreedom: math.Inf(1)}
	for _, c := range components {
		if !(c.DegreesOfFreedom > 0) {
			return Component{StandardUncertainty: math.Inf(1), DegreesOfFreedom: 0}
		}
		sum.StandardUncertainty = quadrature(sum.StandardUncertainty, c.StandardUncertainty)
	}
	if sum.StandardUncertainty == 0 || math.IsInf(sum.StandardUncertainty, 1) {
		return sum
	}
	weights := 0.0
	for _, c := range components {
		// As a share of the sum, so that the fourth power neither overflows nor
		// vanishes.
		weights += math.Pow(c.StandardUncertainty/sum.StandardUncertainty, 4) / c.DegreesOfFreedom
	}
	sum.DegreesOfFreedom = 1 / weights
	return sum
}

// The maximum permissible errors of EN 12645 for tyre pressure gauges, by the
// pressure that is measured. From memory, in agreement with its forerunner,
// Directive 86/217/EEC, whose figures nobody here has read in print either.
const (
	tyreGaugeLowKPa    Kilopascals = 400  // up to here, included
	tyreGaugeMiddleKPa Kilopascals = 1000 // above low, up to here, included
	tyreGaugeLowMPE    Kilopascals = 8
	tyreGaugeMiddleMPE Kilopascals = 16
	tyreGaugeHighMPE   Kilopascals = 25
)

// TyreGaugeMPE returns the greatest error, plus or minus, that EN 12645 permits
// a tyre pressure gauge at pressure p (from memory). Where p is unknown, the
// greatest of all.
func TyreGaugeMPE(p Kilopascals) Kilopascals {
	switch {
	case p <= tyreGaugeLowKPa:
		return tyreGaugeLowMPE
	case p <= tyreGaugeMiddleKPa:
		return tyreGaugeMiddleMPE
	}
	return tyreGaugeHighMPE
}

// quadrature is the root of the sum of squares; infinite when a part is
// negative or no number, for then nobody knows.
func quadrature(parts ...float64) float64 {
	sum := 0.0
	for _, part := range parts {
		if !(part >= 0) {
			return math.Inf(1)
		}
		sum = math.Hypot(sum, part)
	}
	return sum
}
