package rpc

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	pb "bayround/proto/bayround/v1"
)

func TestStop_EndsEveryOpenWatchInWords(t *testing.T) {
	server, conn := serve(t, openStation(t), Options{})
	var watches []grpc.ClientStream
	for range 20 {
		stream, err := pb.NewReadinessServiceClient(conn).WatchReadiness(t.Context(), &pb.WatchReadinessRequest{})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := stream.Recv(); err != nil { // it is open
			t.Fatal(err)
		}
		watches = append(watches, stream)
	}
	health, err := grpc_health_v1.NewHealthClient(conn).Watch(t.Context(), &grpc_health_v1.HealthCheckRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if now, err := health.Recv(); err != nil || now.GetStatus() != grpc_health_v1.HealthCheckResponse_SERVING {
		t.Fatalf("health while serving = %v, %v", now, err)
	}
	server.Stop(t.Context())
	for _, watch := range watches {
		requireStopped(t, drain(watch, func() any { return &pb.WatchReadinessResponse{} }))
	}
	requireStopped(t, drain(health, func() any { return &grpc_health_v1.HealthCheckResponse{} }))
	if err := oneCall(t).call(t.Context(), conn, oneCall(t).sampleOfCall); status.Code(err) != codes.Unavailable {
		t.Errorf("a call after the stop = %v", err)
	}
}

// drain reads a stream to its end and returns why it ended.
func drain(stream grpc.ClientStream, message func() any) error {
	for {
		if err := stream.RecvMsg(message()); err != nil {
			return err
		}
	}
}

func requireStopped(t *testing.T, err error) {
	t.Helper()
	s := status.Convert(err)
	if s.Code() != codes.Unavailable || s.Message() != "the station is stopping; come back when it serves again" {
		t.Errorf("the stream ended with %v", s)
		return
	}
	if reason := detail[*errdetails.ErrorInfo](t, s).GetReason(); reason != "STATION_STOPS" {
		t.Errorf("reason = %q", reason)
	}
	detail[*errdetails.RetryInfo](t, s)
}

// notes is what happened, in order.
type notes struct {
	mu  sync.Mutex
	all []string // guarded by mu
}

func (n *notes) add(what string) {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.all = append(n.all, what)
}

func TestStop_SaysSoBeforeItEndsStreamsAndWaitsForCalls(t *testing.T) {
	var happened notes
	var server *Server
	callBegan, watchEnded := make(chan struct{}), make(chan struct{})
	slowCall := grpc.ChainUnaryInterceptor(func(ctx context.Context, _ any, _ *grpc.UnaryServerInfo, _ grpc.UnaryHandler) (any, error) {
		close(callBegan)
		<-watchEnded // it is still running when the watches have been told
		happened.add("call ends, its context " + errText(ctx.Err()))
		return &pb.GetCheckpointResponse{JournalId: "carried through"}, nil
	})
	watch := grpc.ChainStreamInterceptor(func(_ any, stream grpc.ServerStream, _ *grpc.StreamServerInfo, _ grpc.StreamHandler) error {
		defer close(watchEnded)
		<-stream.Context().Done()
		health, err := server.health.Check(context.Background(), &grpc_health_v1.HealthCheckRequest{Service: "bayround.v1.RoundService"})
		happened.add("watch ends, health " + health.GetStatus().String() + errText(err))
		return stream.Context().Err()
	})
	server, conn := serve(t, openStation(t), Options{}, slowCall, watch)
	send := server.stop.send
	server.stop.send = func() {
		health, err := server.health.Check(context.Background(), &grpc_health_v1.HealthCheckRequest{})
		happened.add("watches are told, health " + health.GetStatus().String() + errText(err))
		send()
	}
	stream, err := pb.NewReadinessServiceClient(conn).WatchReadiness(t.Context(), &pb.WatchReadinessRequest{})
	if err != nil {
		t.Fatal(err)
	}
	answered := make(chan error, 1)
	go func() {
		resp, err := pb.NewJournalServiceClient(conn).GetCheckpoint(t.Context(), &pb.GetCheckpointRequest{})
		if err == nil && resp.GetJournalId() != "carried through" {
			err = errors.New("another answer")
		}
		answered <- err
	}()
	<-callBegan
	server.Stop(t.Context())
	happened.add("stopped")
	if err := <-answered; err != nil {
		t.Errorf("the call that was running = %v", err)
	}
	_, err = stream.Recv()
	requireStopped(t, err)
	want := []string{"watches are told, health NOT_SERVING", "watch ends, health NOT_SERVING", "call ends, its context ", "stopped"}
	for i, w := range want {
		if i >= len(happened.all) || happened.all[i] != w {
			t.Fatalf("happened: %q, want %q", happened.all, want)
		}
	}
}

func errText(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

func TestStop_CutsOffWhatDoesNotEndByItself(t *testing.T) {
	began := make(chan struct{})
	stuck := grpc.ChainUnaryInterceptor(func(ctx context.Context, _ any, _ *grpc.UnaryServerInfo, _ grpc.UnaryHandler) (any, error) {
		close(began)
		<-ctx.Done() // only being cut off ends it
		return nil, ctx.Err()
	})
	server, conn := serve(t, openStation(t), Options{Deadline: time.Hour, StopAfter: time.Millisecond}, stuck)
	answered, one := make(chan error, 1), oneCall(t)
	go func() {
		answered <- one.call(t.Context(), conn, one.sampleOfCall)
	}()
	<-began
	server.Stop(t.Context())
	server.Stop(t.Context()) // again, for a signal that comes twice
	if err := <-answered; err == nil {
		t.Error("the call that was cut off has an answer")
	}
}

func TestHealth_IsNotServingBeforeServe(t *testing.T) {
	server, err := New(openStation(t), Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{
		"", "bayround.v1.VehicleService", "bayround.v1.RoundService", "bayround.v1.ReadinessService", "bayround.v1.JournalService",
		"bayround.v1.PhotoService", "bayround.v1.TwinService", "bayround.v1.HistoryService",
	} {
		got, err := server.health.Check(t.Context(), &grpc_health_v1.HealthCheckRequest{Service: name})
		if err != nil || got.GetStatus() != grpc_health_v1.HealthCheckResponse_NOT_SERVING {
			t.Errorf("health of %q before Serve = %v, %v", name, got, err)
		}
		server.setServing(true)
		if got, _ := server.health.Check(t.Context(), &grpc_health_v1.HealthCheckRequest{Service: name}); got.GetStatus() != grpc_health_v1.HealthCheckResponse_SERVING {
			t.Errorf("health of %q while serving = %v", name, got)
		}
		server.setServing(false)
	}
	server.Stop(t.Context())
}
