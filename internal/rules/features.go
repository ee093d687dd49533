package rules

import (
	"slices"

	pb "bayround/proto/bayround/v1"
)

// hasFeature tells whether a vehicle has a feature: one of its words, or one
// that follows from other fields as vehicle.proto says.
func hasFeature(v *pb.VehicleConfiguration, word string) bool {
	if slices.Contains(v.GetFeatures(), word) {
		return true
	}
	switch word {
	case "powered":
		return v.GetPowerTrain() > pb.PowerTrain_POWER_TRAIN_NONE
	case "trailer":
		return v.GetPowerTrain() == pb.PowerTrain_POWER_TRAIN_NONE
	case "air_brakes":
		return v.GetBrakingSystem() == pb.BrakingSystem_BRAKING_SYSTEM_AIR
	case "hydraulic_brakes":
		return v.GetBrakingSystem() == pb.BrakingSystem_BRAKING_SYSTEM_HYDRAULIC
	case "twin_rear":
		axles := v.GetAxles()
		return len(axles) > 1 && slices.ContainsFunc(axles[1:], func(a *pb.Axle) bool { return a.GetWheelsPerSide() == 2 })
	case "electric":
		return v.GetPowerTrain() == pb.PowerTrain_POWER_TRAIN_BATTERY_ELECTRIC
	case "hybrid":
		return v.GetPowerTrain() == pb.PowerTrain_POWER_TRAIN_HYBRID
	}
	return false
}
