package measure

import "math"

// RunFlatShare is the share of its target pressure below which a heavy tyre
// counts as run flat. Common practice, from a published recommendation known
// from memory: that soft, the side walls have bent and heated beyond what the
// cords stand, and the damage lies inside, where no driver sees it. Such a tyre
// is taken off and examined by someone trained for it; to pump it up on the
// vehicle can burst it.
const RunFlatShare = 0.8

// PressureReading is one gauge pressure and what it was read in, each with its
// standard uncertainty. The three are taken to be independent.
type PressureReading struct {
	Gauge       Measured // kPa above atmospheric
	Inside      Measured // temperature of the air in the tyre, °C
	Atmospheric Measured // absolute, at the station, kPa; see AtmosphericKPa
}

// Normalised returns the reading referred to another temperature of the air in
// the tyre, at the same place, as At does. Its uncertainty carries those of the
// gauge, the thermometer and the barometer by their sensitivities (GUM 5.1.2):
// at 850 kPa one kelvin of doubt in the temperature is 3 kPa of doubt in the
// pressure.
//
// Where a value is no number or a temperature impossible, the pressure stays as
// it was read (0 when that is no number either) and its uncertainty is infinite.
func (r PressureReading) Normalised(reference Celsius) Measured {
	inside := Celsius(r.Inside.Value)
	if !r.Gauge.known() {
		return Measured{Uncertainty: math.Inf(1)}
	}
	asRead := Measured{Value: r.Gauge.Value, Uncertainty: math.Inf(1)}
	if !r.Inside.known() || !r.Atmospheric.known() || !reference.possible() || !inside.possible() {
		return asRead
	}
	gauge, atmospheric := Kilopascals(r.Gauge.Value), Kilopascals(r.Atmospheric.Value)
	cold := Measured{Value: float64(gauge.At(reference, inside, atmospheric))}

	byGauge := reference.kelvin() / inside.kelvin()
	byInside := -float64(gauge+atmospheric) * byGauge / inside.kelvin()
	byAtmospheric := byGauge - 1
	cold.Uncertainty = quadrature(
		math.Abs(byGauge)*r.Gauge.Uncertainty,
		math.Abs(byInside)*r.Inside.Uncertainty,
		math.Abs(byAtmospheric)*r.Atmospheric.Uncertainty,
	)
	if !cold.known() {
		return asRead
	}
	return cold
}
