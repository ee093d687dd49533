package station

import (
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// examined is a result after everything was looked at that rests on the round,
// its plan and what is in force, and then on what is known of its step.
type examined struct {
	frame  *frame
	lib    *library
	result *pb.Result // a copy of ours, values converted
	judged *step      // the step as it is today, or as it was planned where the answer does not fit that
	fits   bool       // the answer fits the step of today
	stands bool       // it stands in the record, with what was known of the circumstances
	cold   coldness   // what the answer wants of the engine
	err    error      // the refusal

	warm        error // the refusal by what was said of the engine when somebody looked
	known       known
	looked      time.Time // when somebody looked, as far as can be told
	observation *pb.Observation
	single      []*pb.Finding
}

// known is what is known of a step before a result comes.
type known struct {
	answer   *verdict.Answer
	measured *measured
}

func (v *vehicle) knownOf(stepID string) known { return known{v.answers[stepID], v.measured[stepID]} }

func (s *snapshot) knownOf(stepID string) known {
	return known{s.input.Latest[stepID], s.measured[stepID]}
}

// holds tells that nothing the examination rested on has changed.
func (x *examined) holds(f *frame, lib *library) bool {
	return x != nil && x.frame == f && x.lib == lib
}

// saw tells that nothing the look at the step's history rested on has changed.
func (x *examined) saw(k known, looked time.Time) bool {
	return x.known == k && x.looked.Equal(looked)
}

// look judges the result by itself, as one of those that are known of its step.
func (x *examined) look(k known, looked time.Time) {
	if x.err != nil {
		return
	}
	x.known, x.looked = k, looked
	x.result.LookedAt = timestamppb.New(looked)
	if !x.stands {
		x.result.AirCelsius, x.warm = x.frame.air(x.result), x.frame.checkCold(x.cold, x.result)
	}
	x.result.GaugeOverdue = overdue(x.lib.set.Gauges[x.result.GetGauge()], looked)
	if x.judged == nil {
		return // nobody looked
	}
	m := x.lib.models[x.frame.vehicle()]
	now := k.measured
	if p := x.frame.point(m.steps[x.result.GetStepId()], x.result, k.measured); p != nil {
		now = k.joined(p, x.result)
	}
	x.observation = m.observe(x.judged, x.result, now)
	x.single = m.single(x.observation)
}

// repaired is when the step was last repaired; zero when it never was.
func (k known) repaired() time.Time {
	if k.answer == nil {
		return time.Time{}
	}
	return k.answer.VoidBefore
}

// examine looks at a result.
func examine(req *pb.RecordResultRequest, f *frame, lib *library) *examined {
	x := &examined{frame: f, lib: lib, result: proto.CloneOf(req.GetResult())}
	if x.result == nil {
		x.err = invalid("RESULT_MISSING", "result", "a result is needed")
		return x
	}
	x.result.Round, x.result.StationTime, x.result.AirCelsius = f.name(), nil, nil
	planned := f.plan.steps[x.result.GetStepId()]
	if x.err = x.check(planned); x.err != nil || x.result.GetNotChecked() != nil {
		return x
	}
	x.place(planned)
	return x
}

// place finds the step that a result of somebody who looked is judged at.
func (x *examined) place(planned *pb.CheckStep) {
	x.judged = &step{CheckStep: planned, island: noIsland}
	if today := x.lib.models[x.frame.vehicle()].steps[x.result.GetStepId()]; today != nil && fits(today.CheckStep, x.result) {
		x.judged, x.fits = today, true
	}
}

// check refuses what does not answer the step of the plan.
func (x *examined) check(planned *pb.CheckStep) error {
	r := x.result
	switch {
	case planned == nil:
		return fault.New(fault.Precondition, "STEP_NOT_IN_PLAN", "step %q is not in the plan of this round; record it in a round whose plan holds it",
			r.GetStepId()).At("result.step_id", "not in the plan of this round")
	case x.lib.set.People[r.GetPerson()] == nil:
		return unknown("person", r.GetPerson()).At("result.person", "not on this station's list")
	case r.GetDeviceTime() == nil:
		return invalid("DEVICE_TIME_MISSING", "result.device_time", "say when it was recorded by the device's clock")
	case !r.GetDeviceTime().IsValid():
		return invalid("DEVICE_TIME_WRONG", "result.device_time", "this is no instant between the years 1 and 9999")
	}
	if err := x.frame.takes(r.GetDeviceTime().AsTime()); err != nil {
		return err
	}
	if err := checkAnswer(planned, r); err != nil {
		return err
	}
	if err := x.checkGauge(planned); err != nil {
		return err
	}
	if r.GetNotChecked() != nil {
		return nil
	}
	x.cold = x.lib.models[x.frame.vehicle()].coldness(planned)
	return nil
}

func (x *examined) checkGauge(planned *pb.CheckStep) error {
	name := x.result.GetGauge()
	if name == "" {
		return nil
	}
	g := x.lib.set.Gauges[name]
	if g == nil {
		return unknown("gauge", name).At("result.gauge", "not on the register")
	}
	if !slices.ContainsFunc(planned.GetParts(), func(p *pb.ReadingPart) bool { return p.GetQuantity() == g.GetQuantity() }) {
		return invalid("GAUGE_WRONG", "result.gauge", "%s does not measure what %s asks for; name the gauge that was used", g.GetTitle(), planned.GetStepId())
	}
	if g.GetWithdrawn() {
		return fault.New(fault.Precondition, "GAUGE_WITHDRAWN", "%s was taken out of use; read it again with another gauge", g.GetTitle())
	}
	return nil
}

// overdue tells that the calibration of a gauge had lapsed at an instant, or that
// nobody knows when it does. A reading is taken all the same: it is better than
// none, and whoever reads the record sees what it is worth. g is nil when no
// gauge was named.
func overdue(g *pb.Gauge, at time.Time) bool {
	return g != nil && (g.GetCalibrationDue() == nil || at.After(g.GetCalibrationDue().AsTime()))
}
