package county

import (
	"math/rand/v2"

	pb "bayround/proto/bayround/v1"
)

const (
	eyeShare     = 0.02  // standard deviation of a level read by eye, as a share
	markShare    = 0.05  // steps in which a level is told
	stickShare   = 0.012 // the same of a dipstick, which shows more
	scribedShare = 0.01
	refillBelow  = 0.35
	refillTo     = 0.9
	fuelBelow    = 80 // percent
	fuelTo       = 95
	unknownTankL = 4 // between the marks, where the vehicle does not say
)

// tank is one fluid of a vehicle as it truly stands.
type tank struct {
	step   *pb.CheckStep
	litres float64 // between its marks
	share  float64 // between its marks, now
	perKM  float64 // litres used a km
	perDay float64 // litres used a day
	eye    *rand.Rand
	spread float64 // standard deviation of reading it, as a share
	tells  float64 // steps in which it is told, as a share
}

// tanks are the levels that a shift check reads and that change.
func tanks(v *pb.VehicleConfiguration, shift *pb.Plan) map[string]*tank {
	uses := map[string]tank{ // by item
		"FLU-010": {perKM: 0.06 / 1000},
		"FLU-030": {perDay: 0.001},
		"FLU-090": {perDay: 0.08},
	}
	all := map[string]*tank{}
	for _, step := range shift.GetSteps() {
		t, ok := uses[step.GetItem()]
		if !ok {
			continue
		}
		t.step, t.litres, t.share, t.eye = step, unknownTankL, 0.8, chance(v.GetCallSign(), step.GetStepId())
		t.spread, t.tells = eyeShare, markShare
		for _, fluid := range v.GetFluids() {
			t.as(fluid)
		}
		all[step.GetItem()] = &t
	}
	return all
}

// as takes from the vehicle what it says of the tank, when it is this one.
func (t *tank) as(fluid *pb.Fluid) {
	if fluid.GetPlace().GetId() != placeOf(t.step) {
		return
	}
	if litres := fluid.GetVolumeBetweenMarksL(); litres > 0 {
		t.litres = litres
	}
	if fluid.GetReading() == pb.FluidReading_FLUID_READING_DIPSTICK {
		t.spread, t.tells = stickShare, scribedShare
	}
}

// pumpKM is how many kilometres an hour at the pump is like, for an engine.
const pumpKM = 35

// use takes out what a day needs: its kilometres, its hours at the pump, and itself.
func (t *tank) use(o outing) {
	t.share = max(0, t.share-(t.perKM*(o.km+pumpKM*o.pumpHours)+t.perDay)/t.litres)
}

// shows is where somebody sees the level, on a floor that makes it look lower.
func (t *tank) shows(lower float64) float64 {
	return min(1, max(0, rounded(t.share-lower+spread(t.eye, t.spread), t.tells)))
}

// read reads the level and fills up what is low.
func (t *tank) read(lower float64) answer {
	id := t.step.GetStepId()
	shown := t.shows(lower)
	results := []*pb.Result{stands(id, shown)}
	if shown < refillBelow {
		litres := rounded((refillTo-shown)*t.litres, 0.1)
		t.share = min(1, t.share+litres/t.litres)
		results = append(results, cured(stands(id, t.shows(lower)), "topped up", litres, "L"))
	}
	return answer{id, results}
}
