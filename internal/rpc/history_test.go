package rpc_test

import (
	"errors"
	"io"
	"testing"
	"time"

	"bayround/internal/fault"
	"bayround/internal/rpc"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// A gauge that is found wrong, and what it means for what was read with it, over a
// real socket.
func TestHistoryService_TellsWhatAWrongGaugeMeans(t *testing.T) {
	kit, conn := served(t, rpc.Options{})
	history := pb.NewHistoryServiceClient(conn)
	const step = "TYR-010/axle-1-nearside"
	kit.RecordAll("vehicles/p1", "routines/shift")
	round := kit.OpenRound("vehicles/p1", "routines/shift")
	r := stationtest.Read(step, "pressure", 7.1, "bar")
	r.Gauge = "gauges/g-1"
	kit.Record(round, r)
	kit.Clock.Advance(time.Minute)
	checked, err := history.CheckGauge(t.Context(), &pb.CheckGaugeRequest{RequestId: "00000000-0000-4000-8000-0000000000aa", Gauge: "gauges/g-1", Check: &pb.GaugeCheck{
		Person: "people/mechanic", Reference: "dead weight tester", Shown: 830, ReferenceValue: 800,
	}})
	if err != nil || checked.GetGauge().GetChecks()[0].GetGood() {
		t.Fatalf("the check: %v, %v, want one that is not good", checked, err)
	}
	stream, err := history.RejudgeGauge(t.Context(), &pb.RejudgeGaugeRequest{Gauge: "gauges/g-1"})
	if err != nil {
		t.Fatal(err)
	}
	var changes []*pb.VerdictChange
	var done *pb.Rejudged
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if done != nil {
			t.Errorf("after the end comes %v", m)
		}
		if done = m.GetDone(); done == nil {
			changes = append(changes, m.GetChange())
		}
	}
	if len(changes) != 1 || changes[0].GetWouldBe() != pb.Verdict_VERDICT_RESTRICTED || done.GetResults() != 1 {
		t.Errorf("changes %v, at the end %v, want one to RESTRICTED", changes, done)
	}
	told, err := history.GetHistory(t.Context(), &pb.GetHistoryRequest{Vehicle: "vehicles/p1", StepId: step})
	if err != nil || len(told.GetPoints()) != 2 || told.GetPoints()[1].GetGauge() != "gauges/g-1" {
		t.Errorf("the history: %v, %v, want two points, the second by the gauge", told, err)
	}
	if list, err := history.ListForecasts(t.Context(), &pb.ListForecastsRequest{}); err != nil || len(list.GetForecasts()) != 0 {
		t.Errorf("forecasts of two readings: %v, %v", list, err)
	}
}

func TestHistoryService_RefusesInWords(t *testing.T) {
	kit, conn := served(t, rpc.Options{})
	history := pb.NewHistoryServiceClient(conn)
	_, err := history.Explain(t.Context(), &pb.ExplainRequest{Vehicle: "vehicles/p1", FindingId: "none"})
	if !fault.Is(err, fault.NotFound) {
		t.Errorf("an unknown finding: %v, want NOT_FOUND", err)
	}
	rehearsal, err := history.Rehearse(t.Context(), &pb.RehearseRequest{Files: kit.Altered()})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := rehearsal.Recv(); !fault.Is(err, fault.Invalid) {
		t.Errorf("files with more than rule packs: %v, want INVALID_ARGUMENT", err)
	}
}
