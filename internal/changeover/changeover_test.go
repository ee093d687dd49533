package changeover_test

import (
	"testing"

	"bayround/internal/changeover"
	pb "bayround/proto/bayround/v1"
)

// What is told of a reserve: capability difference, height, width and mass card, seats
// (changeover guideline of one Canadian city, S69 of the job map, part A8).
func TestDifferences(t *testing.T) {
	newer := func() *pb.VehicleConfiguration {
		return &pb.VehicleConfiguration{
			GrossMassKg: 18000, Dimensions: &pb.Dimensions{HeightM: 3.3, WidthM: 2.5, LengthM: 8},
			Seats: make([]*pb.Seat, 6), Capabilities: []string{"pump", "mast"},
		}
	}
	for _, test := range []struct {
		name string
		by   func(v *pb.VehicleConfiguration)
		want string
	}{
		{"the same", func(*pb.VehicleConfiguration) {}, "no difference that control must know"},
		{"taller", func(v *pb.VehicleConfiguration) { v.Dimensions.HeightM = 3.44 }, "0.14 m taller: 3.44 m"},
		{"a centimetre", func(v *pb.VehicleConfiguration) { v.Dimensions.HeightM = 3.31 }, "0.01 m taller: 3.31 m"},
		{"less than a centimetre", func(v *pb.VehicleConfiguration) { v.Dimensions.HeightM = 3.309 }, "no difference that control must know"},
		{"lower, narrower, longer", func(v *pb.VehicleConfiguration) { v.Dimensions = &pb.Dimensions{HeightM: 3, WidthM: 2.4, LengthM: 9} }, "0.30 m lower: 3.00 m; 0.10 m narrower: 2.40 m; 1.00 m longer: 9.00 m"},
		{"lighter", func(v *pb.VehicleConfiguration) { v.GrossMassKg = 16000 }, "2000 kg lighter: 16000 kg"},
		{"fewer seats", func(v *pb.VehicleConfiguration) { v.Seats = v.Seats[:5] }, "5 seats instead of 6"},
		{"no mast, but a winch", func(v *pb.VehicleConfiguration) { v.Capabilities = []string{"pump", "winch"} }, "no mast; also has winch"},
	} {
		takes := newer()
		test.by(takes)
		if got := changeover.InWords(changeover.Differences(takes, newer())); got != test.want {
			t.Errorf("%s: %q, want %q", test.name, got, test.want)
		}
	}
}
