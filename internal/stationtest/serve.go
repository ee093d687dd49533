package stationtest

import (
	"context"
	"net"
	"testing"

	"google.golang.org/grpc"

	"bayround/internal/rpc"
	"bayround/internal/station"
)

// Served is a station behind a real server on a loopback socket.
type Served struct {
	// Server is what serves; Stop it to see what callers see then.
	Server *rpc.Server
	// Address is where it listens, as host:port.
	Address string
	done    chan error // what Serve returned
}

// Serve serves a station on a free port of the loopback interface until the test
// ends. The test keeps the station and closes it after that.
func Serve(t testing.TB, st *station.Station, o rpc.Options) *Served {
	t.Helper()
	server, err := rpc.New(st, o)
	if err != nil {
		t.Fatalf("making the server: %v", err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatalf("listening on the loopback interface: %v", err)
	}
	s := &Served{Server: server, Address: listener.Addr().String(), done: make(chan error, 1)}
	go func() { s.done <- server.Serve(listener) }()
	t.Cleanup(func() {
		server.Stop(context.Background())
		if err := <-s.done; err != nil {
			t.Errorf("serving: %v", err)
		}
	})
	return s
}

// Dial returns a connection of the kind our own programs use; it is closed when
// the test ends.
func (s *Served) Dial(t testing.TB) *grpc.ClientConn {
	t.Helper()
	conn, err := rpc.Dial(s.Address)
	if err != nil {
		t.Fatalf("dialling %s: %v", s.Address, err)
	}
	t.Cleanup(func() {
		if err := conn.Close(); err != nil {
			t.Errorf("closing the connection: %v", err)
		}
	})
	return conn
}
