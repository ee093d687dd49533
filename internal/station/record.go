package station

import (
	"context"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// skewNoted is how far a device's clock may be off before the log says so.
const skewNoted = 2 * time.Minute

// RecordResult records one result; result.result_id is the command id.
//
// Tablets deliver late: a result whose device time lies before its round was
// paused or ended is taken all the same, for whatever was recorded counts. Which
// look at a step is the newest goes by when somebody looked, not by when it
// reached the station: an older look delivered late may raise a defect, but what
// was seen after it stays what the vehicle is judged by.
func (s *Station) RecordResult(ctx context.Context, req *pb.RecordResultRequest) (*pb.RecordResultResponse, error) {
	var early *examined // most of the work, done beside the committer
	if p := s.current.Load(); p.frames[req.GetRound()] != nil {
		early = examine(req, p.frames[req.GetRound()], p.lib)
	}
	resp, receipt, err := run(ctx, s, req.GetResult().GetResultId(), req, func(c *command) (*pb.RecordResultResponse, error) {
		return c.record(req, early)
	})
	if err != nil {
		return nil, err
	}
	if receipt.Repeated {
		resp.RepeatedBefore = true
		return resp, nil
	}
	s.noteSkew(req)
	return resp, nil
}

// examined is a result after everything was looked at that rests on the round,
// its plan and what is in force, and on nothing that changes from result to result.
type examined struct {
	frame       *frame
	lib         *library
	result      *pb.Result // a copy of ours, values converted
	now         *step      // the step as it is today; nil when the answer does not fit it
	observation *pb.Observation
	single      []*pb.Finding
	err         error // the refusal
}

// holds tells that nothing the examination rested on has changed.
func (x *examined) holds(f *frame, lib *library) bool {
	return x != nil && x.frame == f && x.lib == lib
}

// examine looks at a result.
func examine(req *pb.RecordResultRequest, f *frame, lib *library) *examined {
	x := &examined{frame: f, lib: lib, result: proto.CloneOf(req.GetResult())}
	if x.result == nil {
		x.err = invalid("RESULT_MISSING", "result", "a result is needed")
		return x
	}
	x.result.Round, x.result.StationTime, x.result.LookedAt, x.result.GaugeOverdue = f.name(), nil, nil, false
	planned := f.plan.steps[x.result.GetStepId()]
	if x.err = x.check(planned); x.err != nil || x.result.GetNotChecked() != nil {
		return x
	}
	m := lib.models[f.vehicle()]
	judged := &step{CheckStep: planned, island: noIsland}
	if today := m.steps[planned.GetStepId()]; today != nil && fits(today.CheckStep, x.result) {
		x.now, judged = today, today
	}
	x.observation = m.observe(judged, x.result)
	x.single = m.single(x.observation)
	return x
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
	return x.frame.checkCold(planned, r.GetDeviceTime().AsTime())
}

// checkCold refuses an answer that only counts on a cold engine while the
// engine was still too warm.
func (f *frame) checkCold(planned *pb.CheckStep, deviceTime time.Time) error {
	if planned.GetColdAfter() == nil {
		return nil
	}
	stopped, known := f.engineStopped(deviceTime)
	stood, needed := deviceTime.Sub(stopped), planned.GetColdAfter().AsDuration()
	if !known || stood >= needed {
		return nil
	}
	wait := (needed - stood + time.Minute - 1) / time.Minute
	return fault.New(fault.Precondition, "ENGINE_TOO_WARM",
		"the engine had stood for %d minutes and must stand for %d; wait %d more minutes, or record it as not checked because the engine is warm",
		stood/time.Minute, needed/time.Minute, wait)
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

// record decides one result.
func (c *command) record(req *pb.RecordResultRequest, x *examined) (*pb.RecordResultResponse, error) {
	r, err := c.state.recall(req.GetRound())
	if err != nil {
		return nil, err
	}
	if r == nil {
		return nil, unknown("round", req.GetRound())
	}
	if !x.holds(r.frame, c.state.lib) {
		x = examine(req, r.frame, c.state.lib)
	}
	if x.err != nil {
		return nil, x.err
	}
	v := c.state.vehicles[r.vehicle()]
	if err := v.checkChain(r, x.result); err != nil {
		return nil, err
	}
	x.result.StationTime = timestamppb.New(c.time)
	looked := c.looked(x.result)
	x.result.LookedAt = timestamppb.New(looked)
	x.result.GaugeOverdue = overdue(x.lib.set.Gauges[x.result.GetGauge()], looked)
	var known *judgement
	if x.now != nil && v.speaks(x.result) {
		known = v.judge(x.now, x.observation, x.single)
	}
	found := x.findings(v, known)
	ev := &pb.JournalEvent{
		Person: x.result.GetPerson(), Device: x.result.GetDevice(), Vehicle: v.name, DeviceTime: x.result.GetDeviceTime(),
		Event: &pb.JournalEvent_ResultRecorded{ResultRecorded: &pb.ResultRecorded{Result: x.result, Findings: found}},
	}
	if err := c.happen(ev, known); err != nil {
		return nil, err
	}
	return &pb.RecordResultResponse{
		ResultId: x.result.GetResultId(), Sequence: ev.GetSequence(), Findings: found, Verdict: v.standing.verdict,
	}, nil
}

// findings are what the rules say about the result: of its group too, when it is
// what they see at its step.
func (x *examined) findings(v *vehicle, known *judgement) []*pb.Finding {
	found := x.single
	if known != nil {
		found = known.about(x.result.GetStepId())
	}
	if x.result.GetNotChecked() == nil && len(v.model.broken) > 0 {
		found = append(slices.Clone(v.model.broken), found...)
	}
	return found
}

// checkChain makes sure that a cure and a correction speak of an earlier result.
func (v *vehicle) checkChain(r *round, res *pb.Result) error {
	earlier := r.of(res.GetStepId())
	if cure := res.GetCure(); cure != nil && !v.knows(earlier, res.GetStepId(), cure.GetFoundResultId()) {
		return fault.New(fault.Precondition, "CURE_OF_NOTHING", "result %s, which the cure speaks of, is no earlier result of %s; record first what was found",
			cure.GetFoundResultId(), res.GetStepId()).At("result.cure.found_result_id", "no earlier result of this step")
	}
	if res.GetCorrection() && !slices.ContainsFunc(earlier, func(e entry) bool { return e.person == res.GetPerson() }) {
		return fault.New(fault.Precondition, "CORRECTION_OF_NOTHING", "%s has recorded nothing at %s in this round that could be corrected; record it without correction",
			res.GetPerson(), res.GetStepId()).At("result.correction", "nothing to correct")
	}
	return nil
}

// knows tells whether a result was given earlier at a step: in this round, as
// its newest, or as one that found a defect that is still there.
func (v *vehicle) knows(earlier []entry, stepID, resultID string) bool {
	if slices.ContainsFunc(earlier, func(e entry) bool { return e.resultID == resultID }) {
		return true
	}
	if a := v.answers[stepID]; a != nil && (a.Newest.GetResultId() == resultID || a.Real.GetResultId() == resultID) {
		return true
	}
	return slices.ContainsFunc(v.openAt(stepID), func(name string) bool { return foundBy(v.defects[name], resultID) })
}

// noteSkew tells the log when a device's clock is off, or a result came late.
func (s *Station) noteSkew(req *pb.RecordResultRequest) {
	skew := s.clock().Sub(req.GetResult().GetDeviceTime().AsTime().Add(-aheadOf(req.GetResult())))
	if skew.Abs() > skewNoted {
		s.log.Warn("a result came late, or its device's clock is off", "device", req.GetResult().GetDevice(),
			"round", req.GetRound(), "result", req.GetResult().GetResultId(), "behind", skew.Round(time.Second))
	}
}
