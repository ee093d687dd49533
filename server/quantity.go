package main

import (
	"strconv"

	"bayround/internal/catalogue"
	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// usualUnit is the unit in which a quantity is shown where nobody says another.
func usualUnit(q pb.Quantity) string {
	switch q {
	case pb.Quantity_QUANTITY_PRESSURE:
		return "bar"
	case pb.Quantity_QUANTITY_PRESSURE_RATE:
		return "bar/min"
	case pb.Quantity_QUANTITY_FRACTION:
		return "%"
	default:
		return catalogue.UnitOf(q)
	}
}

// quantityWords is a number of a quantity as people read it: in a unit, or the
// usual one when none is given, with the figures that mean something. What is a
// difference is right, too, but for temperatures in degrees Fahrenheit.
func quantityWords(si float64, q pb.Quantity, unit string) string {
	if unit == "" {
		unit = usualUnit(q)
	}
	shown, err := measure.Convert(si, catalogue.UnitOf(q), unit)
	if err != nil {
		shown, unit = si, catalogue.UnitOf(q)
	}
	words := strconv.FormatFloat(figures(shown, 3), 'f', -1, 64)
	switch unit {
	case "1", "":
		return words
	case "degC":
		unit = "°C"
	case "degF":
		unit = "°F"
	}
	return words + " " + unit
}
