package measure

import "fmt"

// RestReferenceCelsius is the temperature at which rest voltages are compared:
// 80 °F.
const RestReferenceCelsius Celsius = 80.0/1.8 - 32/1.8

// mostBatteries is how many batteries of six cells stand in series on a vehicle.
const mostBatteries = 4

// restCorrection is what to add to the rest voltage of a battery of six cells,
// by its temperature in °F (a battery maker's table 7, 0 to 130 °F). The table is
// straight: 0.024 V for each 10 °F, 4.32 mV for each kelvin. Outside it nothing
// is known, but for the tenth of a degree by which its ends in °C are rounded.
var restCorrection = curve{{-0.1, -0.19224}, {130.1, 0.12024}} // never changed

// restCharge is the state of charge of a battery of six flooded cells by its
// rest voltage at 80 °F (the same maker's table 6).
var restCharge = curve{{11.89, 0}, {12.06, 0.25}, {12.24, 0.50}, {12.45, 0.75}, {12.65, 1}} // never changed

// RestVoltage returns what a rest voltage, measured over so many batteries of
// six cells in series (two on a 24 V system), would be at 26.7 °C. It is for
// flooded lead cells that were left alone, without charger and load, for hours.
func RestVoltage(volt float64, batteries int, electrolyte Celsius) (float64, error) {
	if err := checkRest(volt, batteries); err != nil {
		return 0, err
	}
	fahrenheit := float64(electrolyte)*1.8 + 32
	each, known := restCorrection.at(fahrenheit)
	if !known {
		return 0, fmt.Errorf("rest voltages are not tabled at %.4g °C; measure between -17 and 54 °C", float64(electrolyte))
	}
	return volt + float64(batteries)*each, nil
}

// ChargeHint returns about how full the batteries are, as a share from 0 to 1,
// by the rest voltage at 26.7 °C. It is a hint and no measurement: published
// tables differ by up to 0.125 of the charge, other kinds of cell by more, an aged
// battery rests high and holds little, and two in series may differ behind their
// sum. Below the table it is 0, above it 1.
func ChargeHint(volt float64, batteries int) (float64, error) {
	if err := checkRest(volt, batteries); err != nil {
		return 0, err
	}
	each := volt / float64(batteries)
	each = min(max(each, restCharge[0].x), restCharge[len(restCharge)-1].x)
	share, _ := restCharge.at(each)
	return share, nil
}

func checkRest(volt float64, batteries int) error {
	switch {
	case batteries < 1 || batteries > mostBatteries:
		return fmt.Errorf("%d batteries in series; one to %d of 12 V each are known", batteries, mostBatteries)
	case !(volt >= 0) || !isFinite(volt):
		return fmt.Errorf("%v V is no rest voltage; read it with the right polarity", volt)
	}
	return nil
}
