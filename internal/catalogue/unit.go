package catalogue

import pb "bayround/proto/bayround/v1"

// UnitOf returns the unit that values of a quantity are kept in, as package
// measure spells it; empty for a quantity that is not known.
func UnitOf(q pb.Quantity) string {
	switch q {
	case pb.Quantity_QUANTITY_PRESSURE:
		return "kPa"
	case pb.Quantity_QUANTITY_PRESSURE_RATE:
		return "kPa/min"
	case pb.Quantity_QUANTITY_LENGTH:
		return "mm"
	case pb.Quantity_QUANTITY_VOLTAGE:
		return "V"
	case pb.Quantity_QUANTITY_TEMPERATURE:
		return "degC"
	case pb.Quantity_QUANTITY_TEMPERATURE_DIFFERENCE:
		return "K"
	case pb.Quantity_QUANTITY_DURATION:
		return "s"
	case pb.Quantity_QUANTITY_FRACTION, pb.Quantity_QUANTITY_COUNT:
		return "1"
	case pb.Quantity_QUANTITY_DISTANCE:
		return "km"
	case pb.Quantity_QUANTITY_RUNNING_TIME:
		return "h"
	case pb.Quantity_QUANTITY_DAYS:
		return "d"
	case pb.Quantity_QUANTITY_AGE:
		return "a"
	case pb.Quantity_QUANTITY_MASS:
		return "kg"
	case pb.Quantity_QUANTITY_VOLUME:
		return "L"
	case pb.Quantity_QUANTITY_FLOW:
		return "L/min"
	case pb.Quantity_QUANTITY_ANGLE:
		return "deg"
	case pb.Quantity_QUANTITY_CURRENT:
		return "A"
	case pb.Quantity_QUANTITY_FREQUENCY:
		return "1/min"
	default:
		return ""
	}
}
