package station

import (
	"math/rand/v2"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/catalogue"
	pb "bayround/proto/bayround/v1"
)

// BenchmarkDecide is what the station itself does for one result of a whole
// round, from the request to the event, the rows and the answer; everything
// but the journal. The floor is the encoding of event and answer alone.
func BenchmarkDecide(b *testing.B) {
	lib := demoLibrary(b)
	st := newState(noArchive{})
	st.station = time.Now().UTC()
	var rows rowSet
	if err := st.adopt(lib, &rows); err != nil {
		b.Fatal(err)
	}
	v := st.vehicles["vehicles/wn11"]
	openRound(b, &command{state: st, id: "open", time: st.station}, v)
	r := v.rounds["rounds/"+v.name]
	random := rand.New(rand.NewPCG(1, 2)) //nolint:gosec // a repeatable benchmark
	var requests []*pb.RecordResultRequest
	for _, id := range sortedKeys(r.plan.steps) {
		res := soundAnswer(random, v.model.steps[id])
		res.Person, res.Device, res.DeviceTime = "people/arkwith", "tablet-1", timestamppb.Now()
		requests = append(requests, &pb.RecordResultRequest{Round: r.name(), Result: res})
	}
	var event, answer proto.Message
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		req := requests[i%len(requests)]
		c := &command{state: st, id: req.GetResult().GetResultId(), time: st.station.Add(time.Nanosecond)}
		resp, err := c.record(req, examine(req, r.frame, st.lib))
		if err != nil {
			b.Fatal(err)
		}
		if _, err := proto.Marshal(resp); err != nil {
			b.Fatal(err)
		}
		event, answer = &pb.JournalEvent{Event: &pb.JournalEvent_ResultRecorded{ResultRecorded: &pb.ResultRecorded{Result: req.GetResult()}}}, resp
		if i%len(requests) == 0 {
			r.entries, r.byStep = nil, map[string][]int{} // as a new round would begin
		}
	}
	b.StopTimer()
	const times = 1000
	start := time.Now()
	for range times {
		for _, m := range []proto.Message{event, answer} {
			if _, err := proto.Marshal(m); err != nil {
				b.Fatal(err)
			}
		}
	}
	b.ReportMetric(float64(time.Since(start).Nanoseconds())/times, "floor-ns/op")
	b.ReportMetric(float64(len(requests)), "steps")
}

// soundAnswer is an answer without a fault, values as they should be.
func soundAnswer(random *rand.Rand, s *step) *pb.Result {
	r := anyAnswer(random, s)
	r.Confirmed, r.AlsoSeen = true, nil
	switch s.GetAnswerKind() {
	case pb.AnswerKind_ANSWER_KIND_READING:
		for i, v := range r.GetReading().GetValues() {
			p := s.GetParts()[i]
			v.Unit = catalogue.UnitOf(p.GetQuantity())
			v.AsTyped = (p.GetPlausible().GetLeast() + p.GetPlausible().GetGreatest()) / 2
			if i == 0 && s.Target != nil {
				v.AsTyped = s.GetTarget()
			}
		}
	case pb.AnswerKind_ANSWER_KIND_PROFILE:
		r.GetProfile().Unit = "mm"
		for _, point := range r.GetProfile().GetSections()[0].GetPoints() {
			point.AsTyped = 10
		}
	case pb.AnswerKind_ANSWER_KIND_CONDITION:
		for _, c := range s.GetConditions() {
			if c.GetSound() {
				r.GetSeen().Conditions[0].Condition = c.GetId()
			}
		}
	}
	return r
}
