package journal

import (
	"fmt"
	"strings"
	"testing"

	"bayround/internal/fault"
	"bayround/internal/faultpoint"
)

// deaths are the points at which a victim falls dead, or is refused by its disk
// and ends by itself.
func deaths() []faultpoint.Point {
	return []faultpoint.Point{
		faultpoint.JournalBeforeCommit, faultpoint.JournalAfterCommit, faultpoint.JournalBeforeAnswer, faultpoint.JournalBeforeHeadRename,
	}
}

// killsOfOneJournal is how often one journal is killed before a fresh one takes
// its place.
const killsOfOneJournal = 10

// A process killed at any instant loses nothing it acknowledged, doubles nothing,
// and leaves no half of an entry. BAYROUND_KILLS says how many are killed: in
// turn at a random instant, and at a random hit of each fault point. (A kill says
// nothing about the disk's own cache: TestPowerCut_LosesNothingAcknowledged does.)
//
// It runs beside no other test: between its fork and its exec a victim holds the locks of
// all journals that are open in this process, and who reopens one then finds it locked.
func TestKill_LosesNothingAcknowledged(t *testing.T) {
	kills, r := count(t, "BAYROUND_KILLS", 60), dice(t)
	var dir string
	var acked acknowledgements
	total := 0
	for n := range kills {
		if n%killsOfOneJournal == 0 {
			dir, acked = t.TempDir(), acknowledgements{}
		}
		v := victim{dir: dir, task: "hammer" + []string{"", smallTask}[r.IntN(2)], run: fmt.Sprint("round", n)}
		before := len(acked)
		if way := n % (2 + len(deaths())); way < 2 {
			v.killAfter(t, r.IntN(100), acked)
		} else {
			v.plan = fmt.Sprintf("%s=%s@%d", deaths()[way-2], []string{"exit", "exit", "error"}[r.IntN(3)], 1+r.IntN(20))
			v.letDie(t, acked)
		}
		total += len(acked) - before
		j := open(t, dir)
		acked.hold(t, j)
		mustClose(t, j)
	}
	t.Logf("%d kills, %d commands acknowledged, none lost", kills, total)
}

// killAfter lets a victim append until it has answered so many times, kills it,
// and adds everything it answered.
func (v victim) killAfter(t testing.TB, answers int, acked acknowledgements) {
	t.Helper()
	child := v.start(t)
	for n := 0; n <= answers && child.lines.Scan(); {
		if acked.hear(t, child.lines.Text()) {
			n++
			continue
		}
		_, err := tryOpen(v.dir)
		wantFault(t, err, fault.Unavailable, "JOURNAL_LOCKED")
	}
	if err := child.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	acked.hearAll(t, child)
	if err := child.Wait(); err == nil || child.ProcessState.ExitCode() != -1 {
		t.Fatalf("the victim was not killed but ended: %v", err)
	}
}

// letDie lets a victim append until it ends as its plan says, and adds everything
// it answered.
func (v victim) letDie(t *testing.T, acked acknowledgements) {
	t.Helper()
	child := v.start(t)
	acked.hearAll(t, child)
	want := -1 // killed
	if strings.Contains(v.plan, "=error@") {
		want = 1
	}
	if err := child.Wait(); err == nil || child.ProcessState.ExitCode() != want {
		t.Fatalf("the victim of %s ended with %v\n%s", v.plan, err, child.log.Bytes())
	}
	if !strings.Contains(child.log.String(), "faultpoint "+v.plan[:strings.Index(v.plan, "=")]) {
		t.Fatalf("the victim of %s never came to its point\n%s", v.plan, child.log.Bytes())
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
