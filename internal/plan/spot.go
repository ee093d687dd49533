package plan

import (
	"cmp"
	"math"
	"slices"
	"strings"

	pb "bayround/proto/bayround/v1"
)

const (
	wheelItems = "WHL-" // ids of items of the family of wheels
	endShare   = 0.1    // of the length, from an end, still counts as that end; common practice
)

// spot is one thing an item is looked at, and where it is.
type spot struct {
	place *pb.Place
	axle  int32 // from 1; 0 when it is not at an axle
	front bool  // at a front axle
	side  pb.Side
	twin  pb.TwinPosition // of a wheel
	tyre  *pb.Tyre        // of a wheel or axle end
	lamp  pb.LampFunction
	fluid *pb.Fluid
	alike int32
	named bool   // its words belong into the title, for there are others like it
	title string // of the step
	end   string // the stop at that end of the vehicle, for what has no side but belongs to an item that has
}

// layout is one vehicle's things where they are.
type layout struct {
	v            *pb.VehicleConfiguration
	wheels, ends []spot
}

func newLayout(v *pb.VehicleConfiguration) *layout {
	l := &layout{v: v}
	l.wheels, l.ends = placeAxles(v)
	return l
}

// spots returns everything at which an item is looked at.
func (l *layout) spots(item *pb.Item) []spot {
	var all []spot
	switch over := item.GetRepeatOver(); over {
	case pb.RepeatOver_REPEAT_OVER_FRONT_WHEELS, pb.RepeatOver_REPEAT_OVER_REAR_WHEELS, pb.RepeatOver_REPEAT_OVER_REAR_OUTER_WHEELS,
		pb.RepeatOver_REPEAT_OVER_REAR_INNER_WHEELS, pb.RepeatOver_REPEAT_OVER_ALL_WHEELS:
		all = l.wheelsOf(over)
	case pb.RepeatOver_REPEAT_OVER_AXLE_ENDS:
		all = slices.Clone(l.ends)
	case pb.RepeatOver_REPEAT_OVER_LAMPS:
		all = l.lampsOf(item.GetLampFunctions())
	case pb.RepeatOver_REPEAT_OVER_LOCKERS, pb.RepeatOver_REPEAT_OVER_CAB_DOORS, pb.RepeatOver_REPEAT_OVER_SLIDES:
		all = l.openingsOf(over)
	case pb.RepeatOver_REPEAT_OVER_CREW_SEATS, pb.RepeatOver_REPEAT_OVER_PATIENT_SEATS, pb.RepeatOver_REPEAT_OVER_BREATHING_SET_SEATS:
		all = l.seatsOf(over)
	default:
		kind := fittingOf(over)
		if kind == pb.FittingKind_FITTING_KIND_UNSPECIFIED {
			return l.once(item) // also what a later version repeats over: better once than never
		}
		all = l.fittingsOf(kind)
	}
	all = slices.DeleteFunc(all, func(s spot) bool { return !s.isOn(item.GetSide()) })
	for i := range all {
		all[i].named = true
		if item.GetSide() != pb.Side_SIDE_UNSPECIFIED && all[i].side == pb.Side_SIDE_UNSPECIFIED {
			all[i].end = l.endAt(all[i].place.GetAt())
		}
		if countsFixings(item) {
			all[i].alike = max(1, l.fixingsAt(all[i]))
		}
	}
	return all
}

// countsFixings tells that an item looks at the nuts or bolts of a wheel, which
// are alike: items of wheels that ask for conditions.
func countsFixings(item *pb.Item) bool {
	return strings.HasPrefix(item.GetId(), wheelItems) && item.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_CONDITION
}

// fixingsAt returns how many nuts or bolts hold the wheel at a spot: those of its
// axle, or of the nearest one where the spot names none; 0 when nobody says.
func (l *layout) fixingsAt(s spot) int32 {
	axles := l.v.GetAxles()
	if len(axles) == 0 {
		return 0
	}
	if s.axle > 0 {
		return axles[s.axle-1].GetFixing().GetCount()
	}
	away := func(a *pb.Axle) float64 { return math.Abs(a.GetXM() - s.place.GetAt().GetXM()) }
	return slices.MinFunc(axles, func(a, b *pb.Axle) int { return cmp.Compare(away(a), away(b)) }).GetFixing().GetCount()
}

// endAt returns the stop at the end of the vehicle where a point lies; empty for
// neither end.
func (l *layout) endAt(at *pb.Point) string {
	o := l.outline()
	switch {
	case at.GetXM() <= o.along(1-endShare):
		return "rear"
	case at.GetXM() >= o.along(endShare):
		return "front"
	}
	return ""
}

// stop returns where a spot of an item is looked at: the item's stop, or that at
// the end of the vehicle where the spot lies, if the catalogue has one.
func (s spot) stop(item *pb.Item, stops map[string]*pb.Stop) *pb.Stop {
	for _, id := range []string{s.end, item.GetStop()} {
		if stop := stops[id]; stop != nil {
			return stop
		}
	}
	return &pb.Stop{Id: item.GetStop()}
}

// isOn tells that a thing belongs to a side; everything does to none.
func (s spot) isOn(side pb.Side) bool {
	if side == pb.Side_SIDE_UNSPECIFIED {
		return true
	}
	if s.side != pb.Side_SIDE_UNSPECIFIED {
		return s.side == side
	}
	return (s.place.GetAt().GetYM() >= 0) == (side == pb.Side_SIDE_NEARSIDE)
}

func (l *layout) wheelsOf(over pb.RepeatOver) (all []spot) {
	for _, s := range l.wheels {
		inner := s.twin == pb.TwinPosition_TWIN_POSITION_INNER
		wanted := true
		switch over {
		case pb.RepeatOver_REPEAT_OVER_FRONT_WHEELS:
			wanted = s.front
		case pb.RepeatOver_REPEAT_OVER_REAR_WHEELS:
			wanted = !s.front
		case pb.RepeatOver_REPEAT_OVER_REAR_OUTER_WHEELS:
			wanted = !s.front && !inner
		case pb.RepeatOver_REPEAT_OVER_REAR_INNER_WHEELS:
			wanted = !s.front && inner
		}
		if wanted {
			all = append(all, s)
		}
	}
	return all
}

// lampsOf returns the lamps of some functions, of all when none is named. What
// is alike in a lamp is its light sources.
func (l *layout) lampsOf(functions []pb.LampFunction) (all []spot) {
	for _, lamp := range l.v.GetLamps() {
		if len(functions) == 0 || slices.Contains(functions, lamp.GetFunction()) {
			all = append(all, spot{place: lamp.GetPlace(), side: lamp.GetSide(), lamp: lamp.GetFunction(), alike: max(1, lamp.GetLightSources())})
		}
	}
	return all
}

func (l *layout) openingsOf(over pb.RepeatOver) (all []spot) {
	for _, o := range l.v.GetOpenings() {
		wanted := false
		switch o.GetKind() {
		case pb.OpeningKind_OPENING_KIND_LOCKER, pb.OpeningKind_OPENING_KIND_SHUTTER:
			wanted = over == pb.RepeatOver_REPEAT_OVER_LOCKERS
		case pb.OpeningKind_OPENING_KIND_CAB_DOOR:
			wanted = over == pb.RepeatOver_REPEAT_OVER_CAB_DOORS
		case pb.OpeningKind_OPENING_KIND_SLIDE:
			wanted = over == pb.RepeatOver_REPEAT_OVER_SLIDES
		}
		if wanted {
			all = append(all, spot{place: o.GetPlace(), side: l.sideOf(o), alike: 1})
		}
	}
	return all
}

// sideOf returns the side an opening is on: the one it names, or the one it lies
// on, further out than half way; unspecified nearer to the centre line.
func (l *layout) sideOf(o *pb.Opening) pb.Side {
	y, halfWay := o.GetPlace().GetAt().GetYM(), l.outline().half/2
	switch {
	case o.GetSide() != pb.Side_SIDE_UNSPECIFIED || halfWay == 0:
		return o.GetSide()
	case y > halfWay:
		return pb.Side_SIDE_NEARSIDE
	case y < -halfWay:
		return pb.Side_SIDE_OFFSIDE
	}
	return pb.Side_SIDE_UNSPECIFIED
}

func (l *layout) seatsOf(over pb.RepeatOver) (all []spot) {
	for _, s := range l.v.GetSeats() {
		patient := s.GetKind() == pb.SeatKind_SEAT_KIND_PATIENT_COMPARTMENT
		wanted := false
		switch over {
		case pb.RepeatOver_REPEAT_OVER_CREW_SEATS:
			wanted = s.GetKind() == pb.SeatKind_SEAT_KIND_CREW
		case pb.RepeatOver_REPEAT_OVER_PATIENT_SEATS:
			wanted = patient
		case pb.RepeatOver_REPEAT_OVER_BREATHING_SET_SEATS:
			wanted = s.GetBreathingSet() && !patient
		}
		if wanted {
			all = append(all, spot{place: s.GetPlace(), alike: 1})
		}
	}
	return all
}

func (l *layout) fittingsOf(kind pb.FittingKind) (all []spot) {
	for _, f := range l.v.GetFittings() {
		if f.GetKind() == kind {
			all = append(all, spot{place: f.GetPlace(), side: f.GetSide(), alike: 1})
		}
	}
	return all
}

// fittingOf returns the kind of fitting an item is repeated over; unspecified
// when it is not repeated over fittings.
func fittingOf(over pb.RepeatOver) pb.FittingKind {
	switch over {
	case pb.RepeatOver_REPEAT_OVER_MIRRORS:
		return pb.FittingKind_FITTING_KIND_MIRROR
	case pb.RepeatOver_REPEAT_OVER_WIPERS:
		return pb.FittingKind_FITTING_KIND_WIPER
	case pb.RepeatOver_REPEAT_OVER_PLATES:
		return pb.FittingKind_FITTING_KIND_PLATE
	case pb.RepeatOver_REPEAT_OVER_AIR_TANKS:
		return pb.FittingKind_FITTING_KIND_AIR_TANK
	case pb.RepeatOver_REPEAT_OVER_AIR_CIRCUITS:
		return pb.FittingKind_FITTING_KIND_AIR_CIRCUIT
	case pb.RepeatOver_REPEAT_OVER_HAND_RADIOS:
		return pb.FittingKind_FITTING_KIND_HAND_RADIO
	case pb.RepeatOver_REPEAT_OVER_OUTLETS:
		return pb.FittingKind_FITTING_KIND_OUTLET
	case pb.RepeatOver_REPEAT_OVER_TOOL_BATTERIES:
		return pb.FittingKind_FITTING_KIND_TOOL_BATTERY
	case pb.RepeatOver_REPEAT_OVER_WHEELS_WORKED_ON:
		return pb.FittingKind_FITTING_KIND_WHEEL_WORKED_ON
	default:
		return pb.FittingKind_FITTING_KIND_UNSPECIFIED
	}
}

// once returns the one thing an item that is not repeated is looked at, or each
// fluid of its kind; none when the vehicle has not got it.
func (l *layout) once(item *pb.Item) []spot {
	if item.GetFluid() != pb.FluidKind_FLUID_KIND_UNSPECIFIED {
		return l.fluidsOf(item)
	}
	s := spot{place: l.anchor(item), side: item.GetSide(), alike: 1}
	if functions := item.GetLampFunctions(); len(functions) > 0 && len(l.v.GetLamps()) > 0 {
		lamps := l.lampsOf(functions)
		if len(lamps) == 0 {
			return nil
		}
		s.alike = int32(len(lamps))
		if len(functions) == 1 {
			s.lamp = functions[0]
		}
	}
	return []spot{s}
}

func (l *layout) fluidsOf(item *pb.Item) (all []spot) {
	for _, f := range l.v.GetFluids() {
		if f.GetKind() == item.GetFluid() {
			all = append(all, spot{place: f.GetPlace(), fluid: f, alike: 1})
		}
	}
	for i := range all {
		all[i].named = len(all) > 1
	}
	if len(all) == 0 && mustHave(l.v, item.GetFluid()) {
		all = append(all, spot{place: l.anchor(item), alike: 1})
	}
	return all
}
