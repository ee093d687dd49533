package rpc_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/testing/protocmp"

	"bayround/internal/fault"
	"bayround/internal/rpc"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// served is a small station on a loopback socket.
func served(t testing.TB, o rpc.Options) (*stationtest.Kit, *grpc.ClientConn) {
	t.Helper()
	kit := stationtest.Open(t)
	return kit, stationtest.Serve(t, kit.Station, o).Dial(t)
}

func TestRecordResult_IsDurableOnceUnderItsID(t *testing.T) {
	kit, conn := served(t, rpc.Options{})
	rounds := pb.NewRoundServiceClient(conn)
	round := kit.OpenRound("vehicles/p1", "routines/shift")
	req := kit.Request(round, stationtest.Seen("GLA-010/windscreen", "01"))
	first, err := rounds.RecordResult(t.Context(), req)
	if err != nil {
		t.Fatal(err)
	}
	if len(first.GetFindings()) == 0 || first.GetRepeatedBefore() {
		t.Errorf("a cracked windscreen is answered with %v", first)
	}
	again, err := rounds.RecordResult(t.Context(), req)
	if err != nil {
		t.Fatal(err)
	}
	if !again.GetRepeatedBefore() || again.GetSequence() != first.GetSequence() {
		t.Errorf("the same result again = %v, want event %d repeated", again, first.GetSequence())
	}
	req.Result.Note = "another result under the same id"
	if _, err := rounds.RecordResult(t.Context(), req); !fault.Is(err, fault.Exists) {
		t.Errorf("another result under the same id = %v", err)
	}
}

func TestRecordResults_CarriesAWholePlanAndACure(t *testing.T) {
	kit, conn := served(t, rpc.Options{})
	round := kit.OpenRound("vehicles/p1", "routines/shift")
	stream, err := pb.NewRoundServiceClient(conn).RecordResults(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var sent []*pb.RecordResultRequest
	for _, step := range kit.Plan("vehicles/p1", "routines/shift").GetSteps() {
		if !strings.HasPrefix(step.GetStepId(), "OIL-010/") {
			sent = append(sent, kit.Request(round, stationtest.Sound(step)))
			continue
		}
		low := kit.Request(round, stationtest.Stands(step.GetStepId(), pb.LevelMark_LEVEL_MARK_BELOW, 0))
		cured := kit.Request(round, stationtest.Stands(step.GetStepId(), pb.LevelMark_LEVEL_MARK_BETWEEN, 0.8))
		cured.Result.Cure = &pb.Cure{FoundResultId: low.GetResult().GetResultId(), Done: "topped up", Amount: 1.5, Unit: "L"}
		sent = append(sent, low, cured)
	}
	for _, req := range sent {
		if err := stream.Send(&pb.RecordResultsRequest{Record: req}); err != nil {
			t.Fatal(err)
		}
	}
	if err := stream.CloseSend(); err != nil {
		t.Fatal(err)
	}
	for _, req := range sent {
		answer, err := stream.Recv()
		if err != nil {
			t.Fatal(err)
		}
		if answer.GetResultId() != req.GetResult().GetResultId() || answer.GetRecorded().GetSequence() == 0 {
			t.Errorf("result of %s is answered with %v", req.GetResult().GetStepId(), answer)
		}
	}
	if _, err := stream.Recv(); !errors.Is(err, io.EOF) {
		t.Errorf("after the last answer the stream says %v", err)
	}
	if got := kit.Readiness("vehicles/p1"); got.GetVerdict() != pb.Verdict_VERDICT_FIT {
		t.Errorf("a sound round leaves %v: %v", got.GetVerdict(), got.GetReasons())
	}
}

func TestWatchReadiness_SlowReaderHoldsNobodyUpAndSeesTheLastState(t *testing.T) {
	kit, conn := served(t, rpc.Options{})
	slow, err := pb.NewReadinessServiceClient(conn).WatchReadiness(t.Context(), &pb.WatchReadinessRequest{Vehicles: []string{"vehicles/p1"}})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := slow.Recv(); err != nil { // it is open; from here on it does not listen
		t.Fatal(err)
	}
	lively := newestStates(t, conn)
	round := kit.OpenRound("vehicles/p1", "routines/shift")
	const changes = 300
	var last int64
	for n := range changes {
		seen := stationtest.Seen("GLA-010/windscreen", []string{"01", "02", "sound"}[n%3])
		seen.Note = strings.Repeat("much to say ", 50) // fill the windows
		last = kit.Record(round, seen).GetSequence()   // answered although nobody listens over there
		lively.until(t, last)                          // and the others hear of it
	}
	told := 0
	for {
		message, err := slow.Recv()
		if err != nil {
			t.Fatal(err)
		}
		if state := message.GetReadiness(); state != nil {
			told++
			if state.GetSequence() < last {
				continue
			}
			want := kit.Readiness("vehicles/p1")
			if diff := cmp.Diff(want, state, protocmp.Transform(), protocmp.IgnoreFields(&pb.Readiness{}, "as_of")); diff != "" {
				t.Errorf("the last state that a slow reader sees (-want +got):\n%s", diff)
			}
			break
		}
	}
	if told >= changes {
		t.Errorf("the slow reader was told %d states of %d changes: it was not slow, or somebody queued for it", told, changes)
	}
}

// states is a watch that listens all the time.
type states struct{ newest chan int64 }

func newestStates(t *testing.T, conn *grpc.ClientConn) *states {
	t.Helper()
	watch, err := pb.NewReadinessServiceClient(conn).WatchReadiness(t.Context(), &pb.WatchReadinessRequest{})
	if err != nil {
		t.Fatal(err)
	}
	s := &states{newest: make(chan int64, 10_000)}
	go func() {
		defer close(s.newest)
		for {
			message, err := watch.Recv()
			if err != nil {
				return
			}
			if r := message.GetReadiness(); r.GetVehicle() == "vehicles/p1" {
				s.newest <- r.GetSequence()
			}
		}
	}()
	return s
}

// until waits for a state that rests on the event.
func (s *states) until(t *testing.T, sequence int64) {
	t.Helper()
	for newest := range s.newest {
		if newest >= sequence {
			return
		}
	}
	t.Fatal("the watch ended")
}

func TestFollow_ResumesFromAToken(t *testing.T) {
	kit, conn := served(t, rpc.Options{})
	round := kit.OpenRound("vehicles/p1", "routines/shift")
	follow := func(token string) (sequences []int64, newest string) {
		stream, err := pb.NewJournalServiceClient(conn).Follow(t.Context(), &pb.FollowRequest{Token: token, StopAtEnd: true})
		if err != nil {
			t.Fatal(err)
		}
		for {
			message, err := stream.Recv()
			if errors.Is(err, io.EOF) {
				return sequences, newest
			}
			if err != nil {
				t.Fatal(err)
			}
			newest = message.GetToken()
			for _, event := range message.GetEvents().GetEvents() {
				sequences = append(sequences, event.GetSequence())
			}
		}
	}
	before, token := follow("")
	kit.Record(round, stationtest.Seen("GLA-010/windscreen", "sound"))
	after, _ := follow(token)
	for i, sequence := range append(before, after...) {
		if sequence != int64(i+1) {
			t.Fatalf("event %d came in place %d", sequence, i+1)
		}
	}
	if len(after) == 0 {
		t.Error("nothing came after the token")
	}
	stream, err := pb.NewJournalServiceClient(conn).Follow(t.Context(), &pb.FollowRequest{Token: "no token"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := stream.Recv(); !fault.Is(err, fault.Invalid) {
		t.Errorf("a token that cannot be read = %v", err)
	}
}

func TestMetrics_TellTheJournalsSizeAndEveryVerdict(t *testing.T) {
	registry := prometheus.NewRegistry()
	kit, conn := served(t, rpc.Options{Metrics: registry})
	round := kit.OpenRound("vehicles/p1", "routines/shift")
	req := kit.Request(round, stationtest.Seen("GLA-010/windscreen", "sound"))
	for range 2 { // the second is a repeat and does not count
		if _, err := pb.NewRoundServiceClient(conn).RecordResult(t.Context(), req); err != nil {
			t.Fatal(err)
		}
	}
	got := gathered(t, registry)
	want := map[string]float64{
		"bayround_results_recorded_total":                                         1,
		"bayround_journal_events":                                                 float64(kit.Readiness("vehicles/p1").GetSequence()),
		`bayround_vehicle_verdict{vehicle="vehicles/p1",verdict="unproven"}`:      1,
		`bayround_vehicle_verdict{vehicle="vehicles/p1",verdict="fit"}`:           0,
		`bayround_vehicle_verdict{vehicle="vehicles/p2",verdict="unproven"}`:      1,
		`bayround_calls_total{code="OK",method="RoundService/RecordResult"}`:      2,
		`bayround_call_seconds_count{method="RoundService/RecordResult"}`:         2,
		`bayround_vehicle_verdict{vehicle="vehicles/p1",verdict="unfit"}`:         0,
		`bayround_vehicle_verdict{vehicle="vehicles/p1",verdict="move_only"}`:     0,
		`bayround_vehicle_verdict{vehicle="vehicles/p1",verdict="restricted"}`:    0,
		`bayround_calls_total{code="OK",method="RoundService/NoSuchMethodAtAll"}`: 0,
	}
	for series, value := range want {
		if got[series] != value {
			t.Errorf("%s = %v, want %v", series, got[series], value)
		}
	}
	if got["bayround_record_free_bytes"] <= 0 || got["bayround_record_space_level"] < 1 {
		t.Errorf("the record's disk is not told of: %v bytes free, level %v", got["bayround_record_free_bytes"], got["bayround_record_space_level"])
	}
}

// gathered is every series of a registry by its name and labels.
func gathered(t *testing.T, from prometheus.Gatherer) map[string]float64 {
	t.Helper()
	families, err := from.Gather()
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]float64{}
	for _, family := range families {
		for _, m := range family.GetMetric() {
			var labels []string
			for _, l := range m.GetLabel() {
				labels = append(labels, fmt.Sprintf("%s=%q", l.GetName(), l.GetValue()))
			}
			name := family.GetName()
			if m.GetHistogram() != nil {
				name += "_count"
			}
			if len(labels) > 0 {
				name += "{" + strings.Join(labels, ",") + "}"
			}
			all[name] = m.GetCounter().GetValue() + m.GetGauge().GetValue() + float64(m.GetHistogram().GetSampleCount())
		}
	}
	return all
}

func TestDial_SaysWhenNobodyIsThere(t *testing.T) {
	conn, err := rpc.Dial("127.0.0.1:1")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	_, err = pb.NewReadinessServiceClient(conn).GetReadiness(context.Background(), &pb.GetReadinessRequest{Vehicle: "vehicles/p1"})
	var f *fault.Fault
	if !errors.As(err, &f) || f.Kind != fault.Unavailable || f.Reason != "NOT_REACHED" {
		t.Errorf("nobody there = %v", err)
	}
}
