package rules

import (
	"testing"

	"bayround/internal/catalogue"
	pb "bayround/proto/bayround/v1"
)

// The units that explanations and names of numbers tell are those that values are
// kept in.
func TestQuantities_AreKeptInTheUnitsOfTheCatalogue(t *testing.T) {
	for number, name := range pb.Quantity_name {
		q := pb.Quantity(number)
		if got, want := quantities[q].unit, catalogue.UnitOf(q); got != want {
			t.Errorf("%s is told in %q and kept in %q", name, got, want)
		}
	}
}
