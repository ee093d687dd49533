package county

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	pb "bayround/proto/bayround/v1"
)

// Days is how many days the past has: fifteen months.
const Days = 456

// Odometer that every vehicle of the county has on its last evening, and the hours
// its engine has run then, a little less than the rounds of its today say.
const (
	lastKM    = 48190
	lastHours = 3118
)

// Air that brakes lose in a minute, and how far one reads it off, in kPa.
const (
	releasedLossKPa = 3
	heldLossKPa     = 5
	lossHandKPa     = 0.6
)

// life is a vehicle while its past is made up, day after day, oldest first.
type life struct {
	vehicle  *pb.VehicleConfiguration
	plans    map[string]*pb.Plan // by the short name of the routine
	crew     crew
	midnight time.Time // of the day that is called today

	outings   []outing // one for each day of the past
	km, hours float64
	wheels    []*wheel
	tanks     map[string]*tank
	fuel      float64 // percent
	volts     float64 // of the battery at rest
	meter     *rand.Rand
	holdLoss  float64 // kPa a minute, pedal held
	loss      *rand.Rand

	today   day
	entries []entry
}

// day is what is done otherwise on one day.
type day struct {
	wholeShift, wholeWeekly bool
	shift                   bool // though it is not the day of the week
	gauge                   string
	air                     airPlan
	driver                  string
	shiftAnswers            []answer // beside what is measured, or in its place
	weeklyAnswers           []answer
	late                    bool    // the device was without a network till noon
	slope                   float64 // by which levels look lower
	device                  string
	began                   time.Duration // after midnight; 0 for the usual hour
	stopped                 time.Time     // when the engine stopped; zero for the evening before
}

// crew is who checks the vehicles of a station, and with what.
type crew struct {
	drivers []string
	device  string
	gauges  map[pb.Quantity]string
}

// crews by station.
func crews() map[string]crew {
	pressure, length, voltage := pb.Quantity_QUANTITY_PRESSURE, pb.Quantity_QUANTITY_LENGTH, pb.Quantity_QUANTITY_VOLTAGE
	return map[string]crew{
		"stations/skarholm-quay": {
			[]string{"people/arkwith", "people/quellmere", "people/marrable"},
			"tablet-1",
			map[pb.Quantity]string{pressure: "gauges/g-07", length: "gauges/d-01", voltage: "gauges/v-01"},
		},
		"stations/pellan-cross": {
			[]string{"people/fennigar", "people/corrabell", "people/quellmere"},
			"tablet-2",
			map[pb.Quantity]string{pressure: "gauges/g-11", length: "gauges/d-02", voltage: "gauges/v-02"},
		},
		"stations/ostrey-point": {
			[]string{"people/venholt", "people/corrabell"},
			"tablet-3",
			map[pb.Quantity]string{pressure: "gauges/g-15", length: "gauges/d-03", voltage: "gauges/v-03"},
		},
	}
}

// born makes a vehicle as it was before the first day.
func born(v *pb.VehicleConfiguration, plans map[string]*pb.Plan, midnight time.Time) (*life, error) {
	of, ok := crews()[v.GetStation()]
	if !ok {
		return nil, fmt.Errorf("nobody of the county checks the vehicles of %q", v.GetStation())
	}
	l := &life{
		vehicle: v, plans: plans, crew: of, midnight: midnight,
		outings: outings(v.GetCallSign(), 22, 0.2),
		wheels:  wheels(v, plans["weekly"]), tanks: tanks(v, plans["shift"]), fuel: fuelTo,
		volts: 25.6, meter: chance(v.GetCallSign(), "volts"), holdLoss: heldLossKPa, loss: chance(v.GetCallSign(), "loss"),
	}
	if v.GetSystemVoltageV() == 12 {
		l.volts = 12.65
	}
	if v.GetCallSign() == "WN12" {
		l.outings = outings(v.GetCallSign(), 55, 1.6) // half of its hours
	}
	l.km, l.hours = lastKM, lastHours
	for _, o := range l.outings {
		l.km -= o.km
		l.hours -= o.hours()
	}
	return l, nil
}

// outing is what a vehicle does on one day, all runs together.
type outing struct{ km, pumpHours float64 }

// hours is how long the engine runs: at 35 km/h, and at the pump.
func (o outing) hours() float64 { return o.km/35 + o.pumpHours }

// outings are those of every day; the pump runs on one day in three.
func outings(callSign string, kmDay, pumpHoursDay float64) (all []outing) {
	road := chance(callSign, "road")
	for range Days {
		o := outing{km: kmDay * (0.7 + 0.6*road.Float64())}
		if road.Float64() < 1./3 {
			o.pumpHours = 3 * pumpHoursDay * (0.5 + road.Float64())
		}
		all = append(all, o)
	}
	return all
}

// past makes up everything that happened to a vehicle, in its order.
func (l *life) past() []entry {
	hidden := hidden()[l.vehicle.GetCallSign()]
	for ago := Days; ago >= 1; ago-- {
		l.today = day{gauge: l.crew.gauges[pb.Quantity_QUANTITY_PRESSURE]}
		l.drive(l.outings[Days-ago])
		for _, happens := range hidden {
			happens(l, ago)
		}
		l.check(ago)
	}
	slices.SortStableFunc(l.entries, func(a, b entry) int {
		if a.ago != b.ago {
			return b.ago - a.ago
		}
		return int(a.at - b.at)
	})
	return l.entries
}

// drive lets a day's kilometres and hours pass.
func (l *life) drive(o outing) {
	l.km += o.km
	l.hours += o.hours()
	for _, w := range l.wheels {
		w.live(o.km)
	}
	for _, t := range l.tanks {
		t.use(o)
	}
	if l.fuel -= o.km * 0.15; l.fuel < fuelBelow {
		l.fuel = fuelTo
	}
}
