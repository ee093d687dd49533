package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"syscall"
	"time"

	pb "bayround/proto/bayround/v1"
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
	args := []string{"serve", "--station", address, "--data", folder, "--device", demoDevice, "--listen", f.tabletListen, "--bay", f.bayListen, "--log-level", f.logLevel}
	if c.identity.plain {
		args = append(args, "--plaintext-on-loopback")
	} else if err := enrolKiosk(ctx, c, f.kiosk, address, folder); err != nil {
		return nil, errors.Join(err, os.RemoveAll(folder))
	}
	k.command = exec.CommandContext(ctx, f.kiosk, args...) //nolint:gosec // the person names the program
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

// demoDevice is the name of the kiosk.
const demoDevice = "tablet-1"

// enrolKiosk does what a person does at a new tablet.
func enrolKiosk(ctx context.Context, c *console, program, address, folder string) error {
	return c.asking(address, func(s *remote) error {
		asking, cancel := patiently(ctx)
		defer cancel()
		opened, err := s.enrolment.OpenEnrolment(asking, &pb.OpenEnrolmentRequest{Device: demoDevice})
		if err != nil {
			return err
		}
		enrol := exec.CommandContext(ctx, program, "enrol", "--station", address, "--data", folder, "--device", demoDevice, //nolint:gosec // the person names the program
			"--station-sha256", opened.GetAuthoritySha256())
		enrol.Stdin = strings.NewReader(opened.GetCode() + "\n")
		if said, err := enrol.CombinedOutput(); err != nil {
			return fmt.Errorf("enrolling the kiosk: %w\n%s", err, said)
		}
		return nil
	})
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
