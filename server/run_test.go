package main

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"regexp"
	"strings"
	"sync"
	"testing"

	"bayround/internal/command"
)

// outcome is what one command line came to.
type outcome struct {
	code     int
	out, err string
}

// do runs one command line within this process.
func do(t *testing.T, args ...string) outcome {
	t.Helper()
	var out, err bytes.Buffer
	code := run(t.Context(), args, &out, &err)
	return outcome{code: code, out: out.String(), err: err.String()}
}

// must wants a command line to end well and returns what it printed.
func must(t *testing.T, args ...string) string {
	t.Helper()
	got := do(t, args...)
	if got.code != command.ExitDone {
		t.Fatalf("server %s: exit code %d\n%s%s", strings.Join(args, " "), got.code, got.out, got.err)
	}
	return got.out
}

// asking asks a station that serves in plain text.
func asking(address string, do func(*remote) error) error {
	c := newConsole(io.Discard, io.Discard)
	c.identity.plain = true
	return c.asking(address, do)
}

// served is a station that "server serve" runs within this process.
type served struct {
	address string
	stop    func() outcome // ends it as a signal does, and waits
}

var readyPattern = regexp.MustCompile(`^ready on (127\.0\.0\.1:\d+)`)

// serving runs "server serve" until the test ends.
func serving(t *testing.T, data string, args ...string) *served {
	t.Helper()
	return background(t, append([]string{"serve", "--data", data, "--listen", "127.0.0.1:0", "--metrics", ""}, args...)...)
}

// background runs a command line that serves, and waits until it is ready.
func background(t *testing.T, args ...string) *served {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	reader, writer := io.Pipe()
	ended := make(chan outcome, 1)
	var errs, out bytes.Buffer
	go func() {
		code := run(ctx, args, writer, &errs)
		_ = writer.Close()
		ended <- outcome{code: code, err: errs.String()}
	}()
	lines := bufio.NewScanner(reader)
	s := &served{}
	for s.address == "" && lines.Scan() {
		if found := readyPattern.FindStringSubmatch(lines.Text()); found != nil {
			s.address = found[1]
		}
	}
	drained := make(chan struct{})
	go func() {
		defer close(drained)
		for lines.Scan() {
			out.WriteString(lines.Text() + "\n")
		}
	}()
	s.stop = sync.OnceValue(func() outcome {
		cancel()
		last := <-ended
		<-drained
		last.out = out.String()
		return last
	})
	t.Cleanup(func() { s.stop() })
	if s.address == "" {
		last := s.stop()
		t.Fatalf("server %s never got ready: exit code %d\n%s", strings.Join(args, " "), last.code, last.err)
	}
	return s
}

// requireIn wants every text in what was printed.
func requireIn(t *testing.T, printed string, texts ...string) {
	t.Helper()
	for _, text := range texts {
		if !strings.Contains(printed, text) {
			t.Errorf("%q is not in:\n%s", text, printed)
		}
	}
}
