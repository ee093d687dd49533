package plan

import (
	"cmp"
	"math"

	"bayround/internal/feature"
	"bayround/internal/plan/ground"
	pb "bayround/proto/bayround/v1"
)

// room is a part of the vehicle one can be in.
type room int

const (
	outside room = 0
	cab     room = 1
	crewCab room = 2
	patient room = 3
)

// post is where a person is: so far along the round line, or inside behind the
// door that lies there.
type post struct {
	room  room
	seat  int // in the cab: 0 the driver's, 1 the other
	along float64
}

// stance is how a person looks at a thing: what arriving there takes beside the way.
type stance struct{ kneel, flap, roof bool }

// yard is the ground round one vehicle, and where its doors are.
type yard struct {
	line     ground.Outline
	powered  bool
	start    post // where a walk begins
	seat     post // where engine and ignition are switched; at a trailer the coupling
	box      outline
	crewDoor float64
	other    float64         // the other door of the cab
	back     float64         // the door of the patient compartment
	flap     float64         // the engine flap
	officer  map[string]bool // places at the officer's seat, by id
}

func newYard(l *layout, g gait) yard {
	o := l.outline()
	y := yard{line: lineRound(l, o, g.clearanceM), powered: feature.IsPowered(l.v), box: o}
	if !y.powered {
		return y // begins at the coupling, where the line begins
	}
	at := func(p *pb.Point) float64 { return y.line.Stand(ground.Point{X: p.GetXM(), Y: p.GetYM()}) }
	door := l.door(o)
	y.start = post{along: at(door)}
	y.seat = post{room: cab, along: y.start.along}
	y.officer = map[string]bool{"officer-seat": true}
	for _, seat := range l.v.GetSeats() {
		if seat.GetKind() == pb.SeatKind_SEAT_KIND_OFFICER {
			y.officer[seat.GetPlace().GetId()] = true
		}
	}
	y.flap = at(l.anchor(&pb.Item{Anchor: "engine-flap"}).GetAt())
	y.crewDoor, y.other, y.back = y.start.along, y.start.along, y.line.Stand(ground.Point{X: o.rear})
	if p := l.foremost(pb.OpeningKind_OPENING_KIND_CAB_DOOR, func(side pb.Side) bool { return side == l.v.GetDriverSide() }, -1); p != nil {
		y.crewDoor = at(p)
	}
	if p := l.foremost(pb.OpeningKind_OPENING_KIND_CAB_DOOR, func(side pb.Side) bool { return side != l.v.GetDriverSide() }, 1); p != nil {
		y.other = at(p)
	}
	if p := l.foremost(pb.OpeningKind_OPENING_KIND_PATIENT_DOOR, func(pb.Side) bool { return true }, -1); p != nil {
		y.back = at(p)
	}
	return y
}

// lineRound is the line a person keeps to: round the box, what sticks out of it and
// an engine flap that stands outside of it. Where no line can be drawn, the vehicle is a point.
func lineRound(l *layout, o outline, clearanceM float64) ground.Outline {
	corners := []ground.Point{{X: o.front, Y: o.half}, {X: o.front, Y: -o.half}, {X: o.rear, Y: o.half}, {X: o.rear, Y: -o.half}}
	for _, hang := range l.v.GetOverhangs() {
		for _, p := range hang.GetCorners() {
			corners = append(corners, ground.Point{X: p.GetXM(), Y: p.GetYM()})
		}
	}
	for _, place := range l.v.GetPlaces() {
		if place.GetId() == "engine-flap" { // a point within changes nothing
			corners = append(corners, ground.Point{X: place.GetAt().GetXM(), Y: place.GetAt().GetYM()})
		}
	}
	line, err := ground.NewOutline(corners, clearanceM)
	if err != nil {
		line, _ = ground.NewOutline([]ground.Point{{}}, clearanceM)
	}
	return line
}

// door returns the driver's door: the foremost cab door on that side, or where
// one would be; for a trailer the foremost corner on the offside.
func (l *layout) door(o outline) *pb.Point {
	door := l.foremost(pb.OpeningKind_OPENING_KIND_CAB_DOOR, func(side pb.Side) bool { return side == l.v.GetDriverSide() }, 1)
	switch {
	case door != nil:
		return door
	case !feature.IsPowered(l.v):
		return &pb.Point{XM: o.front, YM: -o.half}
	}
	return &pb.Point{XM: o.along(0.15), YM: o.driver * o.half}
}

// foremost returns the foremost opening of a kind on some sides, or with sign -1 the
// hindmost; of several the first by id. nil when there is none.
func (l *layout) foremost(kind pb.OpeningKind, on func(pb.Side) bool, sign float64) *pb.Point {
	var found *pb.Place
	for _, opening := range l.v.GetOpenings() {
		place := opening.GetPlace()
		if opening.GetKind() != kind || !on(opening.GetSide()) {
			continue
		}
		if found == nil || cmp.Or(cmp.Compare(float64(sign*found.GetAt().GetXM()), float64(sign*place.GetAt().GetXM())), cmp.Compare(place.GetId(), found.GetId())) < 0 {
			found = place
		}
	}
	return found.GetAt()
}

// standFor is where on the line one stands for a place.
func (y *yard) standFor(step *pb.CheckStep) float64 {
	at := step.GetPlace().GetAt()
	return y.line.Stand(ground.Point{X: at.GetXM(), Y: at.GetYM()})
}

// postFor is where the driver is for a step, and how. What is looked at from inside and
// outside is looked at through the open door: one stands outside. On the road one sits at the wheel.
func (y *yard) postFor(step *pb.CheckStep) (post, stance) {
	stand := post{along: y.standFor(step)}
	if !y.powered {
		return stand, stance{kneel: step.GetPosition() == pb.Position_POSITION_OUTSIDE_KNEELING}
	}
	switch step.GetPosition() {
	case pb.Position_POSITION_OUTSIDE_KNEELING, pb.Position_POSITION_PIT:
		return stand, stance{kneel: step.GetPosition() == pb.Position_POSITION_OUTSIDE_KNEELING}
	case pb.Position_POSITION_ENGINE_FLAP:
		return post{along: y.flap}, stance{flap: true}
	case pb.Position_POSITION_ROOF:
		return stand, stance{roof: true}
	case pb.Position_POSITION_INSIDE_CAB:
		if y.officer[step.GetPlace().GetId()] {
			return post{room: cab, seat: 1, along: y.other}, stance{}
		}
		return y.seat, stance{} // a gauge is read there, wherever its tank is
	case pb.Position_POSITION_ROAD:
		return y.seat, stance{}
	case pb.Position_POSITION_INSIDE_CREW_CAB:
		return post{room: crewCab, along: y.crewDoor}, stance{}
	case pb.Position_POSITION_PATIENT_COMPARTMENT:
		return post{room: patient, along: y.back}, stance{}
	}
	return stand, stance{}
}

// isInside tells that a place lies inside the box, not at its sides.
func (y *yard) isInside(at *pb.Point) bool {
	const skin = 0.1 // metres; common practice
	return at.GetXM() < y.box.front-skin && at.GetXM() > y.box.rear+skin && math.Abs(at.GetYM()) < y.box.half-skin
}

// move is the way from one post to another.
type move struct {
	time     tenths
	metres   float64
	cabTrips int
	path     []float64 // posts of the way outside along the line; empty when one stays inside
}

// move returns the shortest way. From cab to crew cab and from seat to seat one need not
// go out; to a patient compartment one must: nobody says that there is a passage.
func (y *yard) move(g gait, a, b post) (m move) {
	switch {
	case a == b:
		return move{}
	case a.room != outside && b.room != outside && a.room != patient && b.room != patient:
		return move{time: g.changeSeat}
	}
	m.metres = y.line.Distance(a.along, b.along)
	m.time = g.walk(m.metres)
	m.path = []float64{a.along, b.along}
	if a.room != outside {
		m.time += g.climbOut
	}
	if b.room != outside {
		m.time += g.climbIn
	}
	if b.room == cab || b.room == crewCab {
		m.cabTrips++
	}
	return m
}
