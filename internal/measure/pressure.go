package measure

import "math"

// Kilopascals is a pressure above atmospheric (gauge pressure), unless the
// name of the value says absolute or atmospheric.
type Kilopascals float64

// Celsius is a temperature in degrees Celsius.
type Celsius float64

// zeroCelsiusKelvin is 0 °C on the absolute scale.
const zeroCelsiusKelvin = 273.15

func (c Celsius) kelvin() float64 { return float64(c) + zeroCelsiusKelvin }

// possible says that air can have this temperature at all.
func (c Celsius) possible() bool {
	return c.kelvin() > 0 && !math.IsInf(float64(c), 1)
}

// At returns what gauge pressure p, read while the air inside was at
// measured, would be at reference: constant volume, ideal gas, no leak.
// Temperatures must lie above absolute zero; the proto rules see to it. Where
// they do not, the pressure is returned as it was read.
func (p Kilopascals) At(reference, measured Celsius, atmosphericAbsolute Kilopascals) Kilopascals {
	if !reference.possible() || !measured.possible() {
		return p
	}
	absolute := float64(p + atmosphericAbsolute)
	return Kilopascals(absolute*reference.kelvin()/measured.kelvin()) - atmosphericAbsolute
}

// Moved returns what a gauge shows of the same air, at the same temperature,
// once the air outside presses with atmosphericAfter instead of
// atmosphericBefore: a tyre filled by the sea reads higher on the hill.
func (p Kilopascals) Moved(atmosphericBefore, atmosphericAfter Kilopascals) Kilopascals {
	return p + atmosphericBefore - atmosphericAfter
}

// The atmosphere of ISO 2533 between sea level and the stratosphere.
const (
	seaLevelKPa       = 101.325
	seaLevelKelvin    = 288.15
	lapseKelvinPerM   = 0.0065
	airGasConstant    = 287.05287 // J/(kg K)
	earthRadiusM      = 6_356_766
	lowestAltitudeM   = -2_000 // where the standard begins (from memory)
	greatestAltitudeM = 11_000 // where the temperature stops falling
	pressureExponent  = standardGravity / (airGasConstant * lapseKelvinPerM)
	lapsePerM         = lapseKelvinPerM / seaLevelKelvin
)

// AtmosphericKPa is the absolute pressure of the standard atmosphere (ISO
// 2533) at a height above sea level as maps give it. Heights outside
// -2000…11000 m are taken for the nearer of the two, an unknown one (NaN) for
// sea level.
func AtmosphericKPa(altitudeM float64) Kilopascals {
	if math.IsNaN(altitudeM) {
		altitudeM = 0
	}
	h := min(max(altitudeM, lowestAltitudeM), greatestAltitudeM)
	return geopotentialKPa(earthRadiusM * h / (earthRadiusM + h))
}

// geopotentialKPa is the same by geopotential height, in which gravity does
// not weaken with height; the standard's formula is written in it.
func geopotentialKPa(heightM float64) Kilopascals {
	return Kilopascals(seaLevelKPa * math.Pow(1-lapsePerM*heightM, pressureExponent))
}
