package rpc

import (
	"io"
	"net"
	"testing"
	"time"

	"golang.org/x/net/http2"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "bayround/proto/bayround/v1"
)

func TestSettings_AreTheDocumentedOnes(t *testing.T) {
	// Source: the measured advice for gRPC that this project's design rests on:
	// a dead peer found within 15 s, no connection older than an hour.
	server, client := serverKeepalive(), clientKeepalive()
	if server.Time+server.Timeout > 15*time.Second || client.Time+client.Timeout > 15*time.Second {
		t.Errorf("a dead peer is found after %v by the server and %v by the client, want 15 s at most", server.Time+server.Timeout, client.Time+client.Timeout)
	}
	if server.MaxConnectionAge != time.Hour || server.MaxConnectionAgeGrace != 30*time.Second {
		t.Errorf("a connection lives %v and %v more, want 1h and 30s", server.MaxConnectionAge, server.MaxConnectionAgeGrace)
	}
	if !client.PermitWithoutStream {
		t.Error("a client with nothing to ask does not notice that the station is gone")
	}
}

// greet opens a bare HTTP/2 connection to the server under test.
func greet(t *testing.T, address string) *http2.Framer {
	t.Helper()
	conn, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	if _, err := io.WriteString(conn, http2.ClientPreface); err != nil {
		t.Fatal(err)
	}
	framer := http2.NewFramer(conn, conn)
	if err := framer.WriteSettings(); err != nil {
		t.Fatal(err)
	}
	return framer
}

func TestSettings_ReachTheWire(t *testing.T) {
	_, conn := serve(t, openStation(t), Options{})
	framer := greet(t, conn.Target())
	frame, err := framer.ReadFrame()
	if err != nil {
		t.Fatal(err)
	}
	settings, ok := frame.(*http2.SettingsFrame)
	if !ok {
		t.Fatalf("the server greets with %v", frame)
	}
	for id, want := range map[http2.SettingID]uint32{
		http2.SettingMaxConcurrentStreams: 64,
		http2.SettingInitialWindowSize:    1 << 17,
	} {
		if got, ok := settings.Value(id); !ok || got != want {
			t.Errorf("%v = %d (%v), want %d", id, got, ok, want)
		}
	}
}

func TestSettings_AnIdleConnectionIsPinged(t *testing.T) {
	if testing.Short() {
		t.Skip("skipped: needs ten quiet seconds")
	}
	t.Parallel()
	_, conn := serve(t, openStation(t), Options{})
	framer := greet(t, conn.Target())
	for {
		frame, err := framer.ReadFrame()
		if err != nil {
			t.Fatalf("the connection ended without a ping: %v", err)
		}
		if ping, ok := frame.(*http2.PingFrame); ok && !ping.IsAck() {
			return // fixed windows: it can only be the keepalive
		}
	}
}

func TestSettings_RefuseARequestOverOneMebibyte(t *testing.T) {
	_, conn := serve(t, openStation(t), Options{})
	file := &pb.NamedFile{FileName: "a.yaml", Content: make([]byte, 700_000)}
	_, err := pb.NewVehicleServiceClient(conn).Apply(t.Context(), &pb.ApplyRequest{RequestId: uuid(1), Files: []*pb.NamedFile{file, file}})
	if status.Code(err) != codes.ResourceExhausted {
		t.Errorf("1.4 MB are answered with %v", err)
	}
}
