package plan_test

import (
	"fmt"
	"slices"
	"sync"
	"testing"

	"bayround/internal/catalogue"
	"bayround/internal/feature"
	"bayround/internal/plan"
	pb "bayround/proto/bayround/v1"

	"pgregory.net/rapid"
)

// defaults is the catalogue and routines that come with the station.
var defaults = sync.OnceValues(func() (*catalogue.Loaded, error) { return catalogue.Load(catalogue.Defaults()) })

func loadDefaults(t testing.TB) *catalogue.Loaded {
	t.Helper()
	loaded, err := defaults()
	if err != nil {
		t.Fatal(err)
	}
	return loaded
}

// everything is one routine of all that can be due.
func everything() *pb.Routine {
	r := &pb.Routine{Name: "routines/everything"}
	for t := range pb.Trigger_name {
		r.Triggers = append(r.Triggers, pb.Trigger(t))
	}
	slices.Sort(r.Triggers)
	return r
}

// drawInput draws a vehicle, and what is due on it by the default catalogue.
func drawInput(t *rapid.T, loaded *catalogue.Loaded) plan.Input {
	routine := everything()
	if rapid.Bool().Draw(t, "one routine") {
		routine = rapid.SampledFrom(loaded.Routines).Draw(t, "routine")
	}
	return plan.Input{
		Vehicle: drawVehicle(t, loaded.Catalogue), Catalogue: loaded.Catalogue, Routine: routine,
		Station: &pb.Station{
			PressureUnit: rapid.SampledFrom([]string{"bar", "psi", "kPa"}).Draw(t, "pressure unit"),
			TreadUnit:    rapid.SampledFrom([]string{"mm", "in/32"}).Draw(t, "tread unit"),
		},
	}
}

// drawVehicle draws a configuration: every kind of thing, in any number.
func drawVehicle(t *rapid.T, c *pb.Catalogue) *pb.VehicleConfiguration {
	v := &pb.VehicleConfiguration{
		Name: "vehicles/drawn", Revision: 3,
		PowerTrain:    pb.PowerTrain(rapid.IntRange(1, 4).Draw(t, "power train")),
		BrakingSystem: pb.BrakingSystem(rapid.IntRange(1, 4).Draw(t, "braking system")),
		DriverSide:    pb.Side(rapid.IntRange(0, 2).Draw(t, "driver side")),
		Dimensions: &pb.Dimensions{
			LengthM: rapid.Float64Range(7, 14).Draw(t, "length"), WidthM: rapid.Float64Range(2.2, 3).Draw(t, "width"),
			HeightM: rapid.Float64Range(1.2, 4).Draw(t, "height"), FrontOverhangM: rapid.Float64Range(0.5, 1.5).Draw(t, "overhang"),
		},
	}
	for i := range rapid.IntRange(1, 4).Draw(t, "axles") {
		v.Axles = append(v.Axles, &pb.Axle{
			XM: -1.6 * float64(i), Steers: rapid.Bool().Draw(t, "steers"), WheelsPerSide: int32(rapid.IntRange(1, 2).Draw(t, "wheels")), TrackM: 2,
			Tyre: &pb.Tyre{Size: rapid.SampledFrom([]string{"295/80 R22.5", "245/70 R19.5", "215 R14", "odd"}).Draw(t, "size"), ColdPressureKpa: 800},
		})
	}
	drawThings(t, v)
	v.Features = drawSome(t, "features", featureWords(c))
	for _, id := range drawSome(t, "places", []string{"engine-flap", "pump-panel", "front", "driver-seat"}) {
		v.Places = append(v.Places, &pb.Place{Id: id, Title: "place " + id, At: &pb.Point{XM: 0.5, ZM: 1}})
	}
	return v
}

// drawThings draws lamps, fluids, openings, seats, fittings and gear. Titles are
// drawn from few words, so that many things share one.
func drawThings(t *rapid.T, v *pb.VehicleConfiguration) {
	place := func(kind string, i int) *pb.Place {
		return &pb.Place{
			Id:    fmt.Sprintf("%s-%d", kind, i),
			Title: rapid.SampledFrom([]string{"here", "there, nearside", "there, offside", "upper"}).Draw(t, "title"),
			At: &pb.Point{
				XM: rapid.SampledFrom([]float64{-5, -2, 0.4}).Draw(t, "x"), YM: rapid.SampledFrom([]float64{-1, -0.4, 0, 0.4, 1}).Draw(t, "y"), ZM: 1,
			},
		}
	}
	side := func() pb.Side { return pb.Side(rapid.IntRange(0, 2).Draw(t, "side")) }
	many := func(kind string, most int) int { return rapid.IntRange(0, most).Draw(t, kind+"s") }
	for i := range many("lamp", 8) {
		v.Lamps = append(v.Lamps, &pb.Lamp{Place: place("lamp", i), Side: side(), LightSources: int32(i), Function: pb.LampFunction(rapid.IntRange(1, 18).Draw(t, "function"))})
	}
	for i := range many("fluid", 6) {
		v.Fluids = append(v.Fluids, &pb.Fluid{Place: place("fluid", i), Kind: pb.FluidKind(rapid.IntRange(1, 14).Draw(t, "fluid")), Reading: pb.FluidReading(rapid.IntRange(1, 5).Draw(t, "reading"))})
	}
	for i := range many("opening", 8) {
		v.Openings = append(v.Openings, &pb.Opening{Place: place("opening", i), Side: side(), Kind: pb.OpeningKind(rapid.SampledFrom([]int{1, 2, 3, 3, 3, 3, 4, 5, 6, 7, 8}).Draw(t, "kind"))})
	}
	for i := range many("seat", 6) {
		v.Seats = append(v.Seats, &pb.Seat{Place: place("seat", i), BreathingSet: rapid.Bool().Draw(t, "set"), Kind: pb.SeatKind(rapid.IntRange(1, 4).Draw(t, "kind"))})
	}
	for i := range many("fitting", 10) {
		v.Fittings = append(v.Fittings, &pb.Fitting{Place: place("fitting", i), Side: side(), Kind: pb.FittingKind(rapid.IntRange(1, 9).Draw(t, "kind"))})
	}
	for i := range many("gear", 4) {
		v.Equipment = append(v.Equipment, &pb.Equipment{Place: place("gear", i), Feature: rapid.SampledFrom([]string{"winch", "mast", "generator", "crane"}).Draw(t, "feature")})
	}
}

// drawSome draws a part of a list, in its order.
func drawSome(t *rapid.T, label string, all []string) []string {
	var some []string
	for _, word := range all {
		if rapid.Bool().Draw(t, label) {
			some = append(some, word)
		}
	}
	return some
}

// featureWords is every word that a vehicle may be configured with; what follows
// from other fields never is.
func featureWords(c *pb.Catalogue) []string {
	var words []string
	for _, item := range c.GetItems() {
		words = append(words, item.GetFitsAny()...)
	}
	slices.Sort(words)
	derived := feature.Derived(&pb.VehicleConfiguration{})
	return slices.DeleteFunc(slices.Compact(words), func(w string) bool { _, follows := derived[w]; return follows })
}
