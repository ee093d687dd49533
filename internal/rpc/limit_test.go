package rpc_test

import (
	"context"
	"log/slog"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"

	"bayround/internal/fault"
	"bayround/internal/rpc"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// One connection more than are served is closed at once, the log says so, and
// when another ends there is room for it.
func TestServe_SoManyConnections(t *testing.T) {
	told := make(chan struct{})
	log := hears{slog.DiscardHandler, "as many connections as are served", sync.OnceFunc(func() { close(told) })}
	kit := stationtest.Open(t)
	served := stationtest.Serve(t, kit.Station, rpc.Options{Connections: 2, Logger: slog.New(log)})
	ask := func(conn *grpc.ClientConn, o ...grpc.CallOption) error {
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		defer cancel()
		_, err := pb.NewReadinessServiceClient(conn).ListReadiness(ctx, &pb.ListReadinessRequest{}, o...)
		return err
	}
	first, err := rpc.Dial(served.Address)
	if err != nil {
		t.Fatal(err)
	}
	second, third := served.Dial(t), served.Dial(t)
	for _, conn := range []*grpc.ClientConn{first, second} {
		if err := ask(conn); err != nil {
			t.Fatal(err)
		}
	}
	if err := ask(third); !fault.Is(err, fault.Unavailable) {
		t.Errorf("a third connection of two: %v", err)
	}
	<-told
	for _, conn := range []*grpc.ClientConn{first, second} {
		if err := ask(conn); err != nil {
			t.Errorf("who was there before: %v", err)
		}
	}
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	if err := ask(third, grpc.WaitForReady(true)); err != nil {
		t.Errorf("when one has gone: %v", err)
	}
}
