package feature_test

import (
	"maps"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"bayround/internal/feature"
	pb "bayround/proto/bayround/v1"
)

// words are the words that follow from other fields (vehicle.proto, field features).
var words = []string{"air_brakes", "electric", "engine", "hybrid", "hydraulic_brakes", "powered", "reserve", "trailer", "twin_rear"}

// TestAll is which words follow from which fields.
func TestAll(t *testing.T) {
	twin := []*pb.Axle{{WheelsPerSide: 1}, {WheelsPerSide: 2}}
	for _, tc := range []struct {
		name string
		v    *pb.VehicleConfiguration
		want []string
	}{
		{"nothing said", &pb.VehicleConfiguration{}, nil},
		{"configured words stay", &pb.VehicleConfiguration{Features: []string{"pump", "newer"}}, []string{"newer", "pump"}},
		{"diesel, air, twins", &pb.VehicleConfiguration{PowerTrain: pb.PowerTrain_POWER_TRAIN_DIESEL, BrakingSystem: pb.BrakingSystem_BRAKING_SYSTEM_AIR, Axles: twin}, []string{"air_brakes", "engine", "powered", "twin_rear"}},
		{"hybrid, hydraulic", &pb.VehicleConfiguration{PowerTrain: pb.PowerTrain_POWER_TRAIN_HYBRID, BrakingSystem: pb.BrakingSystem_BRAKING_SYSTEM_HYDRAULIC, Axles: twin[:1]}, []string{"engine", "hybrid", "hydraulic_brakes", "powered"}},
		{"twins in front are none at the rear", &pb.VehicleConfiguration{PowerTrain: pb.PowerTrain_POWER_TRAIN_DIESEL, Axles: twin[1:]}, []string{"engine", "powered"}},
		{"battery", &pb.VehicleConfiguration{PowerTrain: pb.PowerTrain_POWER_TRAIN_BATTERY_ELECTRIC}, []string{"electric", "powered"}},
		{"battery and range extender", &pb.VehicleConfiguration{PowerTrain: pb.PowerTrain_POWER_TRAIN_BATTERY_ELECTRIC, Features: []string{"range_extender"}}, []string{"electric", "engine", "powered", "range_extender"}},
		{"trailer", &pb.VehicleConfiguration{PowerTrain: pb.PowerTrain_POWER_TRAIN_NONE, BrakingSystem: pb.BrakingSystem_BRAKING_SYSTEM_OVERRUN}, []string{"trailer"}},
		{"a trailer has no engine to extend anything", &pb.VehicleConfiguration{PowerTrain: pb.PowerTrain_POWER_TRAIN_NONE, Features: []string{"range_extender"}}, []string{"range_extender", "trailer"}},
		{"in reserve", &pb.VehicleConfiguration{Reserve: true}, []string{"reserve"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if diff := cmp.Diff(tc.want, slices.Sorted(maps.Keys(feature.All(tc.v)))); diff != "" {
				t.Errorf("features (-want +got):\n%s", diff)
			}
		})
	}
}

// TestLaw_OneList: what is asked word by word and what is listed are the same, and
// nothing follows that the list does not name.
func TestLaw_OneList(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := &pb.VehicleConfiguration{
			PowerTrain:    pb.PowerTrain(rapid.Int32Range(0, 4).Draw(t, "power train")),
			BrakingSystem: pb.BrakingSystem(rapid.Int32Range(0, 4).Draw(t, "brakes")),
			Features:      rapid.SliceOfDistinct(rapid.SampledFrom([]string{"pump", "range_extender", "powered", "engine"}), rapid.ID[string]).Draw(t, "features"),
			Reserve:       rapid.Bool().Draw(t, "reserve"),
		}
		for range rapid.IntRange(0, 3).Draw(t, "axles") {
			v.Axles = append(v.Axles, &pb.Axle{WheelsPerSide: rapid.Int32Range(1, 2).Draw(t, "wheels")})
		}
		follows, all := feature.Derived(v), feature.All(v)
		if diff := cmp.Diff(words, slices.Sorted(maps.Keys(follows))); diff != "" {
			t.Fatalf("words that may follow (-want +got):\n%s", diff)
		}
		for _, word := range append([]string{"pump", "range_extender", "ladder"}, words...) {
			want := follows[word] || slices.Contains(v.GetFeatures(), word)
			if feature.Has(v, word) != want || all[word] != want {
				t.Errorf("%s: has %v, listed %v, want %v", word, feature.Has(v, word), all[word], want)
			}
		}
	})
}
