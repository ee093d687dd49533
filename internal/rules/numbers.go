package rules

import (
	pb "bayround/proto/bayround/v1"
)

// unitSuffix ends the names of numbers of a quantity; never changed.
var unitSuffix = map[pb.Quantity]string{
	pb.Quantity_QUANTITY_PRESSURE:               "_kpa",
	pb.Quantity_QUANTITY_PRESSURE_RATE:          "_kpa_per_min",
	pb.Quantity_QUANTITY_LENGTH:                 "_mm",
	pb.Quantity_QUANTITY_VOLTAGE:                "_v",
	pb.Quantity_QUANTITY_TEMPERATURE:            "_celsius",
	pb.Quantity_QUANTITY_TEMPERATURE_DIFFERENCE: "_k",
	pb.Quantity_QUANTITY_DURATION:               "_s",
	pb.Quantity_QUANTITY_FRACTION:               "_share",
	pb.Quantity_QUANTITY_DISTANCE:               "_km",
	pb.Quantity_QUANTITY_RUNNING_TIME:           "_h",
	pb.Quantity_QUANTITY_DAYS:                   "_d",
	pb.Quantity_QUANTITY_AGE:                    "_a",
	pb.Quantity_QUANTITY_MASS:                   "_kg",
	pb.Quantity_QUANTITY_VOLUME:                 "_l",
	pb.Quantity_QUANTITY_COUNT:                  "",
	pb.Quantity_QUANTITY_FLOW:                   "_l_per_min",
	pb.Quantity_QUANTITY_ANGLE:                  "_deg",
	pb.Quantity_QUANTITY_CURRENT:                "_amp",
}

// numbers gives the numbers of what was looked at, by name with unit: those of
// one observation, or the extremes of those that several share, and how many
// there are.
func numbers(looked []*pb.Observation) map[string]float64 {
	if len(looked) == 1 {
		return numbersOf(looked[0])
	}
	count := map[string]int{}
	found := map[string]float64{"observations": float64(len(looked))}
	for _, o := range looked {
		for name, x := range numbersOf(o) {
			low, high := "least_"+name, "greatest_"+name
			if count[name] == 0 {
				found[low], found[high] = x, x
			}
			found[low], found[high] = min(found[low], x), max(found[high], x)
			count[name]++
		}
	}
	for name, n := range count {
		if n < len(looked) {
			delete(found, "least_"+name)
			delete(found, "greatest_"+name)
		}
	}
	return found
}

// numbersOf gives the numbers of one observation that apply.
func numbersOf(o *pb.Observation) map[string]float64 {
	found := map[string]float64{}
	parts := o.GetStep().GetParts()
	if o.GetHasValue() {
		for _, p := range parts {
			if x, ok := o.GetValues()[p.GetId()]; ok {
				found[p.GetId()+unitSuffix[p.GetQuantity()]] = x
			}
		}
	}
	if o.GetHasTarget() && len(parts) > 0 {
		found["target"+unitSuffix[parts[0].GetQuantity()]] = o.GetTarget()
		if o.GetHasValue() && o.GetTarget() != 0 {
			found["share_of_target"] = o.GetShareOfTarget()
		}
	}
	if o.GetHasTread() {
		found["tread_band_mm"], found["tread_central_mm"] = o.GetTreadBandMm(), o.GetTreadCentralMm()
		found["tread_least_mm"] = o.GetTreadLeastMm()
	}
	if o.GetHasLevel() {
		found["level"] = o.GetLevel()
	}
	if o.GetResult().GetSeen() != nil || len(o.GetFaults()) > 0 {
		found["affected"], found["of"] = float64(o.GetAffected()), float64(o.GetOf())
	}
	return found
}
