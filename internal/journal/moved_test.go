package journal

import (
	"context"
	"strings"
	"testing"

	"bayround/internal/fault"
)

func TestMarkMoved_KeepsItFromBeingOpened(t *testing.T) {
	c := keptJournal(t, 3)
	if err := MarkMoved(c.dir, "/mnt/stick/move", c.options.Head); err != nil {
		t.Fatal(err)
	}
	_, err := tryOpen(c.dir)
	wantFault(t, err, fault.Precondition, "RECORD_MOVED")
	if !strings.Contains(err.Error(), "/mnt/stick/move") {
		t.Errorf("it does not say where to: %v", err)
	}
	if report, err := Verify(context.Background(), Options{Dir: c.dir}); err != nil || report.Events != uint64(len(c.events)) {
		t.Errorf("reading it is no harm: %s, %v", report, err)
	}
}

func TestMarkMoved_LeavesNothingBehind(t *testing.T) {
	c := keptJournal(t, 3)
	j := open(t, c.dir)
	wantFault(t, MarkMoved(c.dir, "elsewhere", c.options.Head), fault.Unavailable, "JOURNAL_LOCKED")
	put(t, j, "after the copy", []string{"one more"})
	mustClose(t, j)
	wantFault(t, MarkMoved(c.dir, "elsewhere", c.options.Head), fault.Precondition, "RECORD_GREW")
	wantFault(t, MarkMoved(t.TempDir(), "elsewhere", c.options.Head), fault.NotFound, "JOURNAL_UNKNOWN")
	open(t, c.dir) // it stays what it was
}
