package catalogue

import (
	"fmt"
	"maps"
	"slices"

	"bayround/internal/feature"
	pb "bayround/proto/bayround/v1"
)

// checkVehicle checks one loaded vehicle by itself and in the company of what it
// refers to.
func (l *Loaded) checkVehicle(v *pb.VehicleConfiguration, after *Library, known *index) Problems {
	in := &inspector{loaded: l, name: v.GetName()}
	who := v.GetCallSign()
	refer(in, "station", who, v.GetStation(), after.Stations)
	for i, pack := range v.GetRulePacks() {
		refer(in, fmt.Sprintf("rule_packs[%d]", i), who, pack, after.Packs)
	}
	for i, routine := range v.GetRequiredRoutines() {
		refer(in, fmt.Sprintf("required_routines[%d]", i), who, routine, after.Routines)
	}
	for i, routine := range v.GetScheduledRoutines() {
		refer(in, fmt.Sprintf("scheduled_routines[%d]", i), who, routine, after.Routines)
	}
	in.checkKind(v)
	in.checkAxles(v)
	in.checkPlaces(v)
	in.checkFeatures(v, known)
	return in.problems
}

// isTrailer tells whether a category is one of trailers.
func isTrailer(c pb.VehicleCategory) bool {
	return c >= pb.VehicleCategory_VEHICLE_CATEGORY_O1 && c <= pb.VehicleCategory_VEHICLE_CATEGORY_O4
}

// checkKind checks that what a vehicle is agrees with what it has.
func (in *inspector) checkKind(v *pb.VehicleConfiguration) {
	who, trailer := v.GetCallSign(), v.GetPowerTrain() == pb.PowerTrain_POWER_TRAIN_NONE
	if trailer != isTrailer(v.GetCategory()) {
		in.wrong("power_train", fmt.Sprintf("%s is of category %s but has %s", who, v.GetCategory(), v.GetPowerTrain()), "only a trailer (category O1 to O4) has POWER_TRAIN_NONE, and every trailer has it")
	}
	driver := func(s *pb.Seat) bool { return s.GetKind() == pb.SeatKind_SEAT_KIND_DRIVER }
	if !trailer && !slices.ContainsFunc(v.GetSeats(), driver) {
		in.wrong("seats", who+" has no driver's seat", "list it under seats with SEAT_KIND_DRIVER")
	}
	if !trailer && v.GetDriverSide() == pb.Side_SIDE_UNSPECIFIED {
		in.wrong("driver_side", who+" does not say on which side the driver sits", "add driver_side, such as SIDE_OFFSIDE")
	}
	tank := func(f *pb.Fitting) bool { return f.GetKind() == pb.FittingKind_FITTING_KIND_AIR_TANK }
	if v.GetBrakingSystem() == pb.BrakingSystem_BRAKING_SYSTEM_AIR && !slices.ContainsFunc(v.GetFittings(), tank) {
		in.wrong("braking_system", who+" has air brakes and lists no air tank", "list every tank under fittings with FITTING_KIND_AIR_TANK: each is drained by itself")
	}
	overrun := v.GetBrakingSystem() == pb.BrakingSystem_BRAKING_SYSTEM_OVERRUN
	if overrun && !slices.Contains(v.GetFeatures(), "braked_trailer") {
		in.wrong("braking_system", who+" has an overrun brake that nobody would be asked to check", "add braked_trailer to features")
	}
}

// checkPlaces checks that no two places of a vehicle have one id: results are
// kept by it.
func (in *inspector) checkPlaces(v *pb.VehicleConfiguration) {
	first := map[string]string{}
	check := func(path string, place *pb.Place) {
		id := place.GetId()
		if before, known := first[id]; known && id != "" {
			file, line, _ := in.loaded.Place(in.name, before)
			in.wrong(path+".id", fmt.Sprintf("two places of %s are called %s, the first at %s:%d", v.GetCallSign(), id, file, line), "give each place its own id")
			return
		}
		first[id] = path + ".id"
	}
	places(check, "lamps[%d].place", v.GetLamps())
	places(check, "fluids[%d].place", v.GetFluids())
	places(check, "openings[%d].place", v.GetOpenings())
	places(check, "equipment[%d].place", v.GetEquipment())
	places(check, "seats[%d].place", v.GetSeats())
	places(check, "fittings[%d].place", v.GetFittings())
	for i, place := range v.GetPlaces() {
		check(fmt.Sprintf("places[%d]", i), place)
	}
}

// places walks a list of things that have a place.
func places[T interface{ GetPlace() *pb.Place }](check func(string, *pb.Place), path string, list []T) {
	for i, thing := range list {
		check(fmt.Sprintf(path, i), thing.GetPlace())
	}
}

// checkFeatures checks that every feature word decides something, and that those
// which follow from other fields do follow.
func (in *inspector) checkFeatures(v *pb.VehicleConfiguration, known *index) {
	derived := feature.Derived(v)
	for i, word := range v.GetFeatures() {
		path := fmt.Sprintf("features[%d]", i)
		follows, isDerived := derived[word]
		switch {
		case isDerived && !follows:
			in.wrong(path, fmt.Sprintf("%s has the feature %s, but the rest of its configuration says otherwise", v.GetCallSign(), word), "take it away: this word follows from the other fields")
		case !isDerived && !known.features[word]:
			in.wrong(path, fmt.Sprintf("%s has the feature %s, which no item of the catalogue fits", v.GetCallSign(), shown(word)), suggestion(word, slices.Sorted(maps.Keys(known.features))))
		}
	}
}
