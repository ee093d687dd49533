package measure

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// kind says which units measure the same thing. Lengths on a vehicle and
// distances travelled are kept apart, so that a tread depth in miles is refused.
type kind int

const (
	pressure          kind = 1
	pressureRate      kind = 2
	length            kind = 3
	voltage           kind = 4
	temperature       kind = 5
	temperatureChange kind = 6
	duration          kind = 7
	share             kind = 8
	distance          kind = 9
	mass              kind = 10
	volume            kind = 11
	flow              kind = 12
	angle             kind = 13
	current           kind = 14
	torque            kind = 15
	speed             kind = 16
	frequency         kind = 17
)

// significantDigits is how many decimal digits a float64 always holds.
const significantDigits = 15

// The factors that others are built of, all exact by definition.
const (
	inchMM           = 25.4
	poundKg          = 0.45359237
	standardGravity  = 9.80665 // m/s²
	footM            = inchMM * 12 / 1000
	poundForceNewton = poundKg * standardGravity
	psiKPa           = poundForceNewton / (inchMM * inchMM) * 1e3
	gallonUSLitre    = 231 * inchMM * inchMM * inchMM / 1e6
	gallonUKLitre    = 4.54609
	mileKm           = 1.609344
	daySeconds       = 24 * 60 * 60
	yearDays         = 365.25 // the Julian year, as astronomers' unit a
)

// unit is one spelling of one unit: value in the first unit of its kind is
// (value + shift) * factor.
type unit struct {
	kind          kind
	name          string
	factor, shift float64
}

// units is every unit in use; the first of a kind has factor 1.
var units = []unit{
	{pressure, "kPa", 1, 0},
	{pressure, "bar", 100, 0},
	{pressure, "psi", psiKPa, 0},
	{pressure, "mbar", 0.1, 0},
	{pressure, "kgf/cm2", standardGravity * 10, 0},
	{pressure, "atm", 101.325, 0},
	{pressure, "inHg", 3.386388640341, 0}, // the conventional inch of mercury
	{pressureRate, "kPa/min", 1, 0},
	{pressureRate, "bar/min", 100, 0},
	{pressureRate, "psi/min", psiKPa, 0},
	{length, "mm", 1, 0},
	{length, "cm", 10, 0},
	{length, "in", inchMM, 0},
	{length, "in/32", inchMM / 32, 0},
	{length, "m", 1000, 0},
	{length, "ft", footM * 1000, 0},
	{voltage, "V", 1, 0},
	{voltage, "mV", 1e-3, 0},
	{temperature, "degC", 1, 0},
	{temperature, "degF", 5.0 / 9, -32},
	{temperature, "K(abs)", 1, -zeroCelsiusKelvin},
	{temperatureChange, "K", 1, 0},
	{temperatureChange, "degC-diff", 1, 0},
	{temperatureChange, "degF-diff", 5.0 / 9, 0},
	{duration, "s", 1, 0},
	{duration, "min", 60, 0},
	{duration, "h", 3600, 0},
	{duration, "d", daySeconds, 0},
	{duration, "a", yearDays * daySeconds, 0},
	{share, "1", 1, 0},
	{share, "%", 0.01, 0},
	{distance, "km", 1, 0},
	{distance, "mi", mileKm, 0},
	{mass, "kg", 1, 0},
	{mass, "t", 1000, 0},
	{mass, "lb", poundKg, 0},
	{volume, "L", 1, 0},
	{volume, "mL", 1e-3, 0},
	{volume, "gal_us", gallonUSLitre, 0},
	{volume, "gal_uk", gallonUKLitre, 0},
	{volume, "qt_us", gallonUSLitre / 4, 0},
	{volume, "pt_uk", gallonUKLitre / 8, 0},
	{flow, "L/min", 1, 0},
	{angle, "deg", 1, 0},
	{current, "A", 1, 0},
	{torque, "N.m", 1, 0},
	{torque, "lbf.ft", poundForceNewton * footM, 0},
	{frequency, "1/min", 1, 0},
	{frequency, "Hz", 60, 0},
	{speed, "km/h", 1, 0},
	{speed, "mi/h", mileKm, 0},
}

// UnitError says that a unit is unknown or measures something else.
type UnitError struct {
	From, To string
	Unknown  string   // the one of the two that is no unit here; empty when both are
	Fit      []string // the units that would fit; all units when nothing is known
}

// Error names what is wrong and what would be right.
func (e *UnitError) Error() string {
	fit := strings.Join(e.Fit, ", ")
	if e.Unknown != "" {
		return fmt.Sprintf("%q is no unit known here; one of %s would be", e.Unknown, fit)
	}
	return fmt.Sprintf("%q does not measure what %q measures; one of %s would", e.From, e.To, fit)
}

// Convert returns value, given in from, in the unit to. The answer is rounded
// to fifteen digits, so that 8.2 bar is 820 kPa and meets a limit of 820 kPa
// instead of missing it by the last bit. The error is a *UnitError when the
// units do not fit; a value that is not a finite number, or whose conversion
// would not be, is an error too.
func Convert(value float64, from, to string) (float64, error) {
	source, target, err := pair(from, to)
	if err != nil {
		return 0, err
	}
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return 0, fmt.Errorf("%v %s is not a number that can be measured", value, from)
	}
	if source == target {
		return value, nil
	}
	converted := tidy((value+source.shift)*(source.factor/target.factor) - target.shift)
	if math.IsInf(converted, 0) {
		return 0, fmt.Errorf("%v %s is too large to be told in %s", value, from, to)
	}
	return converted, nil
}

// Units returns every unit that can be converted to like, like itself
// included, always in the same order; nil when like is no unit known here.
func Units(like string) []string {
	known, ok := find(like)
	if !ok {
		return nil
	}
	var names []string
	for _, u := range units {
		if u.kind == known.kind {
			names = append(names, u.name)
		}
	}
	return names
}

// pair finds two units that measure the same thing.
func pair(from, to string) (source, target unit, err error) {
	source, sourceKnown := find(from)
	target, targetKnown := find(to)
	switch {
	case !sourceKnown && !targetKnown:
		return source, target, &UnitError{From: from, To: to, Unknown: from, Fit: all()}
	case !sourceKnown:
		return source, target, &UnitError{From: from, To: to, Unknown: from, Fit: Units(to)}
	case !targetKnown:
		return source, target, &UnitError{From: from, To: to, Unknown: to, Fit: Units(from)}
	case source.kind != target.kind:
		return source, target, &UnitError{From: from, To: to, Fit: Units(to)}
	}
	return source, target, nil
}

func find(name string) (unit, bool) {
	for _, u := range units {
		if u.name == name {
			return u, true
		}
	}
	return unit{}, false
}

func all() []string {
	names := make([]string, len(units))
	for i, u := range units {
		names[i] = u.name
	}
	return names
}

// tidy drops what lies beyond the digits that a decimal number keeps on its
// way through a float64. People type far fewer.
func tidy(x float64) float64 {
	var digits [32]byte
	text := strconv.AppendFloat(digits[:0], x, 'g', significantDigits, 64)
	tidied, err := strconv.ParseFloat(string(text), 64)
	if err != nil { // beyond the largest float64
		return math.Inf(1)
	}
	return tidied
}
