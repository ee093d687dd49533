// Package feature holds the feature words of a vehicle: those its configuration
// lists, and those that follow from its other fields and need not be listed.
//
// Everything here is a pure function of its arguments. Whoever decides by a
// feature word, be it the loader, the planner or a rule, decides by this list, so
// that a word means the same to all of them.
package feature

import (
	"slices"

	pb "bayround/proto/bayround/v1"
)

// RangeExtender is the word of a vehicle that has an engine beside a battery drive.
const RangeExtender = "range_extender"

// derived are the words that follow from other fields, each once, and when they
// do; never changed.
var derived = [...]struct {
	word    string
	follows func(*pb.VehicleConfiguration) bool
}{
	{"powered", IsPowered},
	{"trailer", func(v *pb.VehicleConfiguration) bool { return v.GetPowerTrain() == pb.PowerTrain_POWER_TRAIN_NONE }},
	{"engine", HasEngine},
	{"electric", func(v *pb.VehicleConfiguration) bool {
		return v.GetPowerTrain() == pb.PowerTrain_POWER_TRAIN_BATTERY_ELECTRIC
	}},
	{"hybrid", func(v *pb.VehicleConfiguration) bool { return v.GetPowerTrain() == pb.PowerTrain_POWER_TRAIN_HYBRID }},
	{"air_brakes", func(v *pb.VehicleConfiguration) bool {
		return v.GetBrakingSystem() == pb.BrakingSystem_BRAKING_SYSTEM_AIR
	}},
	{"hydraulic_brakes", func(v *pb.VehicleConfiguration) bool {
		return v.GetBrakingSystem() == pb.BrakingSystem_BRAKING_SYSTEM_HYDRAULIC
	}},
	{"twin_rear", hasTwinRear},
	{"reserve", func(v *pb.VehicleConfiguration) bool { return v.GetReserve() }},
}

// Derived says of every word that follows from other fields whether it does for
// this vehicle.
func Derived(v *pb.VehicleConfiguration) map[string]bool {
	words := make(map[string]bool, len(derived))
	for _, d := range derived {
		words[d.word] = d.follows(v)
	}
	return words
}

// Has tells whether a vehicle has a feature: one of its words, or one that follows.
func Has(v *pb.VehicleConfiguration, word string) bool {
	if slices.Contains(v.GetFeatures(), word) {
		return true
	}
	for _, d := range derived {
		if d.word == word {
			return d.follows(v)
		}
	}
	return false
}

// All returns the words a vehicle has: those configured, and those that follow.
func All(v *pb.VehicleConfiguration) map[string]bool {
	words := make(map[string]bool, len(v.GetFeatures())+len(derived))
	for _, word := range v.GetFeatures() {
		words[word] = true
	}
	for _, d := range derived {
		if d.follows(v) {
			words[d.word] = true
		}
	}
	return words
}

// IsPowered tells that a vehicle moves itself.
func IsPowered(v *pb.VehicleConfiguration) bool {
	return v.GetPowerTrain() > pb.PowerTrain_POWER_TRAIN_NONE
}

// HasEngine tells that a vehicle has a combustion engine: it is driven by one, or
// carries one to charge its battery.
func HasEngine(v *pb.VehicleConfiguration) bool {
	switch v.GetPowerTrain() {
	case pb.PowerTrain_POWER_TRAIN_DIESEL, pb.PowerTrain_POWER_TRAIN_HYBRID:
		return true
	case pb.PowerTrain_POWER_TRAIN_BATTERY_ELECTRIC:
		return slices.Contains(v.GetFeatures(), RangeExtender)
	default:
		return false
	}
}

// hasTwinRear tells that an axle behind the first carries twins.
func hasTwinRear(v *pb.VehicleConfiguration) bool {
	behind := v.GetAxles()[min(1, len(v.GetAxles())):]
	return slices.ContainsFunc(behind, func(a *pb.Axle) bool { return a.GetWheelsPerSide() == 2 })
}
