package stationtest_test

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"

	"bayround/internal/faultpoint"
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
	if breakable.folder != "" {
		_ = os.RemoveAll(breakable.folder)
	}
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

// breakable is this test binary with fault points, built when a test asks.
var breakable struct {
	once   sync.Once
	folder string
	err    error
}

func breakableBinary(t *testing.T) string {
	t.Helper()
	b := &breakable
	b.once.Do(func() {
		if b.folder, b.err = os.MkdirTemp("", "bayround-stationtest-"); b.err != nil {
			return
		}
		build := exec.Command("go", "test", "-c", "-tags", faultpoint.Tag, "-buildvcs=false", "-o", filepath.Join(b.folder, "breakable.test"), ".")
		if out, err := build.CombinedOutput(); err != nil {
			b.err = fmt.Errorf("%w\n%s", err, out)
		}
	})
	if b.err != nil {
		t.Fatal(b.err)
	}
	return filepath.Join(b.folder, "breakable.test")
}
