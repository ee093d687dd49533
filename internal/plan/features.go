package plan

import (
	"slices"

	pb "bayround/proto/bayround/v1"
)

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
