package county

import (
	"time"

	pb "bayround/proto/bayround/v1"
)

// The hours of a day at which things reach the station.
const (
	morning   = 9 * time.Hour
	noon      = 13 * time.Hour
	afternoon = 16 * time.Hour
	evening   = 20*time.Hour + 30*time.Minute
)

// entry is one thing in the past of a vehicle: exactly one of its last three.
type entry struct {
	ago    int           // days before today
	at     time.Duration // after midnight, when the station was told
	visit  *visit
	repair *repair
	check  *gaugeCheck
}

// repair is what the workshop did about everything that is open at a step.
type repair struct {
	step string // empty: at whatever step something is open
	done string
}

// gaugeCheck is a comparison of a gauge with a better one.
type gaugeCheck struct {
	gauge, reference string
	shown, true      float64 // in the unit of the gauge's quantity
	note             string
}

// visit is one round: a driver at a vehicle, with what was answered.
type visit struct {
	key        string // tells it from other visits to the vehicle on its day
	routine    string
	driver     string
	assistant  string
	device     string
	conditions *pb.RoundConditions
	began      time.Duration // after midnight, by the device's clock
	gauges     map[pb.Quantity]string
	answers    []answer
	whole      bool          // every other step of the plan is answered soundly
	usual      bool          // as whole, but what is known to be open is left alone
	share      bool          // of what is shared out the watch's share is looked at, and nothing else; what is measured there is left
	first      int           // only so many steps of the plan; 0 for all
	eachTook   time.Duration // from step to step; 0 for as long as the step needs
	turnout    string        // step at which a turnout interrupts the round, which is then left paused
	resumes    string        // key of the visit of this day that it goes on with
}

// answer is what was recorded at a step, oldest first: found, cured, read again.
type answer struct {
	step    string
	results []*pb.Result
}
