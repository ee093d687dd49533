package stationtest_test

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"testing"

	"bayround/internal/rpc"
	"bayround/internal/station"
	"bayround/internal/stationtest"
)

// The test binary runs itself with this set: as a station on that directory, which
// the test kills, or which falls dead at a fault point.
const childDir = "STATIONTEST_CHILD_DIR"

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		if err := runStation(dir); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	code := m.Run()
	breakable.Remove()
	os.Exit(code)
}

// runStation serves the small station until it fails. Its clock stands still, so
// that nothing changes but by commands.
func runStation(dir string) error {
	st, err := station.Open(context.Background(), station.Options{Dir: dir, Defaults: stationtest.Small(), Now: stationtest.NewClock().Now})
	if err != nil {
		return err
	}
	server, err := rpc.New(st, rpc.Options{})
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	go func() {
		<-st.Failed()
		fmt.Fprintln(os.Stderr, "the station failed")
		os.Exit(1)
	}()
	fmt.Println("ready on", listener.Addr())
	return errors.Join(server.Serve(listener), errors.New("nobody asked it to stop"))
}

// breakable is this test binary with fault points.
var breakable stationtest.Breakable
