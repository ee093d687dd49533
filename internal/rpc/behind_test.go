package rpc_test

import (
	"context"
	"runtime"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"bayround/internal/fault"
	"bayround/internal/rpc"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// Every answer with one message says that the record is behind, refusals too, and
// none does before. What is refused is refused as such.
func TestBehind_EveryAnswerSaysSo(t *testing.T) {
	k := stationtest.Open(t)
	for _, behind := range []bool{false, true} {
		if behind {
			k.Lose(func() { k.OpenRound("vehicles/p1", "routines/shift") })
		}
		told := 0
		served := stationtest.Serve(t, k.Station, rpc.Options{})
		conn, err := rpc.Dial(served.Address, rpc.WhenBehind(func() { told++ }))
		if err != nil {
			t.Fatal(err)
		}
		readiness, journal := pb.NewReadinessServiceClient(conn), pb.NewJournalServiceClient(conn)
		r, err := readiness.GetReadiness(t.Context(), &pb.GetReadinessRequest{Vehicle: "vehicles/p1"})
		if err != nil || (r.GetReadiness().GetReasons()[0].GetRecord() != nil) != behind {
			t.Errorf("behind %v: %v, %v", behind, r.GetReadiness().GetReasons(), err)
		}
		state, err := journal.GetRecordState(t.Context(), &pb.GetRecordStateRequest{})
		if err != nil || state.GetState().GetBehind() != behind {
			t.Errorf("behind %v: %v, %v", behind, state, err)
		}
		if _, err := readiness.GetReadiness(t.Context(), &pb.GetReadinessRequest{Vehicle: "vehicles/p9"}); !fault.Is(err, fault.NotFound) {
			t.Errorf("behind %v: a vehicle that is not there = %v", behind, err)
		}
		_, err = pb.NewRoundServiceClient(conn).OpenRound(t.Context(), &pb.OpenRoundRequest{
			Round: "rounds/" + k.ID(), Vehicle: "vehicles/p2", Routine: "routines/shift", Driver: "people/driver", Device: "tablet-1",
		})
		if behind != fault.Is(err, fault.Precondition) || behind != (err != nil) {
			t.Errorf("behind %v: a round is answered with %v", behind, err)
		}
		want := 0
		if behind {
			want = 4
		}
		if told != want {
			t.Errorf("behind %v: told %d times in 4 answers, want %d", behind, told, want)
		}
		if err := conn.Close(); err != nil {
			t.Error(err)
		}
		served.Server.Stop(context.Background())
	}
}

func TestMetrics_TellHowTheRecordStands(t *testing.T) {
	registry := prometheus.NewRegistry()
	k, _ := served(t, rpc.Options{Metrics: registry})
	before := gathered(t, registry)
	events := before["bayround_record_events"]
	if _, told := before["bayround_record_scrub_ok"]; told || events == 0 || before["bayround_record_behind"] != 0 || before["bayround_record_heads_torn"] != 0 {
		t.Errorf("before a scrub: %v", before)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		k.KeepScrubbing(ctx, time.Now(), nil)
	}()
	for scrub, _ := k.Scrubbed(); scrub == nil; scrub, _ = k.Scrubbed() {
		runtime.Gosched()
	}
	cancel()
	<-ended
	after := gathered(t, registry)
	if _, told := after["bayround_record_scrub_age_seconds"]; !told || after["bayround_record_scrub_ok"] != 1 || after["bayround_record_events"] != events {
		t.Errorf("after a scrub: %v", after)
	}
}
