package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"

	"google.golang.org/grpc"
)

// programs are both programs as they are shipped, built once for all tests.
var programs = sync.OnceValues(func() (folder string, err error) {
	if folder, err = os.MkdirTemp("", "bayround-kiosk-test-"); err != nil {
		return "", err
	}
	build := exec.Command("go", "build", "-buildvcs=false", "-o", folder+string(filepath.Separator), "bayround/server", "bayround/kiosk")
	build.Stderr = os.Stderr
	return folder, build.Run()
})

func TestMain(m *testing.M) {
	code := m.Run()
	if folder, err := programs(); err == nil {
		_ = os.RemoveAll(folder)
	}
	os.Exit(code)
}

func program(t testing.TB, name string) string {
	t.Helper()
	folder, err := programs()
	if err != nil {
		t.Fatalf("building the programs: %v", err)
	}
	return filepath.Join(folder, name)
}

// county is the demo's configuration.
const county = "../testdata/demo"

// process is a program that runs until it is ended.
type process struct {
	t       testing.TB
	command *exec.Cmd
	log     *strings.Builder
	said    []string // what the ready line named
	ended   chan struct{}
}

// launch starts a program and waits for its ready line.
func launch(t testing.TB, ready *regexp.Regexp, args ...string) *process {
	t.Helper()
	p := &process{t: t, command: exec.Command(args[0], args[1:]...), log: &strings.Builder{}, ended: make(chan struct{})} //nolint:gosec // our own program
	p.command.Stderr = p.log
	out, err := p.command.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.command.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	for p.said == nil && lines.Scan() {
		p.said = ready.FindStringSubmatch(lines.Text())
	}
	go func() {
		defer close(p.ended)
		_, _ = io.Copy(io.Discard, out)
		_ = p.command.Wait()
	}()
	t.Cleanup(p.kill)
	if p.said == nil {
		<-p.ended
		t.Fatalf("%s never got ready: %v\n%s", filepath.Base(args[0]), p.command.ProcessState, p.log)
	}
	return p
}

// kill ends the process without a chance to tidy up.
func (p *process) kill() {
	if err := p.command.Process.Kill(); err != nil && !errors.Is(err, os.ErrProcessDone) {
		p.t.Errorf("killing: %v", err)
	}
	<-p.ended
}

func (p *process) signal(s syscall.Signal) {
	p.t.Helper()
	if err := p.command.Process.Signal(s); err != nil {
		p.t.Fatalf("signal %v: %v", s, err)
	}
}

// end asks the process to end and returns its exit code.
func (p *process) end() int {
	p.t.Helper()
	p.signal(syscall.SIGTERM)
	<-p.ended
	return p.command.ProcessState.ExitCode()
}

var (
	serverReady = regexp.MustCompile(`^ready on (127\.0\.0\.1:\d+)`)
	kioskReady  = regexp.MustCompile(`^ready: tablet (http://\S+), bay display (http://\S+),`)
)

// ofRecord is the station server, with the demo's county applied.
type ofRecord struct {
	*process
	data, address string
}

func startStation(t testing.TB) *ofRecord {
	t.Helper()
	s := &ofRecord{data: t.TempDir()}
	s.start(t, "127.0.0.1:0")
	apply := serverProgram(t, "apply", county, "--server", s.address)
	if said, err := apply.CombinedOutput(); err != nil {
		t.Fatalf("applying the county: %v\n%s", err, said)
	}
	return s
}

func (s *ofRecord) start(t testing.TB, address string) {
	t.Helper()
	s.process = launch(t, serverReady, program(t, "server"), "serve", "--data", s.data, "--listen", address, "--metrics", "", "--log-level", "warn")
	s.address = s.said[1]
	dataOf.Store(s.address, s.data)
}

// restart starts it again where it was, after it was killed or ended.
func (s *ofRecord) restart() {
	s.t.Helper()
	s.start(s.t, s.address)
}

// play carries out a round of the demo.
func (s *ofRecord) play(files ...string) {
	s.t.Helper()
	for _, file := range files {
		play := serverProgram(s.t, "play", filepath.Join(county, "rounds", file), "--server", s.address)
		if said, err := play.CombinedOutput(); err != nil {
			s.t.Fatalf("playing %s: %v\n%s", file, err, said)
		}
	}
}

// verify stops the station and holds its whole record to its signatures.
func (s *ofRecord) verify() {
	s.t.Helper()
	if code := s.end(); code != 0 {
		s.t.Errorf("the station ended with %d\n%s", code, s.log)
	}
	said, err := serverProgram(s.t, "verify", "--data", s.data).CombinedOutput()
	if err != nil || !strings.HasPrefix(string(said), "sound: ") {
		s.t.Errorf("verify: %v\n%s", err, said)
	}
}

// dial reaches the station as another system does.
func (s *ofRecord) dial() *grpc.ClientConn {
	s.t.Helper()
	conn := dialStation(s.t, s.address)
	s.t.Cleanup(func() { _ = conn.Close() })
	return conn
}

// tablet is a kiosk.
type tablet struct {
	*process
	data, station, device string
	pages, bay            string
}

func startTablet(t testing.TB, station, device string) *tablet {
	t.Helper()
	k := newTablet(t, station, device)
	k.start(t, "127.0.0.1:0", "127.0.0.1:0")
	return k
}

// newTablet is a kiosk that was enrolled and has not been started yet.
func newTablet(t testing.TB, station, device string) *tablet {
	t.Helper()
	k := &tablet{data: t.TempDir(), station: station, device: device}
	enrolTablet(t, station, k.data, device)
	return k
}

func (k *tablet) start(t testing.TB, pages, bay string) {
	t.Helper()
	k.process = launch(t, kioskReady, program(t, "kiosk"), "serve", "--station", k.station, "--data", k.data, "--device", k.device,
		"--listen", pages, "--bay", bay, "--log-level", "warn")
	k.pages, k.bay = k.said[1], k.said[2]
}

// restart starts it again under the same addresses, after it was killed or ended.
func (k *tablet) restart() {
	k.t.Helper()
	host := func(url string) string {
		rest := strings.TrimPrefix(url, "http://")
		name, _, _ := strings.Cut(rest, "/")
		return name
	}
	k.start(k.t, host(k.pages), host(k.bay))
}

// needs skips a test for want of something, aloud; with CI set nothing may be missing.
func needs(t testing.TB, format string, args ...any) {
	t.Helper()
	words := "skipped: needs " + fmt.Sprintf(format, args...)
	if set := os.Getenv("CI"); set != "" && set != "false" {
		t.Fatal(words)
	}
	t.Skip(words)
}
