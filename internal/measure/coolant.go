package measure

import (
	"fmt"
	"math"
)

// GlycolBasis says what a percentage of ethylene glycol in water counts.
type GlycolBasis int

// The bases.
const (
	GlycolByVolume GlycolBasis = 1 // as mixed, and as most testers show
	GlycolByMass   GlycolBasis = 2
)

// glycolWithinK is how well the published fits, read at the lines of the tables,
// give the freezing points of the data they were made of.
const glycolWithinK = 0.6

// glycolOtherTableK is by how much another published table (known from memory)
// lies above the fit by mass at most, at 60 %. By volume the two agree.
const glycolOtherTableK = 3

// The freezing points in °C by percentage of ethylene glycol in water, never
// changed. By volume a fit of ASHRAE Handbook Fundamentals 2001; by mass a fit
// of Melinder, Properties of Secondary Working Fluids, IIR 2010. Pure water
// begins the first by definition of the scale.
var (
	glycolVolume = curve{
		{0, 0},
		{10, -3.6},
		{15, -6.2},
		{20, -9.0},
		{25, -12.1},
		{30, -15.7},
		{35, -19.9},
		{40, -24.8},
		{45, -30.5},
		{50, -37.1},
		{55, -44.4},
		{60, -52.0},
	}
	glycolMass = curve{
		{0, 0},
		{5, -1.6},
		{10, -3.4},
		{15, -5.4},
		{20, -7.9},
		{25, -11.0},
		{30, -14.6},
		{35, -18.8},
		{40, -23.8},
		{45, -29.5},
		{50, -36.0},
		{55, -43.2},
		{60, -51.2},
	}
)

// FreezePoint is where the first ice forms in a coolant.
type FreezePoint struct {
	Celsius Celsius
	// WithinK is how far published sources lie apart: the true point may be
	// warmer by that much.
	WithinK float64
}

// GlycolFreezePoint returns the freezing point of ethylene glycol in water, from
// none to 60 per cent. Stronger mixtures are refused: beyond about that they
// freeze earlier again and carry less heat. Coolants of another glycol or without
// any have other points; their makers' tables hold for them.
func GlycolFreezePoint(basis GlycolBasis, percent float64) (FreezePoint, error) {
	table, within := glycolVolume, glycolWithinK
	switch basis {
	case GlycolByVolume:
	case GlycolByMass:
		table, within = glycolMass, glycolOtherTableK
	default:
		return FreezePoint{}, fmt.Errorf("%d is no basis of a percentage; by volume (%d) and by mass (%d) are", basis, GlycolByVolume, GlycolByMass)
	}
	point, known := table.at(percent)
	if !known {
		return FreezePoint{}, fmt.Errorf("%v %% glycol is not tabled; from 0 to 60 %% is, and stronger coolant protects less", percent)
	}
	return FreezePoint{Celsius: Celsius(point), WithinK: within}, nil
}

// MarginK returns by how many kelvins the coolant stays liquid below the coldest
// it is meant to meet, counting on the warmer of the published points. Below 0
// ice may form. Where one of the temperatures is none, the margin is minus
// infinity: nothing keeps such a coolant liquid for sure.
func (f FreezePoint) MarginK(designMinimum Celsius) float64 {
	if !designMinimum.possible() || !f.Celsius.possible() || !(f.WithinK >= 0) {
		return math.Inf(-1)
	}
	return float64(designMinimum) - (float64(f.Celsius) + f.WithinK)
}
