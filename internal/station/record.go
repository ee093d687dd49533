package station

import (
	"context"
	"slices"
	"time"

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
		raw := s.now()
		early = examine(req, p.frames[req.GetRound()], p.lib)
		early.look(p.vehicles[early.frame.vehicle()].knownOf(req.GetResult().GetStepId()), lookedBy(req.GetResult(), p.anchor.read(raw, s.right), s.right.Right(raw)))
	}
	resp, receipt, err := run(ctx, s, req.GetResult().GetResultId(), req, func(c *command) (*pb.RecordResultResponse, error) {
		return c.record(req, early)
	})
	if err != nil {
		return nil, err
	}
	resp.Verdict = s.doubted(resp.GetVerdict())
	if receipt.Repeated {
		resp.RepeatedBefore = true
		return resp, nil
	}
	s.noteSkew(req)
	return resp, nil
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
	if k, looked := v.knownOf(x.result.GetStepId()), lookedBy(x.result, c.time, c.raw); !x.saw(k, looked) {
		x.look(k, looked)
	}
	if x.warm != nil {
		return nil, x.warm
	}
	var known *judgement
	if x.fits && v.speaks(x.result) {
		known = v.judge(x.judged, x.observation, x.single)
	}
	found := x.findings(v, known)
	ev := &pb.JournalEvent{
		Person: x.result.GetPerson(), Device: x.result.GetDevice(), Vehicle: v.name, DeviceTime: x.result.GetDeviceTime(),
		Event: &pb.JournalEvent_ResultRecorded{ResultRecorded: &pb.ResultRecorded{Result: x.result, Findings: found}},
	}
	if err := c.happen(ev, known); err != nil {
		return nil, err
	}
	if used := usedUp(v.model, x.result); used != nil {
		taken := &pb.JournalEvent{
			Person: ev.GetPerson(), Device: ev.GetDevice(), Vehicle: v.name, DeviceTime: ev.GetDeviceTime(), Event: &pb.JournalEvent_StockMoved{StockMoved: used},
		}
		if err := c.happen(taken, nil); err != nil {
			return nil, err
		}
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
