package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"

	"bayround/internal/faultpoint"
)

// built is the folder of the server's binary, built once for all tests of this run.
var built = sync.OnceValues(func() (string, error) { return build() })

// breakable is the folder of one with fault points. It is built when a test asks.
var breakable = sync.OnceValues(func() (string, error) {
	folder, err := built()
	if err != nil {
		return folder, err
	}
	return folder, buildInto(filepath.Join(folder, breakableName), "-tags", faultpoint.Tag)
})

const breakableName = "breakable-server"

func build() (folder string, err error) {
	if folder, err = scratch(); err != nil {
		return "", err
	}
	return folder, buildInto(filepath.Join(folder, "server"))
}

func buildInto(path string, flags ...string) error {
	args := append(append([]string{"build", "-buildvcs=false"}, flags...), "-o", path, ".")
	if out, err := exec.Command("go", args...).CombinedOutput(); err != nil {
		return fmt.Errorf("%w\n%s", err, out)
	}
	return nil
}

// The tests speak in plain text where certificates are not what is tested.
func TestMain(m *testing.M) {
	if err := os.Setenv("BAYROUND_PLAINTEXT_ON_LOOPBACK", "1"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := m.Run()
	if folder, err := scratch(); err == nil {
		_ = os.RemoveAll(folder)
	}
	os.Exit(code)
}

// binary is the path of the server as it is shipped.
func binary(t *testing.T) string {
	t.Helper()
	folder, err := built()
	if err != nil {
		t.Fatal(err)
	}
	return filepath.Join(folder, "server")
}

// binaryWithFaults is the path of the server with fault points.
func binaryWithFaults(t *testing.T) string {
	t.Helper()
	folder, err := breakable()
	if err != nil {
		t.Fatal(err)
	}
	return filepath.Join(folder, breakableName)
}

// tool is the path of one of the tools of tools.mod, built when it is not there.
func tool(t *testing.T, name, pkg string) string {
	t.Helper()
	path, err := filepath.Abs(filepath.Join("..", "build", "bin", name))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(path); err == nil {
		return path
	}
	build := exec.Command("go", "build", "-buildvcs=false", "-modfile=tools.mod", "-o", path, pkg)
	build.Dir = ".."
	if out, err := build.CombinedOutput(); err != nil {
		needs(t, "%s: %v\n%s", name, err, out)
	}
	return path
}

// needs skips a test for want of something, aloud; with CI set nothing may be missing.
func needs(t *testing.T, format string, args ...any) {
	t.Helper()
	words := "skipped: needs " + fmt.Sprintf(format, args...)
	if set := os.Getenv("CI"); set != "" && set != "false" {
		t.Fatal(words)
	}
	t.Skip(words)
}

// process is the server as a process of its own.
type process struct {
	t       *testing.T
	command *exec.Cmd
	address string
	log     *strings.Builder
	ended   chan struct{} // closed when it has ended; command.ProcessState says how
}

// launch starts the binary as "server serve" and waits until it is ready. Words
// before it, for instance a tracer and its flags, are run in its place.
func launch(t *testing.T, data string, before ...string) *process {
	t.Helper()
	args := append(before, binary(t), "serve", "--data", data, "--listen", "127.0.0.1:0", "--metrics", "")
	return launched(t, exec.Command(args[0], args[1:]...)) //nolint:gosec // our own binary
}

// launchToBreak starts the binary with fault points and a plan for them.
func launchToBreak(t *testing.T, data, plan string) *process {
	t.Helper()
	serve := exec.Command(binaryWithFaults(t), "serve", "--data", data, "--listen", "127.0.0.1:0", "--metrics", "") //nolint:gosec // our own binary
	serve.Env = append(os.Environ(), faultpoint.Variable+"="+plan)
	return launched(t, serve)
}

// launched starts a server and waits until it is ready.
func launched(t *testing.T, command *exec.Cmd) *process {
	t.Helper()
	p := &process{t: t, command: command, log: &strings.Builder{}, ended: make(chan struct{})}
	p.command.Stderr = p.log
	out, err := p.command.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.command.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	for p.address == "" && lines.Scan() {
		if found := readyPattern.FindStringSubmatch(lines.Text()); found != nil {
			p.address = found[1]
		}
	}
	go func() {
		defer close(p.ended)
		_, _ = io.Copy(io.Discard, out)
		_ = p.command.Wait()
	}()
	t.Cleanup(func() { p.kill() })
	if p.address == "" {
		<-p.ended
		t.Fatalf("the server never got ready: %v\n%s", p.command.ProcessState, p.log)
	}
	return p
}

// kill ends the process without a chance to tidy up.
func (p *process) kill() {
	if err := p.command.Process.Kill(); err != nil && !errors.Is(err, os.ErrProcessDone) {
		p.t.Errorf("killing the server: %v", err)
	}
	<-p.ended
}

// end asks the process to end and returns its exit code.
func (p *process) end() int {
	if err := p.command.Process.Signal(syscall.SIGTERM); err != nil {
		p.t.Errorf("asking the server to end: %v", err)
	}
	return p.exitCode()
}

// exitCode waits until the process has ended by itself.
func (p *process) exitCode() int {
	<-p.ended
	return p.command.ProcessState.ExitCode()
}

// outside runs another program and returns what it printed and its exit code.
func outside(ctx context.Context, t *testing.T, program string, args ...string) (printed string, code int) {
	t.Helper()
	command := exec.CommandContext(ctx, program, args...)
	out, err := command.CombinedOutput()
	var failed *exec.ExitError
	if err != nil && !errors.As(err, &failed) {
		t.Fatalf("%s: %v", program, err)
	}
	return string(out), command.ProcessState.ExitCode()
}
