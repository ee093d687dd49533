package packtest

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"bayround/internal/catalogue"
	"bayround/internal/plan"
	pb "bayround/proto/bayround/v1"
)

// itemsOf are the items that any routine asks of a vehicle.
func itemsOf(loaded *catalogue.Loaded, v *pb.VehicleConfiguration) map[string]bool {
	items := map[string]bool{}
	for _, routine := range loaded.Routines {
		for _, s := range plan.Build(plan.Input{Vehicle: v, Catalogue: loaded.Catalogue, Routine: routine}).GetSteps() {
			items[s.GetItem()] = true
		}
	}
	return items
}

// vehicle is one of the county by call sign.
func vehicle(t *testing.T, loaded *catalogue.Loaded, callSign string) *pb.VehicleConfiguration {
	t.Helper()
	at := slices.IndexFunc(loaded.Vehicles, func(v *pb.VehicleConfiguration) bool { return v.GetCallSign() == callSign })
	if at < 0 {
		t.Fatalf("the county has no %s", callSign)
	}
	return loaded.Vehicles[at]
}

// A vehicle without a combustion engine is asked for nothing of one; with a range
// extender it is (job map, part E: WN31 is battery-electric with one).
func TestFits_NoEngineNoQuestionsAboutOne(t *testing.T) {
	loaded := fleet(t)
	extended := vehicle(t, loaded, "WN31")
	battery := proto.CloneOf(extended)
	battery.Features = slices.DeleteFunc(battery.GetFeatures(), func(word string) bool {
		return word == "range_extender" || word == "newer_diesel"
	})
	ofEngine := map[pb.FluidKind]bool{
		pb.FluidKind_FLUID_KIND_ENGINE_OIL: true, pb.FluidKind_FLUID_KIND_COOLANT: true, pb.FluidKind_FLUID_KIND_FUEL: true,
	}
	with, without := itemsOf(loaded, extended), itemsOf(loaded, battery)
	asked := 0
	for _, item := range loaded.Catalogue.GetItems() {
		id := item.GetId()
		space := id == "ENG-040" // rags and tools are left under any flap
		if !ofEngine[item.GetFluid()] && (!strings.HasPrefix(id, "ENG-") || space) && !slices.Contains([]string{"EXH-010", "FUE-010", "FLU-130", "FLU-150", "PRE-040", "INS-030", "INS-040"}, id) {
			continue
		}
		if without[id] {
			t.Errorf("%s, %s: asked of a vehicle without an engine", id, item.GetTitle())
		}
		if with[id] {
			asked++
		} else {
			t.Errorf("%s, %s: not asked of a vehicle with a range extender", id, item.GetTitle())
		}
	}
	if asked < 20 {
		t.Errorf("only %d items were compared", asked)
	}
}

// What a reserve is asked for is asked of no other vehicle (job map, A8 and part
// E: WN90 is the county's reserve).
func TestFits_OnlyAReserveIsAskedHowLongItStood(t *testing.T) {
	loaded := fleet(t)
	for _, v := range loaded.Vehicles {
		items := itemsOf(loaded, v)
		for _, id := range []string{"RSV-010", "RSV-020", "RSV-030"} {
			if items[id] != (v.GetCallSign() == "WN90") {
				t.Errorf("%s is asked of %s: %v", id, v.GetCallSign(), items[id])
			}
		}
	}
}
