// Package changeover says in what a vehicle differs from the one whose place it takes,
// as far as those who send it must know: whether it fits under the bridge, how many it
// brings, what it cannot do.
package changeover

import (
	"fmt"
	"math"
	"slices"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// The least differences that are told: below them two measures are the same.
const (
	leastM  = 0.01
	leastKg = 50
)

// Differences are what differs about a vehicle that takes the place of another:
// measures first, then seats, then capabilities that are missing, then those it has
// beside. Metres are told to the centimetre.
func Differences(takes, instead *pb.VehicleConfiguration) []*pb.VehicleDifference {
	mine, theirs := takes.GetDimensions(), instead.GetDimensions()
	all := slices.Concat(
		metres("height", "taller", "lower", mine.GetHeightM(), theirs.GetHeightM()),
		metres("width", "wider", "narrower", mine.GetWidthM(), theirs.GetWidthM()),
		metres("length", "longer", "shorter", mine.GetLengthM(), theirs.GetLengthM()),
		mass(takes.GetGrossMassKg(), instead.GetGrossMassKg()),
		seats(len(takes.GetSeats()), len(instead.GetSeats())),
	)
	for _, word := range instead.GetCapabilities() {
		if !slices.Contains(takes.GetCapabilities(), word) {
			all = append(all, &pb.VehicleDifference{What: word, Text: "no " + word})
		}
	}
	for _, word := range takes.GetCapabilities() {
		if !slices.Contains(instead.GetCapabilities(), word) {
			all = append(all, &pb.VehicleDifference{What: word, Text: "also has " + word})
		}
	}
	return all
}

// InWords is all differences in one line.
func InWords(all []*pb.VehicleDifference) string {
	if len(all) == 0 {
		return "no difference that control must know"
	}
	texts := make([]string, len(all))
	for i, d := range all {
		texts[i] = d.GetText()
	}
	return strings.Join(texts, "; ")
}

func metres(what, more, less string, mine, theirs float64) []*pb.VehicleDifference {
	by := math.Abs(mine - theirs)
	if by < leastM-1e-9 {
		return nil
	}
	return []*pb.VehicleDifference{{What: what, Text: fmt.Sprintf("%.2f m %s: %.2f m", by, word(mine > theirs, more, less), mine)}}
}

func mass(mine, theirs float64) []*pb.VehicleDifference {
	by := math.Abs(mine - theirs)
	if by < leastKg {
		return nil
	}
	return []*pb.VehicleDifference{{What: "gross_mass", Text: fmt.Sprintf("%.0f kg %s: %.0f kg", by, word(mine > theirs, "heavier", "lighter"), mine)}}
}

func seats(mine, theirs int) []*pb.VehicleDifference {
	if mine == theirs {
		return nil
	}
	return []*pb.VehicleDifference{{What: "seats", Text: fmt.Sprintf("%d seats instead of %d", mine, theirs)}}
}

func word(first bool, a, b string) string {
	if first {
		return a
	}
	return b
}
