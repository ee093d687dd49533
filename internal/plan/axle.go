package plan

import (
	"fmt"
	"math"
	"regexp"
	"strconv"

	"bayround/internal/feature"
	pb "bayround/proto/bayround/v1"
)

// Where wheels are, beside what a configuration says.
const (
	frontReachM  = 2.5  // a second front axle lies at most so far behind the first
	twinSpacing  = 1.12 // between the centres of twins, in widths of their tyre; common practice
	twinSpacingM = 0.32 // where the tyre's width cannot be read
	wheelHeightM = 0.5  // where the tyre's size cannot be read
	inchM        = 0.0254
)

// sides is both sides, in the order in which things at an axle are listed.
var sides = [...]pb.Side{pb.Side_SIDE_NEARSIDE, pb.Side_SIDE_OFFSIDE}

// ordinals count axles of one kind.
var ordinals = [...]string{"first", "second", "third", "fourth", "fifth", "sixth"}

// countFront returns how many axles, from the first on, are front axles.
func countFront(v *pb.VehicleConfiguration) int {
	front := 0
	for i, axle := range v.GetAxles() {
		first := i == 0 && feature.IsPowered(v)
		if !first && (!axle.GetSteers() || axle.GetXM() < -frontReachM) {
			break
		}
		front++
	}
	return front
}

// nameAxle returns the words for an axle, counted from 0, of so many of which
// the first few are front axles.
func nameAxle(i, front, axles int) string {
	kind, place, alike := "rear axle", i-front, axles-front
	switch {
	case front == 0:
		kind = "axle"
	case i < front:
		kind, place, alike = "front axle", i, front
	}
	if alike == 1 || place >= len(ordinals) {
		return kind
	}
	return ordinals[place] + " " + kind
}

// placeAxles returns the wheels and the axle ends of a vehicle.
func placeAxles(v *pb.VehicleConfiguration) (wheels, ends []spot) {
	front := countFront(v)
	for i, axle := range v.GetAxles() {
		for _, side := range sides {
			end := spot{axle: int32(i + 1), side: side, front: i < front, tyre: axle.GetTyre(), alike: 1}
			end.place = &pb.Place{
				Id:    fmt.Sprintf("axle-%d-%s", i+1, nameSide(side)),
				Title: fmt.Sprintf("%s, %s", nameAxle(i, front, len(v.GetAxles())), nameSide(side)),
				At:    point(axle.GetXM(), signOf(side)*axle.GetTrackM()/2, tyreHeightM(axle.GetTyre())/2),
			}
			ends = append(ends, end)
			if axle.GetWheelsPerSide() < 2 {
				end.twin = pb.TwinPosition_TWIN_POSITION_SINGLE
				wheels = append(wheels, end)
				continue
			}
			wheels = append(wheels, twin(end, axle, pb.TwinPosition_TWIN_POSITION_OUTER), twin(end, axle, pb.TwinPosition_TWIN_POSITION_INNER))
		}
	}
	return wheels, ends
}

// twin returns one wheel of a twin pair at an axle end.
func twin(end spot, axle *pb.Axle, position pb.TwinPosition) spot {
	at, word := end.place.GetAt(), "outer"
	if position == pb.TwinPosition_TWIN_POSITION_INNER {
		word = "inner"
		at = point(at.GetXM(), signOf(end.side)*(axle.GetTrackM()/2-twinSpacingOf(axle.GetTyre())), at.GetZM())
	}
	end.twin = position
	end.place = &pb.Place{Id: end.place.GetId() + "-" + word, Title: end.place.GetTitle() + ", " + word, At: at}
	return end
}

// tyreSize reads width in millimetres, height in per cent of it where given,
// and the rim in inches.
var tyreSize = regexp.MustCompile(`^\s*(\d{3})(?:/(\d{2,3}))?\s*Z?[RD-]\s*(\d{1,2}(?:\.\d+)?)`)

// tyreHeightM returns the height of a new tyre off the ground, from its size.
func tyreHeightM(tyre *pb.Tyre) float64 {
	m := tyreSize.FindStringSubmatch(tyre.GetSize())
	if m == nil {
		return 2 * wheelHeightM
	}
	ratio := number(m[2])
	if ratio == 0 {
		ratio = 82 // a size without one, as "215 R14"; common practice
	}
	rim, wall := float64(number(m[3])*inchM), float64(number(m[1])/1000*ratio/100)
	return rim + wall + wall
}

// twinSpacingOf returns the distance between the centres of twins with this tyre, in metres.
func twinSpacingOf(tyre *pb.Tyre) float64 {
	m := tyreSize.FindStringSubmatch(tyre.GetSize())
	if m == nil {
		return twinSpacingM
	}
	return float64(number(m[1]) / 1000 * twinSpacing)
}

// number reads digits that an expression found; 0 for none.
func number(digits string) float64 {
	n, err := strconv.ParseFloat(digits, 64)
	if err != nil {
		return 0
	}
	return n
}

// nameSide returns the word for a side.
func nameSide(s pb.Side) string {
	if s == pb.Side_SIDE_NEARSIDE {
		return "nearside"
	}
	return "offside"
}

// signOf returns the sign of y on a side.
func signOf(s pb.Side) float64 {
	if s == pb.Side_SIDE_NEARSIDE {
		return 1
	}
	return -1
}

// point returns a point rounded to the millimetre. Products on the way to it are
// converted to float64 by name before anything is added to them: a machine may
// otherwise round the two operations as one, and another not.
func point(x, y, z float64) *pb.Point {
	return &pb.Point{XM: millimetres(x), YM: millimetres(y), ZM: millimetres(z)}
}

func millimetres(m float64) float64 {
	return math.Round(m*1000) / 1000
}
