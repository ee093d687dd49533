package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bayround/internal/command"
	"bayround/internal/faultpoint"
)

// A station whose store has lost its newest events serves readers, says so beside
// every answer, takes nothing and proves nothing.
func TestServe_WithARecordThatIsBehind(t *testing.T) {
	data, kept := t.TempDir(), filepath.Join(t.TempDir(), "kept")
	s := serving(t, data)
	must(t, "apply", county(t), "--server", s.address)
	s.stop()
	store := filepath.Join(data, "badger")
	if err := os.CopyFS(kept, os.DirFS(store)); err != nil {
		t.Fatal(err)
	}
	s = serving(t, data)
	must(t, "play", round(t, "09-t1-before-tow.yaml"), "--server", s.address)
	if got := do(t, "readiness", "t1", "--server", s.address); strings.Contains(got.err, "record") {
		t.Errorf("a sound station is said to be behind: %s", got.err)
	}
	s.stop()
	if err := os.RemoveAll(store); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(store, os.DirFS(kept)); err != nil {
		t.Fatal(err)
	}

	s = serving(t, data)
	got := do(t, "readiness", "t1", "--exit-code", "--server", s.address)
	if got.code != exitByVerdict+3 {
		t.Errorf("the vehicle is exit code %d, want UNPROVEN", got.code)
	}
	requireIn(t, got.out, "lost its newest entries")
	if n := strings.Count(got.err, "lost its newest entries; it takes nothing"); n != 1 {
		t.Errorf("it is said %d times beside the answer:\n%s", n, got.err)
	}
	if got := do(t, "play", round(t, "09-t1-before-tow.yaml"), "--server", s.address); got.code != command.ExitRefused {
		t.Errorf("a round is answered with %d: %s", got.code, got.err)
	}
	s.stop()
	if got := do(t, "verify", "--data", data); got.code != command.ExitDamaged {
		t.Errorf("verify ends with %d: %s", got.code, got.err)
	}
}

// A head that cannot be written beside the record is a write that failed: the
// server ends as after any, and what it acknowledged is there after the next start.
func TestServe_StopsItselfWhenAHeadCannotBeWritten(t *testing.T) {
	data, told := t.TempDir(), newAcks()
	p := launch(t, data)
	must(t, "apply", county(t), "--server", p.address)
	p.end()
	p = launchToBreak(t, data, string(faultpoint.JournalBeforeHeadRename)+"=error@5")
	if broken := told.playUntilDead(t, p.address, 0); broken == 0 {
		t.Error("no player was interrupted")
	}
	if code := p.exitCode(); code != command.ExitStopped {
		t.Errorf("the server ended with %d, want %d\n%s", code, command.ExitStopped, p.log)
	}
	p = launch(t, data)
	for _, code := range told.playAll(t, p.address, 0) {
		if code != command.ExitDone {
			t.Errorf("after the restart a player ends with %d", code)
		}
	}
	told.compare(t, p.address)
}
