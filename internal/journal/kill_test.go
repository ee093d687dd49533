package journal

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"

	"bayround/internal/fault"
)

// startChild runs this test binary as a child with the given task.
func startChild(t *testing.T, dir, task, run string) (*exec.Cmd, *bufio.Scanner) {
	t.Helper()
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), childTask+"="+task, childDir+"="+dir, childRun+"="+run)
	child.Stderr = os.Stderr
	out, err := child.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := child.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { child.Process.Kill() })
	return child, bufio.NewScanner(out)
}

type span struct{ first, last uint64 }

// hammerAndKill lets a child append until it has answered some times, kills
// it, and adds everything it answered to acknowledged.
func hammerAndKill(t *testing.T, dir, run string, answers int, acknowledged map[string]span) {
	t.Helper()
	child, lines := startChild(t, dir, "hammer", run)
	for n := 0; lines.Scan(); n++ {
		if lines.Text() == "ready" {
			_, err := tryOpen(dir)
			wantFault(t, err, fault.Unavailable, "JOURNAL_LOCKED")
			continue
		}
		if n == answers {
			if err := child.Process.Kill(); err != nil {
				t.Fatal(err)
			}
		}
		var id string
		var s span
		if _, err := fmt.Sscanf(lines.Text(), "ack %s %d %d", &id, &s.first, &s.last); err != nil {
			t.Fatalf("%q: %v", lines.Text(), err)
		}
		acknowledged[id] = s
	}
	if err := lines.Err(); err != nil && err != io.EOF {
		t.Fatal(err)
	}
	if err := child.Wait(); err == nil || child.ProcessState.ExitCode() != -1 {
		t.Fatalf("the child was not killed but ended: %v", err)
	}
}

// A process killed at any instant loses nothing it acknowledged, doubles
// nothing, and leaves no half of an entry. (A kill says nothing about the
// disk's own cache: TestAppend_SyncsBeforeItAnswers does.)
func TestKill_LosesNothingAcknowledged(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	acknowledged := map[string]span{}
	for round := range 6 {
		answers := 1 + rand.IntN(600)
		hammerAndKill(t, dir, fmt.Sprint("round", round), answers, acknowledged)
		j := open(t, dir)
		report, err := j.Verify(context.Background())
		if err != nil {
			t.Fatalf("round %d: %v", round, err)
		}
		t.Logf("round %d: killed after %d answers; %v; %d acknowledged in all", round, answers, report, len(acknowledged))
		checkWhole(t, j)
		for id, s := range acknowledged {
			r, err := j.Append(context.Background(), Command{ID: id}, always(Entry{}))
			if err != nil || !r.Repeated || r.First != s.first || r.Last != s.last {
				t.Fatalf("%s was acknowledged as %v, now %+v, %v", id, s, r, err)
			}
		}
		mustClose(t, j)
	}
}

// checkWhole makes sure that each command's events are all there, once, in
// order and side by side, and that the row names the last of them.
func checkWhole(t *testing.T, j *Journal) {
	t.Helper()
	seen := map[string]bool{}
	var id string
	next, total := 0, 0
	for seq, event := range allEvents(t, j) {
		var i, n int
		var of string
		if _, err := fmt.Sscanf(event, "%s %d %d", &of, &i, &n); err != nil {
			t.Fatalf("event %d is %q", seq+1, event)
		}
		if next == total { // the entry before is complete
			if seen[of] {
				t.Fatalf("%s is there twice", of)
			}
			seen[of], id, next, total = true, of, 0, n
		}
		if of != id || i != next || n != total {
			t.Fatalf("event %d is %q, want part %d of %d of %s", seq+1, event, next, total, id)
		}
		next++
	}
	if next != total {
		t.Fatalf("the last entry %s has %d of %d events", id, next, total)
	}
	if last, err := j.Row("last", 0); err != nil || string(last) != id {
		t.Fatalf("the row names %q, %v; the last event is of %s", last, err, id)
	}
	if !strings.Contains(id, "round") {
		t.Fatalf("no events: %q", id)
	}
}
