package round_test

import (
	"math"
	"strconv"

	"bayround/internal/catalogue"
	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// soundText is what a driver types for a part that is as it should be: the value
// aimed at, or the middle of what is plausible, in the station's unit.
func soundText(step *pb.CheckStep, part int) string {
	p := step.GetParts()[part]
	si := (p.GetPlausible().GetLeast() + p.GetPlausible().GetGreatest()) / 2
	if part == 0 && step.Target != nil {
		si = step.GetTarget()
	}
	x, err := measure.Convert(si, catalogue.UnitOf(p.GetQuantity()), step.GetUnits()[part])
	if err != nil {
		panic(err)
	}
	return strconv.FormatFloat(math.Round(x*10)/10, 'f', -1, 64)
}
