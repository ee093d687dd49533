package county

import (
	"math/rand/v2"

	pb "bayround/proto/bayround/v1"
)

const (
	eyeShare     = 0.02 // standard deviation of a level read by eye, as a share
	markShare    = 0.05 // steps in which a level is told
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
		for _, fluid := range v.GetFluids() {
			if fluid.GetPlace().GetId() == placeOf(step) && fluid.GetVolumeBetweenMarksL() > 0 {
				t.litres = fluid.GetVolumeBetweenMarksL()
			}
		}
		all[step.GetItem()] = &t
	}
	return all
}

// use takes out what a day and its kilometres need.
func (t *tank) use(km float64) {
	t.share = max(0, t.share-(t.perKM*km+t.perDay)/t.litres)
}

// shows is where somebody sees the level, on a floor that makes it look lower.
func (t *tank) shows(lower float64) float64 {
	return min(1, max(0, rounded(t.share-lower+spread(t.eye, eyeShare), markShare)))
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
