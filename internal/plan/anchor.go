package plan

import (
	"strings"

	pb "bayround/proto/bayround/v1"
)

// anchor returns where an item is looked at that is neither repeated nor reads a
// listed fluid: the configured place of that name, the gear or seat it stands for,
// or a place worked out from the dimensions.
func (l *layout) anchor(item *pb.Item) *pb.Place {
	id := item.GetAnchor()
	if id == "" {
		id = anchorOf(item)
	}
	for _, place := range l.v.GetPlaces() {
		if place.GetId() == id {
			return place
		}
	}
	title := strings.ReplaceAll(id, "-", " ")
	if place := l.standsFor(id); place != nil {
		return &pb.Place{Id: id, Title: place.GetTitle(), At: place.GetAt()}
	}
	x, y, z := l.outline().place(id)
	return &pb.Place{Id: id, Title: title, At: point(x, y, z)}
}

// anchorOf returns the anchor of an item that names none, by where the driver is
// while looking; its stop where that says nothing.
func anchorOf(item *pb.Item) string {
	switch item.GetPosition() {
	case pb.Position_POSITION_ENGINE_FLAP:
		return "engine-flap"
	case pb.Position_POSITION_BATTERY_BOX:
		return "battery-box"
	case pb.Position_POSITION_INSIDE_CAB:
		return "driver-seat"
	case pb.Position_POSITION_INSIDE_CREW_CAB:
		return "crew-cab"
	case pb.Position_POSITION_PATIENT_COMPARTMENT:
		return "patient-compartment"
	case pb.Position_POSITION_ROOF:
		return "roof"
	default:
		return item.GetStop()
	}
}

// standsFor returns the place of the gear or seat that an anchor means; nil for none.
func (l *layout) standsFor(anchor string) *pb.Place {
	seat := pb.SeatKind_SEAT_KIND_UNSPECIFIED
	switch anchor {
	case "driver-seat", "parking-brake", "radio":
		seat = pb.SeatKind_SEAT_KIND_DRIVER
	case "officer-seat":
		seat = pb.SeatKind_SEAT_KIND_OFFICER
	}
	var found *pb.Place
	for _, s := range l.v.GetSeats() {
		if s.GetKind() == seat && seat != pb.SeatKind_SEAT_KIND_UNSPECIFIED {
			found = firstPlace(found, &pb.Place{Id: s.GetPlace().GetId(), Title: strings.ReplaceAll(anchor, "-", " "), At: s.GetPlace().GetAt()})
		}
	}
	feature := strings.ReplaceAll(anchor, "-", "_")
	for _, e := range l.v.GetEquipment() {
		if e.GetFeature() == feature {
			found = firstPlace(found, e.GetPlace())
		}
	}
	return found
}

// firstPlace returns the one of two places whose id comes first, so that the order of a list does not matter.
func firstPlace(a, b *pb.Place) *pb.Place {
	if a == nil || b.GetId() < a.GetId() {
		return b
	}
	return a
}

// outline is the box of a vehicle in its frame, in metres.
type outline struct {
	front, rear, half, height float64
	lastAxle                  float64
	driver                    float64 // sign of y on the driver's side
}

func (l *layout) outline() outline {
	d := l.v.GetDimensions()
	o := outline{
		front: d.GetFrontOverhangM(), rear: d.GetFrontOverhangM() - d.GetLengthM(),
		half: d.GetWidthM() / 2, height: d.GetHeightM(), driver: signOf(l.v.GetDriverSide()),
	}
	if axles := l.v.GetAxles(); len(axles) > 0 {
		o.lastAxle = axles[len(axles)-1].GetXM()
	}
	return o
}

// along returns x at a share of the length, 0 at the front and 1 at the rear.
func (o outline) along(share float64) float64 {
	return o.front + float64((o.rear-o.front)*share)
}

// place returns where an anchor or a stop lies when nothing is configured.
// Heights never lie above the roof.
func (o outline) place(id string) (x, y, z float64) {
	share, across, z := 0.5, 0.0, 1.0
	known := false
	for _, a := range anchors {
		if a.id == id {
			share, across, z, known = a.share, a.across, a.z, true
			break
		}
	}
	if across == driverSide || across == otherSide {
		across *= o.driver * driverAcross / driverSide
	}
	x = o.along(share)
	switch id {
	case "rear-axle-nearside", "rear-axle-offside", "turntable":
		x = o.lastAxle
	case "roof", "crane", "mast", "aerial-cage":
		z = o.height
	}
	if !known {
		z = o.height / 2
	}
	return x, across * o.half, min(z, o.height)
}

// driverSide and otherSide stand for a side that the configuration decides; no
// share of half the width is as great.
const (
	driverSide   = 2.0
	otherSide    = -driverSide
	driverAcross = 0.55 // where a seat is, as a share of half the width
)

// anchors are the words items use, and where they lie on a vehicle that does not
// say: share of the length from the front, share of half the width to the
// nearside, height in metres. Common practice; a configuration that knows better
// says so under places.
var anchors = [...]struct {
	id               string
	share, across, z float64
}{
	{"front", 0, 0, 1},
	{"rear", 1, 0, 1},
	{"nearside", 0.5, 1, 1},
	{"offside", 0.5, -1, 1},
	{"rear-axle-nearside", 0.7, 1, 0.5},
	{"rear-axle-offside", 0.7, -1, 0.5},
	{"roof", 0.5, 0, 0},
	{"underneath", 0.5, 0, 0.3},
	{"driver-seat", 0.15, driverSide, 1.5},
	{"officer-seat", 0.15, otherSide, 1.5},
	{"parking-brake", 0.15, driverSide, 1.5},
	{"radio", 0.15, driverSide, 1.5},
	{"crew-cab", 0.3, 0, 1.5},
	{"engine-flap", 0, 0, 1.2},
	{"battery-box", 0.4, -1, 0.8},
	{"master-switch", 0.42, -1, 0.9},
	{"fuel-tank", 0.4, 1, 0.8},
	{"shore-inlet", 0.3, -1, 1.2},
	{"charge-port", 0.97, 1, 1},
	{"high-voltage", 0.5, -1, 0.8},
	{"spare-wheel", 0.6, 0, 0.6},
	{"exhaust", 0.4, 0.6, 0.5},
	{"pump-panel", 1, 0, 1.2},
	{"hose-reel", 1, 0, 1.5},
	{"portable-pump", 0.5, 1, 1},
	{"tool-locker", 0.5, -1, 1},
	{"generator", 0.55, -1, 1},
	{"container", 1, 0, 1},
	{"tail-lift", 1, 0, 0.5},
	{"tow-hitch", 1, 0, 0.6},
	{"turntable", 0.7, 0, 2},
	{"aerial-control", 1, 0, 1.2},
	{"aerial-cage", 0, 0, 0},
	{"outriggers", 0.5, 1, 0.5},
	{"crane", 0.4, 0, 0},
	{"winch", 0, 0, 0.8},
	{"mast", 0.4, 0, 0},
	{"patient-compartment", 0.8, 0, 1},
	{"coupling", 0, 0, 0.5},
	// Stops, for items that name no anchor.
	{"engine-cold", 0, 0, 1.2},
	{"cab-off", 0.15, driverSide, 1.5},
	{"cab-ignition-on", 0.15, driverSide, 1.5},
	{"engine-running", 0.15, driverSide, 1.5},
	{"yard-roll", 0.15, driverSide, 1.5},
	{"pump", 1, 0, 1.2},
}
