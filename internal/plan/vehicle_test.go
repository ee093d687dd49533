package plan_test

import (
	"slices"
	"strings"
	"testing"

	"bayround/internal/plan"
	pb "bayround/proto/bayround/v1"

	"github.com/google/go-cmp/cmp"
)

// wheelsOf plans one item over some wheels of a vehicle and returns where they are.
func wheelsOf(v *pb.VehicleConfiguration, over pb.RepeatOver) []*pb.CheckStep {
	item := &pb.Item{
		Id: "TYR-010", Title: "Tyre", FitsAny: []string{"powered", "trailer"}, RepeatOver: over, Triggers: []pb.Trigger{pb.Trigger_TRIGGER_SHIFT},
		Prompt: "{place}: {target} {unit}", Parts: []*pb.ReadingPart{{Quantity: pb.Quantity_QUANTITY_PRESSURE, UsualUnit: "bar"}},
	}
	return plan.Build(plan.Input{
		Vehicle: v, Catalogue: &pb.Catalogue{Items: []*pb.Item{item}}, Routine: &pb.Routine{Triggers: []pb.Trigger{pb.Trigger_TRIGGER_SHIFT}},
	}).GetSteps()
}

func titlesOf(steps []*pb.CheckStep) []string {
	var titles []string
	for _, s := range steps {
		titles = append(titles, strings.TrimPrefix(s.GetTitle(), "Tyre, "))
	}
	slices.Sort(titles)
	return titles
}

// axle is an axle with the 295/80 R22.5 tyres of a heavy appliance.
func axle(x float64, steers bool, wheels int32) *pb.Axle {
	return &pb.Axle{XM: x, Steers: steers, WheelsPerSide: wheels, TrackM: 2, Tyre: &pb.Tyre{Size: "295/80 R22.5", ColdPressureKpa: 850}}
}

func vehicle(train pb.PowerTrain, axles ...*pb.Axle) *pb.VehicleConfiguration {
	return &pb.VehicleConfiguration{
		PowerTrain: train, Axles: axles, DriverSide: pb.Side_SIDE_OFFSIDE,
		Dimensions: &pb.Dimensions{LengthM: 8, WidthM: 2.5, HeightM: 3, FrontOverhangM: 1.4},
	}
}

// TestBuild_WhichWheelsAreFront is the convention of the package comment, and
// how axles are named by those who work on them (common practice).
func TestBuild_WhichWheelsAreFront(t *testing.T) {
	diesel, trailer := pb.PowerTrain_POWER_TRAIN_DIESEL, pb.PowerTrain_POWER_TRAIN_NONE
	for _, tc := range []struct {
		name        string
		v           *pb.VehicleConfiguration
		front, rear []string // on the nearside
	}{
		{"two axles, twins", vehicle(diesel, axle(0, true, 1), axle(-4, false, 2)), []string{"front axle"}, []string{"rear axle, inner", "rear axle, outer"}},
		{"rear steer counts as rear", vehicle(diesel, axle(0, true, 1), axle(-4, false, 2), axle(-5.4, true, 1)), []string{"front axle"}, []string{"first rear axle, inner", "first rear axle, outer", "second rear axle"}},
		{"two axles, both steer", vehicle(diesel, axle(0, true, 1), axle(-3, true, 1)), []string{"front axle"}, []string{"rear axle"}},
		{
			"two steered in front", vehicle(diesel, axle(0, true, 1), axle(-2, true, 1), axle(-5, false, 2), axle(-6.4, false, 2)),
			[]string{"first front axle", "second front axle"},
			[]string{"first rear axle, inner", "first rear axle, outer", "second rear axle, inner", "second rear axle, outer"},
		},
		{"nobody said that it steers", vehicle(diesel, axle(0, false, 1), axle(-4, false, 1)), []string{"front axle"}, []string{"rear axle"}},
		{"trailer with one axle", vehicle(trailer, axle(0, false, 1)), nil, []string{"axle"}},
		{"trailer with two axles", vehicle(trailer, axle(0, false, 1), axle(-1, false, 1)), nil, []string{"first axle", "second axle"}},
		{"trailer that steers", vehicle(trailer, axle(0, true, 1), axle(-4, false, 1)), []string{"front axle"}, []string{"rear axle"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			for _, end := range []struct {
				over pb.RepeatOver
				want []string
			}{{pb.RepeatOver_REPEAT_OVER_FRONT_WHEELS, tc.front}, {pb.RepeatOver_REPEAT_OVER_REAR_WHEELS, tc.rear}} {
				var want []string
				for _, side := range []string{"nearside", "offside"} {
					for _, words := range end.want {
						name, twin, isTwin := strings.Cut(words, ", ")
						if isTwin {
							twin = ", " + twin
						}
						want = append(want, name+", "+side+twin)
					}
				}
				slices.Sort(want)
				if diff := cmp.Diff(want, titlesOf(wheelsOf(tc.v, end.over))); diff != "" {
					t.Errorf("%v (-want +got):\n%s", end.over, diff)
				}
			}
		})
	}
}

// TestBuild_PlacesWheels: half the track to the side, half the tyre up, twins in
// by their spacing. The tyre's height is rim and two walls, by the size itself.
func TestBuild_PlacesWheels(t *testing.T) {
	for _, tc := range []struct {
		source, size string
		radius, in   float64 // in: how far further in the inner wheel is
	}{
		{"22.5 in + 2 x 80 % of 295 mm = 1043.5 mm", "295/80 R22.5", 0.522, 0.33},
		{"19.5 in + 2 x 70 % of 245 mm = 838.3 mm", "245/70 R19.5", 0.419, 0.274},
		{"14 in + 2 x 82 % of 215 mm = 708.2 mm; 82 % where a size names none is common practice", "215 R14", 0.354, 0.241},
		{"16 in + 2 x 75 % of 195 mm = 698.9 mm; letters after it do not matter", "195/75 R16C", 0.349, 0.218},
		{"a size that cannot be read: the package comment", "special", 0.5, 0.32},
	} {
		t.Run(tc.size, func(t *testing.T) {
			twins := axle(-4, false, 2)
			twins.Tyre.Size = tc.size
			got := map[string]*pb.Point{}
			for _, s := range wheelsOf(vehicle(pb.PowerTrain_POWER_TRAIN_DIESEL, axle(0, true, 1), twins), pb.RepeatOver_REPEAT_OVER_ALL_WHEELS) {
				got[s.GetPlace().GetId()] = s.GetPlace().GetAt()
			}
			want := map[string][3]float64{
				"axle-1-nearside": {0, 1, 0.522}, "axle-1-offside": {0, -1, 0.522},
				"axle-2-nearside-outer": {-4, 1, tc.radius}, "axle-2-nearside-inner": {-4, 1 - tc.in, tc.radius},
				"axle-2-offside-outer": {-4, -1, tc.radius}, "axle-2-offside-inner": {-4, tc.in - 1, tc.radius},
			}
			if len(got) != len(want) {
				t.Errorf("%d wheels, want 2 in front and 4 behind", len(got))
			}
			for id, w := range want {
				at := got[id]
				for i, v := range []float64{at.GetXM(), at.GetYM(), at.GetZM()} {
					if v-w[i] > 0.00101 || w[i]-v > 0.00101 {
						t.Errorf("%s (%s) lies at %v, want %v", id, tc.source, at, w)
					}
				}
			}
		})
	}
}

// TestBuild_SaysPlacardPressures: factors as in unit-factors.csv (1 bar = 100 kPa,
// 1 psi = 6.894757 kPa); rounded as gauges are read.
func TestBuild_SaysPlacardPressures(t *testing.T) {
	for _, tc := range []struct {
		kpa  float64
		unit string
		want string
	}{
		{850, "bar", "8.5 bar"},
		{800, "bar", "8.0 bar"},
		{825, "bar", "8.25 bar"},
		{850, "psi", "123 psi"},
		{850, "kPa", "850 kPa"},
		{250, "psi", "36 psi"},
		{250, "", "2.5 bar"},
		{850, "cubits", "850 kPa, in cubits"},
	} {
		v := vehicle(pb.PowerTrain_POWER_TRAIN_DIESEL, axle(0, true, 1))
		v.Axles[0].Tyre.ColdPressureKpa = tc.kpa
		item := &pb.Item{
			Id: "TYR-010", Title: "Tyre", FitsAny: []string{"powered"}, RepeatOver: pb.RepeatOver_REPEAT_OVER_ALL_WHEELS, Prompt: "{target} {unit}",
			Parts: []*pb.ReadingPart{{Quantity: pb.Quantity_QUANTITY_PRESSURE, UsualUnit: "bar"}},
		}
		steps := plan.Build(plan.Input{
			Vehicle: v, Catalogue: &pb.Catalogue{Items: []*pb.Item{item}}, Routine: &pb.Routine{Items: []string{"TYR-010"}},
			Station: &pb.Station{PressureUnit: tc.unit},
		}).GetSteps()
		if got := steps[0].GetPrompt(); got != tc.want || steps[0].GetTarget() != tc.kpa {
			t.Errorf("%v kPa in %q: %q, target %v; want %q", tc.kpa, tc.unit, got, steps[0].GetTarget(), tc.want)
		}
	}
}

// TestBuild_AsksInTheStationsUnits: pressures everywhere, depths where treads
// are; other lengths, as free play at the rim, in the unit that is usual for them.
func TestBuild_AsksInTheStationsUnits(t *testing.T) {
	part := func(q pb.Quantity, usual string) *pb.ReadingPart {
		return &pb.ReadingPart{Quantity: q, UsualUnit: usual}
	}
	parts := []*pb.ReadingPart{
		part(pb.Quantity_QUANTITY_PRESSURE, "bar"), part(pb.Quantity_QUANTITY_PRESSURE_RATE, "bar/min"),
		part(pb.Quantity_QUANTITY_LENGTH, "cm"), part(pb.Quantity_QUANTITY_VOLTAGE, "V"),
	}
	station := &pb.Station{PressureUnit: "psi", TreadUnit: "in/32"}
	for _, tc := range []struct {
		over    pb.RepeatOver
		station *pb.Station
		want    []string
	}{
		{pb.RepeatOver_REPEAT_OVER_ONCE, station, []string{"psi", "psi/min", "cm", "V"}},
		{pb.RepeatOver_REPEAT_OVER_AXLE_ENDS, station, []string{"psi", "psi/min", "cm", "V"}},
		{pb.RepeatOver_REPEAT_OVER_ALL_WHEELS, station, []string{"psi", "psi/min", "in/32", "V"}},
		{pb.RepeatOver_REPEAT_OVER_ALL_WHEELS, nil, []string{"bar", "bar/min", "cm", "V"}},
	} {
		item := &pb.Item{Id: "ITM-010", Title: "Thing", Anchor: "front", FitsAny: []string{"powered"}, RepeatOver: tc.over, Parts: parts}
		steps := plan.Build(plan.Input{
			Vehicle: vehicle(pb.PowerTrain_POWER_TRAIN_DIESEL, axle(0, true, 1)), Catalogue: &pb.Catalogue{Items: []*pb.Item{item}},
			Routine: &pb.Routine{Items: []string{"ITM-010"}}, Station: tc.station,
		}).GetSteps()
		if diff := cmp.Diff(tc.want, steps[0].GetUnits()); diff != "" {
			t.Errorf("%v at %v (-want +got):\n%s", tc.over, tc.station, diff)
		}
	}
}
