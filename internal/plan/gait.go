package plan

import (
	"math"

	pb "bayround/proto/bayround/v1"
)

// The planner's own figures, for a catalogue that has none: those of the default
// catalogue (walk.yaml), which says of each where it comes from: the speed from MUTCD
// 2009, section 4E.06 (3.5 ft/s); all others are common practice.
const (
	usualSpeedMPerS = 1.07
	usualClearanceM = 0.6
	usualReachM     = 0.8
	usualAssistant  = 0.5
	usualCabTripS   = 5
)

func usualTimes() *pb.WalkTimes {
	return &pb.WalkTimes{
		SpeedMPerS: usualSpeedMPerS, ClearanceM: usualClearanceM, ReachM: usualReachM,
		ClimbIn: seconds(6), ClimbOut: seconds(5), ChangeSeat: seconds(4), RoofUp: seconds(15), RoofDown: seconds(15), Kneel: seconds(4),
		FlapOpen: seconds(12), FlapClose: seconds(8), Ignition: seconds(2), EngineStart: seconds(8), EngineStop: seconds(3),
		Circuit: seconds(3), NewStop: seconds(3),
	}
}

func seconds(s float64) *pb.Handling { return &pb.Handling{Seconds: s} }

// tenths is a time in tenths of a second. All times of a walk are whole tenths, so
// that sums are exact on every machine.
type tenths int64

func inTenths(s float64) tenths     { return tenths(math.Round(s * 10)) }
func (t tenths) seconds() float64   { return float64(t) / 10 }
func handled(h *pb.Handling) tenths { return inTenths(h.GetSeconds()) }

// price is what an order is chosen by: weighted hundredths of a second.
type price int64

func (p price) seconds() float64 { return float64(p) / 100 }

// gait is how long walking and handling take, and what it is worth to avoid them.
type gait struct {
	speedMPerS, clearanceM, reachM          float64
	climbIn, climbOut, changeSeat           tenths
	roof, kneel, flapOpen, flapClose        tenths
	ignition, start, stop, circuit, newStop tenths
	assistant                               price // of a tenth of a second with the assistant, beside the driver's
	cabTrip                                 price
}

func newGait(t *pb.WalkTimes, w *pb.WalkWeights) gait {
	if t == nil {
		t = usualTimes()
	}
	g := gait{speedMPerS: t.GetSpeedMPerS(), clearanceM: t.GetClearanceM(), reachM: t.GetReachM()}
	g.climbIn, g.climbOut, g.changeSeat = handled(t.GetClimbIn()), handled(t.GetClimbOut()), handled(t.GetChangeSeat())
	g.roof, g.kneel = handled(t.GetRoofUp())+handled(t.GetRoofDown()), handled(t.GetKneel())
	g.flapOpen, g.flapClose = handled(t.GetFlapOpen()), handled(t.GetFlapClose())
	g.ignition, g.start, g.stop = handled(t.GetIgnition()), handled(t.GetEngineStart()), handled(t.GetEngineStop())
	g.circuit, g.newStop = handled(t.GetCircuit()), handled(t.GetNewStop())
	if w == nil {
		w = &pb.WalkWeights{Assistant: usualAssistant, CabTripS: usualCabTripS}
	}
	// Weights count in tenths: so prices are whole numbers.
	g.assistant = price(math.Round(w.GetAssistant() * 10))
	g.cabTrip = price(math.Round(w.GetCabTripS()*10)) * 10
	return g
}

// walk is the time for some metres.
func (g gait) walk(metres float64) tenths { return inTenths(metres / g.speedMPerS) }

// arriving is the time that arriving at a halt takes beside the way: what must be
// opened there and closed again included.
func (g gait) arriving(s stance) (t tenths) {
	if s.kneel {
		t += g.kneel
	}
	if s.flap {
		t += g.flapOpen + g.flapClose
	}
	if s.roof {
		t += g.roof
	}
	return t
}

// changing is the time it takes in the seat to bring the vehicle into a condition.
func (g gait) changing(from, to condition) (t tenths) {
	if from.running && !to.running {
		t += g.stop
	}
	if from.ignition != to.ignition {
		t += g.ignition
	}
	if !from.running && to.running {
		t += g.start
	}
	return t
}

// of is the price of some time and climbs into the cab.
func (g gait) of(t tenths, cabTrips int, assistant bool) price {
	each := price(10)
	if assistant {
		each += g.assistant
	}
	return each*price(t) + g.cabTrip*price(cabTrips)
}
