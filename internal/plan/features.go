package plan

import (
	"slices"

	pb "bayround/proto/bayround/v1"
)

// Features returns the feature words of a vehicle: those configured, and those
// that follow from other fields.
func Features(v *pb.VehicleConfiguration) map[string]bool {
	features := make(map[string]bool, len(v.GetFeatures())+4)
	for _, word := range v.GetFeatures() {
		features[word] = true
	}
	for word, follows := range derived(v) {
		if follows {
			features[word] = true
		}
	}
	return features
}

// derived says of each word that follows from other fields whether it does.
func derived(v *pb.VehicleConfiguration) map[string]bool {
	train, brakes := v.GetPowerTrain(), v.GetBrakingSystem()
	behind := v.GetAxles()[min(1, len(v.GetAxles())):]
	return map[string]bool{
		"powered":          isPowered(v),
		"trailer":          train == pb.PowerTrain_POWER_TRAIN_NONE,
		"air_brakes":       brakes == pb.BrakingSystem_BRAKING_SYSTEM_AIR,
		"hydraulic_brakes": brakes == pb.BrakingSystem_BRAKING_SYSTEM_HYDRAULIC,
		"twin_rear":        slices.ContainsFunc(behind, func(a *pb.Axle) bool { return a.GetWheelsPerSide() == 2 }),
		"electric":         train == pb.PowerTrain_POWER_TRAIN_BATTERY_ELECTRIC,
		"hybrid":           train == pb.PowerTrain_POWER_TRAIN_HYBRID,
	}
}

// isPowered tells that a vehicle moves itself.
func isPowered(v *pb.VehicleConfiguration) bool {
	return v.GetPowerTrain() > pb.PowerTrain_POWER_TRAIN_NONE
}

// mustHave tells that a vehicle of this kind cannot be without a fluid, whether
// its configuration lists it or not.
func mustHave(v *pb.VehicleConfiguration, fluid pb.FluidKind) bool {
	switch fluid {
	case pb.FluidKind_FLUID_KIND_ENGINE_OIL, pb.FluidKind_FLUID_KIND_COOLANT, pb.FluidKind_FLUID_KIND_FUEL:
		return v.GetPowerTrain() == pb.PowerTrain_POWER_TRAIN_DIESEL || v.GetPowerTrain() == pb.PowerTrain_POWER_TRAIN_HYBRID
	case pb.FluidKind_FLUID_KIND_BRAKE:
		return v.GetBrakingSystem() == pb.BrakingSystem_BRAKING_SYSTEM_HYDRAULIC
	default:
		return false
	}
}

// isDue tells that a routine asks for an item, by trigger or by id.
func isDue(item *pb.Item, routine *pb.Routine) bool {
	return slices.Contains(routine.GetItems(), item.GetId()) ||
		slices.ContainsFunc(item.GetTriggers(), func(t pb.Trigger) bool { return slices.Contains(routine.GetTriggers(), t) })
}

// fits tells that an item applies to a vehicle with these features.
func fits(item *pb.Item, features map[string]bool) bool {
	return slices.ContainsFunc(item.GetFitsAny(), func(word string) bool { return features[word] })
}
