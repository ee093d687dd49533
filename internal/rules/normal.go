package rules

import (
	"math"

	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// bayThermometerK is how far the thermometer of a bay may be off, plus or minus
// (common practice). What the weather does to the air pressure of the standard
// atmosphere moves a normalised pressure by a tenth of a kilopascal and is left out.
const bayThermometerK = 2

// coldPressure tells that a step reads a pressure that is judged cold: one that is
// brought to the reference temperature.
func coldPressure(step *pb.CheckStep) bool {
	parts := step.GetParts()
	return step.GetColdAfter() != nil && step.Target != nil && len(parts) > 0 && parts[0].GetQuantity() == pb.Quantity_QUANTITY_PRESSURE
}

// atReference brings a pressure read in air of that temperature to the station's
// reference temperature, at the station's height; false when it cannot be done.
func (c Circumstances) atReference(kpa, u, airCelsius float64) (measure.Measured, bool) {
	read := measure.PressureReading{
		Gauge:       measure.Measured{Value: kpa, Uncertainty: u},
		Inside:      measure.Measured{Value: airCelsius, Uncertainty: bayThermometerK / math.Sqrt(3)},
		Atmospheric: measure.Measured{Value: float64(measure.AtmosphericKPa(c.Station.GetAltitudeM()))},
	}
	cold := read.Normalised(measure.Celsius(c.Station.GetReferenceCelsius()))
	return cold, isFinite(cold.Value) && isFinite(cold.Uncertainty)
}

// normalise brings a cold pressure to the reference temperature. What was read
// stays in as_read.
func (c Circumstances) normalise(o *pb.Observation) {
	r := o.GetResult()
	if c.Station == nil || r.AirCelsius == nil || !o.GetHasValue() || !coldPressure(o.GetStep()) {
		return
	}
	cold, done := c.atReference(o.GetAsRead(), o.GetStandardUncertainty(), r.GetAirCelsius())
	if !done {
		return
	}
	part := o.GetStep().GetParts()[0].GetId()
	o.Normalised, o.Value = true, cold.Value
	o.Values[part] = cold.Value
	if share := cold.Value / o.GetTarget(); isFinite(share) {
		o.ShareOfTarget = share
	}
	if o.GetHasUncertainty() {
		o.StandardUncertainty = cold.Uncertainty
		o.Uncertainties[part] = cold.Uncertainty
	}
	if o.GetMayReadHighBy() != 0 {
		if corrected, done := c.atReference(o.GetAsRead()-o.GetMayReadHighBy(), 0, r.GetAirCelsius()); done {
			o.MayReadHighBy = cold.Value - corrected.Value
		}
	}
}
