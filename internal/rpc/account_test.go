package rpc

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/encoding"
	"google.golang.org/grpc/mem"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// raw is a codec that sends bytes as they are.
type raw struct{}

func (raw) Marshal(v any) (mem.BufferSlice, error) {
	return mem.BufferSlice{mem.SliceBuffer(v.([]byte))}, nil
}
func (raw) Unmarshal(mem.BufferSlice, any) error { return nil }
func (raw) Name() string                         { return "proto" }

var _ encoding.CodecV2 = raw{}

func TestCalls_RefuseBytesThatAreNoMessage(t *testing.T) {
	_, conn := serve(t, openStation(t), Options{})
	for _, m := range methods(t) {
		if m.fromCaller {
			continue // answered in band; see TestPipeline_RefusesInBandAndGoesOn
		}
		s := status.Convert(m.callRaw(t.Context(), conn, []byte{0xff, 0xff, 0xff}))
		if s.Code() != codes.InvalidArgument || detail[*errdetails.ErrorInfo](t, s).GetReason() != "MESSAGE_UNREADABLE" {
			t.Errorf("%s: unreadable bytes are answered with %v", m.name, s)
		}
	}
}

func TestCalls_HaveADeadlineOfTheStationsUnlessTheyBringOne(t *testing.T) {
	var left time.Duration
	spy := grpc.ChainUnaryInterceptor(func(ctx context.Context, _ any, _ *grpc.UnaryServerInfo, _ grpc.UnaryHandler) (any, error) {
		at, ok := ctx.Deadline()
		if !ok {
			return nil, errors.New("no deadline")
		}
		left = time.Until(at)
		return &pb.GetCheckpointResponse{}, nil
	})
	_, conn := serve(t, openStation(t), Options{Deadline: time.Hour}, spy)
	ask := func(ctx context.Context) {
		t.Helper()
		if _, err := pb.NewJournalServiceClient(conn).GetCheckpoint(ctx, &pb.GetCheckpointRequest{}); err != nil {
			t.Fatal(err)
		}
	}
	ask(t.Context())
	if left <= 30*time.Minute || left > time.Hour {
		t.Errorf("a call without a deadline was given %v, want the hour of the options", left)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 24*time.Hour)
	defer cancel()
	ask(ctx)
	if left <= 12*time.Hour {
		t.Errorf("a call that brought a day had %v", left)
	}
	if fallback := (Options{}).withDefaults().Deadline; fallback != 5*time.Second {
		t.Errorf("the deadline is %v unless set, want the documented 5 s", fallback)
	}
}

func TestLog_HearsOfEachFaultOnceWithItsCause(t *testing.T) {
	var log bytes.Buffer
	cause := errors.New("disk unplugged")
	_, conn := serve(t, openStation(t), Options{Logger: slog.New(slog.NewJSONHandler(&log, nil))},
		failing(func() error { return fault.New(fault.Lost, "RECORD_DAMAGED", "call somebody").Because(cause) })...)
	ctx := metadata.AppendToOutgoingContext(t.Context(), "x-request-id", "not one word", "x-request-id", "ticket-7")
	if err := oneCall(t).call(ctx, conn, oneCall(t).sampleOfCall); status.Code(err) != codes.DataLoss {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(log.String()), "\n")
	if len(lines) != 1 {
		t.Fatalf("the log has %d lines, want 1:\n%s", len(lines), log.String())
	}
	var line map[string]any
	if err := json.Unmarshal([]byte(lines[0]), &line); err != nil {
		t.Fatal(err)
	}
	for key, want := range map[string]string{
		"level": "ERROR", "method": oneCall(t).name, "code": "DataLoss", "request_id": "ticket-7", "cause": "call somebody: disk unplugged",
	} {
		if line[key] != want {
			t.Errorf("%s = %v, want %q", key, line[key], want)
		}
	}
	if peer, _ := line["peer"].(string); !strings.HasPrefix(peer, "127.0.0.1:") {
		t.Errorf("peer = %v", line["peer"])
	}
}

func TestLog_IsSilentAboutAnswersUnlessAsked(t *testing.T) {
	var quiet, chatty bytes.Buffer
	answer := grpc.ChainUnaryInterceptor(func(context.Context, any, *grpc.UnaryServerInfo, grpc.UnaryHandler) (any, error) {
		return &pb.GetCheckpointResponse{}, nil
	})
	for _, log := range []*slog.Logger{
		slog.New(slog.NewTextHandler(&quiet, nil)),
		slog.New(slog.NewTextHandler(&chatty, &slog.HandlerOptions{Level: slog.LevelDebug})),
	} {
		_, conn := serve(t, openStation(t), Options{Logger: log}, answer)
		if err := oneCall(t).call(t.Context(), conn, oneCall(t).sampleOfCall); err != nil {
			t.Fatal(err)
		}
	}
	if quiet.Len() > 0 {
		t.Errorf("at the usual level the log says %q", quiet.String())
	}
	if !strings.Contains(chatty.String(), "code=OK") {
		t.Errorf("at debug level the log says %q", chatty.String())
	}
}

func TestDying_LogsTheCallAndPanicsOn(t *testing.T) {
	var log bytes.Buffer
	c := testChain(t)
	c.logger = slog.New(slog.NewTextHandler(&log, nil))
	defer func() {
		if p := recover(); p != "broken promise" {
			t.Errorf("the panic ended as %v; it must end the process", p)
		}
		if !strings.Contains(log.String(), "method=/x/Y") || !strings.Contains(log.String(), "broken promise") {
			t.Errorf("the log says %q", log.String())
		}
	}()
	_, _ = c.accountUnary(t.Context(), nil, &grpc.UnaryServerInfo{FullMethod: "/x/Y"}, func(context.Context, any) (any, error) {
		panic("broken promise")
	})
}

func TestMetrics_CountCallsResultsAndOpenStreams(t *testing.T) {
	registry := prometheus.NewRegistry()
	_, conn := serve(t, openStation(t), Options{Metrics: registry})
	if _, err := pb.NewRoundServiceClient(conn).GetRound(t.Context(), &pb.GetRoundRequest{Name: "no"}); err == nil {
		t.Fatal("a round called no")
	}
	ctx, cancel := context.WithCancel(t.Context())
	watch, err := pb.NewReadinessServiceClient(conn).WatchReadiness(ctx, &pb.WatchReadinessRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := watch.Recv(); err != nil {
		t.Fatal(err)
	}
	if got := metric(t, registry, "bayround_calls_total", "RoundService/GetRound", "InvalidArgument"); got != 1 {
		t.Errorf("calls refused = %v, want 1", got)
	}
	if got := metric(t, registry, "bayround_open_streams", "ReadinessService/WatchReadiness"); got != 1 {
		t.Errorf("open watches = %v, want 1", got)
	}
	cancel()
	if err := drain(watch, func() any { return &pb.WatchReadinessResponse{} }); status.Code(err) != codes.Canceled {
		t.Errorf("the watch ended with %v", err)
	}
	if _, err := New(openStation(t), Options{Metrics: registry}); err == nil {
		t.Error("the same registry twice is no error")
	}
}

// metric is the value of one series; its labels must hold all the values given.
func metric(t *testing.T, from prometheus.Gatherer, name string, labels ...string) float64 {
	t.Helper()
	families, err := from.Gather()
	if err != nil {
		t.Fatal(err)
	}
	for _, family := range families {
		if family.GetName() != name {
			continue
		}
		for _, m := range family.GetMetric() {
			held := map[string]bool{}
			for _, l := range m.GetLabel() {
				held[l.GetValue()] = true
			}
			all := true
			for _, want := range labels {
				all = all && held[want]
			}
			if all {
				return m.GetCounter().GetValue() + m.GetGauge().GetValue()
			}
		}
	}
	return 0
}
