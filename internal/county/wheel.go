package county

import (
	"math/rand/v2"
	"strings"

	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// How tyres behave and how they are read.
const (
	kpaPerBar       = 100
	handKPa         = 6    // standard deviation of a reading: how the gauge is pressed on
	gaugeStepKPa    = 10   // what a gauge of the county shows
	atmosphericKPa  = 101  // the county lies low
	seepsKPaDay     = 0.08 // through the rubber of a sound tyre
	seepsUnlikeKPa  = 0.01 // standard deviation of that from wheel to wheel
	topUpBelow      = 0.955
	topUpOthers     = 0.995
	treadHandMM     = 0.08 // standard deviation of a depth
	treadStepMM     = 0.1
	treadStartShare = 0.8 // of the depth when new, fifteen months ago
	wearMMPerKM     = 0.00012
)

// wheel is one wheel of a vehicle as it truly is.
type wheel struct {
	pressure   *pb.CheckStep
	tread      *pb.CheckStep // nil where no depth is read
	kpa        float64       // pressure if the air in it had the temperature referenceAir
	seeps      float64       // kPa a day
	leaks      float64       // kPa a day, beside what seeps
	depth      float64       // mm
	wear       float64       // mm a km
	hand, rule *rand.Rand    // chance of reading pressure and depth
}

// wheels are those of a vehicle that its weekly plan reads.
func wheels(v *pb.VehicleConfiguration, weekly *pb.Plan) (all []*wheel) {
	treads := map[string]*pb.CheckStep{}
	for _, step := range weekly.GetSteps() {
		if step.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_PROFILE {
			treads[placeOf(step)] = step
		}
	}
	for _, step := range weekly.GetSteps() {
		tyre := strings.HasPrefix(step.GetItem(), "TYR-") || strings.HasPrefix(step.GetItem(), "TRL-")
		if !tyre || step.Target == nil || step.GetParts()[0].GetQuantity() != pb.Quantity_QUANTITY_PRESSURE {
			continue
		}
		r := chance(v.GetCallSign(), step.GetStepId())
		w := &wheel{
			pressure: step, tread: treads[placeOf(step)],
			kpa: step.GetTarget() + spread(r, 3), seeps: seepsKPaDay + spread(r, seepsUnlikeKPa),
			depth: 9, wear: wearMMPerKM * (1 + spread(r, 0.1)),
			hand: r, rule: chance(v.GetCallSign(), step.GetStepId(), "tread"),
		}
		if axle := int(step.GetAxle()); axle >= 1 && axle <= len(v.GetAxles()) {
			if fresh := v.GetAxles()[axle-1].GetTyre().GetNewTreadMm(); fresh > 0 {
				w.depth = fresh * treadStartShare
			}
		}
		all = append(all, w)
	}
	return all
}

// placeOf is the place of a step, without its item.
func placeOf(step *pb.CheckStep) string {
	_, place, _ := strings.Cut(step.GetStepId(), "/")
	return place
}

// live lets days pass and kilometres be driven.
func (w *wheel) live(km float64) {
	w.kpa -= w.seeps + w.leaks
	w.depth -= w.wear * km
}

// shows is what a gauge shows that reads too high by an offset, in the air of the bay.
func (w *wheel) shows(air, offset float64) float64 {
	now := measure.Kilopascals(w.kpa).At(measure.Celsius(air), referenceAir, atmosphericKPa)
	return rounded(float64(now)+offset+spread(w.hand, handKPa), gaugeStepKPa)
}

// fill puts air in, so much by the gauge.
func (w *wheel) fill(kpa, air float64) {
	now := measure.Kilopascals(w.kpa).At(measure.Celsius(air), referenceAir, atmosphericKPa)
	w.kpa = float64((now + measure.Kilopascals(kpa)).At(referenceAir, measure.Celsius(air), atmosphericKPa))
}

// depths are what a tread gauge shows across the tread, a little less at the shoulders.
func (w *wheel) depths() []float64 {
	var all []float64
	for _, less := range []float64{0.2, 0.1, 0, 0.1, 0.2} {
		all = append(all, rounded(w.depth-less+spread(w.rule, treadHandMM), treadStepMM))
	}
	return all
}

// airPlan is how a visit deals with the tyres.
type airPlan struct {
	offsetKPa float64            // by which the gauge reads too high
	noTopUp   bool               // nobody adds air, whatever is read
	put       map[string]float64 // what is added by step, in kPa, whatever is read
	leftOut   string             // step that is not reached
}

// readTyres reads every wheel of a vehicle and tops up what needs it: once one is
// low, all that are not quite full.
func (l *life) readTyres(ago int, plan airPlan) (all []answer) {
	air := airIn(l.vehicle.GetStation(), ago)
	shown, low := make([]float64, len(l.wheels)), false
	for i, w := range l.wheels {
		shown[i] = w.shows(air, plan.offsetKPa)
		low = low || shown[i] < topUpBelow*w.pressure.GetTarget()
	}
	for i, w := range l.wheels {
		id := w.pressure.GetStepId()
		if id == plan.leftOut {
			r := &pb.Result{StepId: id, Answer: &pb.Result_NotChecked{NotChecked: &pb.NotChecked{
				Reason: pb.NotCheckedReason_NOT_CHECKED_REASON_NOT_REACHABLE,
			}}}
			all = append(all, answer{id, []*pb.Result{r}})
			continue
		}
		results := []*pb.Result{reads(w.pressure, bar(shown[i]), "bar")}
		put := plan.put[id]
		if put == 0 && low && !plan.noTopUp && shown[i] < topUpOthers*w.pressure.GetTarget() {
			put = rounded(w.pressure.GetTarget()+gaugeStepKPa/2-shown[i], gaugeStepKPa)
		}
		if put > 0 {
			w.fill(put, air)
			after := reads(w.pressure, bar(w.shows(air, plan.offsetKPa)), "bar")
			results = append(results, cured(after, "topped up with air", bar(put), "bar"))
		}
		all = append(all, answer{id, results})
	}
	return all
}

// bar is a pressure in bar, to the hundredth.
func bar(kpa float64) float64 { return rounded(kpa/kpaPerBar, 0.01) }

// readTreads reads the depth of every tread.
func (l *life) readTreads() (all []answer) {
	for _, w := range l.wheels {
		if w.tread != nil {
			id := w.tread.GetStepId()
			all = append(all, answer{id, []*pb.Result{worn(id, w.depths()...)}})
		}
	}
	return all
}
