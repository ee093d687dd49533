package journal

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"testing"

	"bayround/internal/faultpoint"
)

// victim is a child that appends until it is killed or its disk is taken away.
type victim struct {
	dir  string
	task string
	run  string // goes into the command ids
	plan string // where it breaks; it is built with fault points then
}

// running is a victim at work.
type running struct {
	*exec.Cmd
	lines *bufio.Scanner // what it says
	log   bytes.Buffer   // and its standard error, complete after Wait
}

// start runs this test binary, or the one with fault points, as a victim. What it
// said on standard error is shown when the test fails.
func (v victim) start(t testing.TB) *running {
	t.Helper()
	binary := os.Args[0]
	if v.plan != "" {
		binary = breakableBinary.path(t)
	}
	r := &running{Cmd: exec.Command(binary)}
	r.Env = append(os.Environ(), childTask+"="+v.task, childDir+"="+v.dir, childRun+"="+v.run, faultpoint.Variable+"="+v.plan)
	r.Stderr = &r.log
	out, err := r.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := r.Start(); err != nil {
		t.Fatal(err)
	}
	r.lines = bufio.NewScanner(out)
	t.Cleanup(func() {
		_ = r.Process.Kill()
		_ = r.Wait()
		if t.Failed() {
			t.Logf("%s of %s said %s", v.task, v.run, r.log.Bytes())
		}
	})
	return r
}

// breakable is this package's test binary with fault points, built once for all
// tests of this run, when the first of them asks.
type breakable struct {
	once   sync.Once
	folder string
	err    error
}

var breakableBinary breakable

func (b *breakable) path(t testing.TB) string {
	t.Helper()
	b.once.Do(func() {
		if b.folder, b.err = os.MkdirTemp("", "bayround-journal-"); b.err != nil {
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

// remove tidies up at the end of the run.
func (b *breakable) remove() {
	if b.folder != "" {
		_ = os.RemoveAll(b.folder)
	}
}

type span struct{ first, last uint64 }

// acknowledgements are what victims said was safely kept, by command id.
type acknowledgements map[string]span

// hear adds a line of a victim, and tells whether it was an acknowledgement.
func (a acknowledgements) hear(t testing.TB, line string) bool {
	t.Helper()
	if line == "ready" {
		return false
	}
	var id string
	var s span
	if _, err := fmt.Sscanf(line, "ack %s %d %d", &id, &s.first, &s.last); err != nil {
		t.Fatalf("%q: %v", line, err)
	}
	if before, told := a[id]; told && before != s {
		t.Fatalf("%s was acknowledged as %v and again as %v", id, before, s)
	}
	a[id] = s
	return true
}

// hearAll adds everything that is still to be heard of a victim that has ended.
func (a acknowledgements) hearAll(t testing.TB, r *running) {
	t.Helper()
	for r.lines.Scan() {
		a.hear(t, r.lines.Text())
	}
	if err := r.lines.Err(); err != nil {
		t.Fatal(err)
	}
}

// missing counts the acknowledged entries that are not there, byte for byte, where
// they were told to be.
func (a acknowledgements) missing(t *testing.T, j *Journal) (n int) {
	t.Helper()
	events := allEvents(t, j)
	for id, s := range a {
		number, err := strconv.Atoi(filepath.Base(id))
		if err != nil {
			t.Fatalf("command %q: %v", id, err)
		}
		there := s.last <= uint64(len(events))
		for i, event := range childEntry(id, number).Events {
			there = there && events[int(s.first)-1+i] == string(event)
		}
		if !there {
			n++
		}
	}
	return n
}

// repeat sends every acknowledged command again: each is known, as it was told.
func (a acknowledgements) repeat(t *testing.T, j *Journal) {
	t.Helper()
	for id, s := range a {
		r, err := j.Append(context.Background(), Command{ID: id}, always(Entry{}))
		if err != nil || !r.Repeated || r.First != s.first || r.Last != s.last {
			t.Fatalf("%s was acknowledged as %v, now %+v, %v", id, s, r, err)
		}
	}
}

// hold makes sure that a journal that was opened after a crash holds everything
// that was acknowledged, where it was told to be, and everything once and whole.
func (a acknowledgements) hold(t *testing.T, j *Journal) {
	t.Helper()
	if _, err := j.Verify(context.Background()); err != nil {
		t.Fatal(err)
	}
	if n := a.missing(t, j); n > 0 {
		t.Fatalf("%d of %d acknowledged commands are not where they were told to be", n, len(a))
	}
	if j.Size() > 0 {
		checkWhole(t, j)
	}
	a.repeat(t, j)
}

// count is a number from the environment, for who has more time.
func count(t *testing.T, variable string, otherwise int) int {
	t.Helper()
	text := os.Getenv(variable)
	if text == "" {
		return otherwise
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		t.Fatalf("%s=%q, want a number from 1", variable, text)
	}
	return n
}

// dice are a test's, with a seed that its log names.
func dice(t *testing.T) *rand.Rand {
	t.Helper()
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	return rand.New(rand.NewPCG(seed, 0))
}
