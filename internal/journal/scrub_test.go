package journal

import (
	"context"
	"errors"
	"testing"

	"bayround/internal/fault"
)

func TestScrub_FindsWhatVerifyFinds(t *testing.T) {
	j := open(t, t.TempDir())
	for _, id := range []string{"a", "b", "c"} {
		put(t, j, id, []string{id, id + id}, row("k", id))
	}
	want, err := j.Verify(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	if got, err := j.Scrub(context.Background()); err != nil || got != want {
		t.Errorf("Scrub: %v, %v; Verify: %v", got, err, want)
	}
	mustClose(t, j)
	if _, err := j.Scrub(context.Background()); !hasReason(err, "JOURNAL_CLOSED") {
		t.Errorf("scrub of a closed journal: %v", err)
	}

	j, err = tryOpen(tamperedJournal(t, func(m tampering) { m.flip(eventKey(7)) }))
	if err != nil {
		t.Fatal(err)
	}
	defer mustClose(t, j)
	report, err := j.Scrub(context.Background())
	wantFault(t, err, fault.Lost, "EVENT_CHANGED")
	if report.FirstBad != 7 || report.Problem == "" {
		t.Errorf("%+v, want event 7", report)
	}
}

func TestScrub_EndsWithItsContextAlsoWhileItRests(t *testing.T) {
	j := open(t, t.TempDir())
	for range 3 { // enough for it to rest
		var events []string
		for range paceSteps {
			events = append(events, "x")
		}
		put(t, j, string(rune('a'+j.Size()%26)), events)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := j.Scrub(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("it went on: %v", err)
	}
	if _, err := j.Scrub(context.Background()); err != nil {
		t.Error(err)
	}
}

// Rows are not in the tree; what is wrong with them shows when they are made anew.
func TestCheckRows_FindsRowsThatTheEventsDoNotMake(t *testing.T) {
	for name, tc := range map[string]struct {
		tamper func(m tampering)
		reason string
	}{
		"nothing":     {func(tampering) {}, ""},
		"row changed": {func(m tampering) { m.set(rowKey("k", 3), Row{Value: []byte("2!")}.encode()) }, "ROWS_DIFFER"},
		"row removed": {func(m tampering) { m.remove(rowKey("k", 3)) }, "ROWS_DIFFER"},
		"row added":   {func(m tampering) { m.set(rowKey("kk", 3), Row{Value: []byte("2")}.encode()) }, "ROWS_DIFFER"},
		"row of another event": {func(m tampering) {
			m.remove(rowKey("k", 3))
			m.set(rowKey("k", 1), Row{Value: []byte("2")}.encode())
		}, "ROWS_DIFFER"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			j := open(t, dir)
			putProjected(t, j, "one", "k=1", "k=2", "other=x")
			putProjected(t, j, "two", "k=3")
			mustClose(t, j)
			tampered(t, dir, tc.tamper)
			j = open(t, dir)
			if err := j.CheckRows(context.Background(), project); tc.reason == "" && err != nil || tc.reason != "" && !hasReason(err, tc.reason) {
				t.Errorf("got %v, want %q", err, tc.reason)
			}
		})
	}
}

func TestCheckRows_PassesErrorsOn(t *testing.T) {
	j := open(t, t.TempDir())
	putProjected(t, j, "one", "k=1")
	err := j.CheckRows(context.Background(), func(uint64, []byte) ([]Row, error) { return nil, errDisk })
	if !errors.Is(err, errDisk) {
		t.Errorf("got %v", err)
	}
}
