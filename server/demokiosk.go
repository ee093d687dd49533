package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"regexp"
	"syscall"
	"time"
)

// demoPIN is the PIN of every driver of the invented county; their file says so, too.
const demoPIN = "2468"

// demoKiosk is the kiosk that runs beside the demonstration.
type demoKiosk struct {
	command     *exec.Cmd
	folder      string
	tablet, bay string // addresses of its pages
	ended       chan error
}

// kioskReady is the line with which a kiosk says where its pages are.
var kioskReady = regexp.MustCompile(`^ready: tablet (http://\S+), bay display (http://\S+),`)

// startKiosk runs the kiosk program against the station at address, with a record
// of its own in a temporary folder, until ctx ends.
func startKiosk(ctx context.Context, c *console, f *demoFlags, address string) (*demoKiosk, error) {
	folder, err := os.MkdirTemp("", "bayround-demo-kiosk-")
	if err != nil {
		return nil, fmt.Errorf("making a folder for the kiosk: %w", err)
	}
	k := &demoKiosk{folder: folder, ended: make(chan error, 1)}
	k.command = exec.CommandContext(ctx, f.kiosk, "serve", "--station", address, "--data", folder, //nolint:gosec // the person names the program
		"--listen", f.tabletListen, "--bay", f.bayListen, "--log-level", f.logLevel)
	k.command.Stderr = c.Err
	k.command.Cancel = func() error { return k.command.Process.Signal(syscall.SIGTERM) }
	k.command.WaitDelay = 10 * time.Second
	out, err := k.command.StdoutPipe()
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(folder))
	}
	if err := k.command.Start(); err != nil {
		return nil, errors.Join(fmt.Errorf("starting the kiosk: %w", err), os.RemoveAll(folder))
	}
	lines := bufio.NewScanner(out)
	for k.tablet == "" && lines.Scan() {
		if found := kioskReady.FindStringSubmatch(lines.Text()); found != nil {
			k.tablet, k.bay = found[1], found[2]
		}
	}
	go func() {
		for lines.Scan() { // so that it never waits for a reader
			continue
		}
		k.ended <- k.command.Wait()
	}()
	if k.tablet == "" {
		return nil, errors.Join(errors.New("the kiosk ended before it was ready; what it said stands above"), k.stop())
	}
	return k, nil
}

// stop waits until the kiosk has ended, as it does when its context ends, and
// removes its folder.
func (k *demoKiosk) stop() error {
	err := <-k.ended
	var ended *exec.ExitError
	if errors.As(err, &ended) || errors.Is(err, context.Canceled) {
		err = nil // it was told to
	}
	return errors.Join(err, os.RemoveAll(k.folder))
}

// invitation is how to try the kiosk.
func (k *demoKiosk) invitation() string {
	return fmt.Sprintf(`
Open in a browser:

  %s        the driver's tablet; every driver's PIN is %s
  %s        the bay display`, k.tablet, demoPIN, k.bay)
}
