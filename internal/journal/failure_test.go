package journal

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/dgraph-io/badger/v4"

	"bayround/internal/fault"
)

var errDisk = errors.New("input/output error")

// commitFaults are the two ways in which a commit can fail.
func commitFaults() map[string]func(*badger.Txn) error {
	return map[string]func(*badger.Txn) error{
		"commit failed and not done": func(*badger.Txn) error { return errDisk },
		"commit failed but done":     func(txn *badger.Txn) error { return errors.Join(txn.Commit(), errDisk) },
	}
}

// failing opens a journal of one event whose next commit fails.
func failing(t *testing.T, dir string, commit func(*badger.Txn) error) *Journal {
	t.Helper()
	j := open(t, dir)
	put(t, j, "one", []string{"a"}, row("k", "1"))
	j.commit = commit
	return j
}

func TestFailedCommit_StopsTheJournal(t *testing.T) {
	for name, commit := range commitFaults() {
		t.Run(name, func(t *testing.T) {
			ctx := context.Background()
			j := failing(t, t.TempDir(), commit)
			before := string(j.Checkpoint())
			select {
			case <-j.Failed():
				t.Fatal("failed before anything went wrong")
			default:
			}
			waited := make(chan error, 1)
			go func() { waited <- j.Wait(ctx, 1) }()
			two := always(Entry{Events: [][]byte{[]byte("b")}, Rows: []Row{row("k", "2")}})
			_, err := j.Append(ctx, Command{ID: "two"}, two)
			if wantFault(t, err, fault.Unavailable, "JOURNAL_STOPPED"); !errors.Is(err, errDisk) {
				t.Errorf("%v does not name its cause", err)
			}
			<-j.Failed()
			wantFault(t, <-waited, fault.Unavailable, "JOURNAL_STOPPED")
			j.commit = (*badger.Txn).Commit // the disk is well again, but we cannot know
			for _, id := range []string{"one", "two", "three"} {
				_, err := j.Append(ctx, Command{ID: id}, two)
				wantFault(t, err, fault.Unavailable, "JOURNAL_STOPPED")
			}
			wantFault(t, j.Rebuild(ctx, project), fault.Unavailable, "JOURNAL_STOPPED")
			// What was durable can still be read; what nobody vouches for is not shown.
			if j.Size() != 1 || string(j.Checkpoint()) != before {
				t.Errorf("size %d, checkpoint %s", j.Size(), j.Checkpoint())
			}
			wantEqual(t, "events", allEvents(t, j), []string{"a"})
			wantEqual(t, "rows", rowsAt(t, j, "", 0), []string{"k=1"})
		})
	}
}

func TestFailedCommit_NextOpenFindsOut(t *testing.T) {
	for name, done := range map[string]bool{"commit failed and not done": false, "commit failed but done": true} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			j := failing(t, dir, commitFaults()[name])
			two := always(Entry{Events: [][]byte{[]byte("b")}, Receipt: []byte("two")})
			if _, err := j.Append(context.Background(), Command{ID: "two"}, two); err == nil {
				t.Fatal("the failed commit was acknowledged")
			}
			mustClose(t, j)
			j = open(t, dir)
			r, err := j.Append(context.Background(), Command{ID: "two"}, two)
			if err != nil || r.Repeated != done || r.First != 2 || r.Last != 2 || string(r.Body) != "two" {
				t.Errorf("after reopening: %+v, %v; want event 2, repeated %v", r, err, done)
			}
			wantEqual(t, "events", allEvents(t, j), []string{"a", "b"})
		})
	}
}

// Whoever is in a batch that fails, or behind it, is told; what was
// acknowledged before is there after reopening.
func TestFailedCommit_TellsEveryCaller(t *testing.T) {
	for name, commit := range commitFaults() {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			j := open(t, dir)
			commits := 0
			j.commit = func(txn *badger.Txn) error {
				if commits++; commits == 5 {
					return commit(txn)
				}
				return txn.Commit()
			}
			acknowledged := appendUntilStopped(t, j)
			mustClose(t, j)
			j = open(t, dir)
			for id, first := range acknowledged {
				r, err := j.Append(context.Background(), Command{ID: id}, always(Entry{}))
				if err != nil || !r.Repeated || r.First != first {
					t.Errorf("%s was acknowledged as event %d, now %+v, %v", id, first, r, err)
				}
			}
		})
	}
}

// appendUntilStopped lets 20 callers append until each has been refused, and
// returns what was acknowledged.
func appendUntilStopped(t *testing.T, j *Journal) map[string]uint64 {
	t.Helper()
	var mu sync.Mutex
	acknowledged := map[string]uint64{}
	var wait sync.WaitGroup
	for caller := range 20 {
		wait.Go(func() {
			for n := 0; ; n++ {
				id := fmt.Sprintf("%d/%d", caller, n)
				r, err := j.Append(context.Background(), Command{ID: id}, always(Entry{Events: [][]byte{[]byte(id)}}))
				if err != nil {
					wantFault(t, err, fault.Unavailable, "JOURNAL_STOPPED")
					return
				}
				mu.Lock()
				acknowledged[id] = r.First
				mu.Unlock()
			}
		})
	}
	wait.Wait()
	if len(acknowledged) < 4 {
		t.Errorf("only %d commands acknowledged in four commits", len(acknowledged))
	}
	return acknowledged
}

// Rebuild commits three times here: the mark, the rows, the end mark.
func TestFailedCommit_InRebuild(t *testing.T) {
	for name, commit := range commitFaults() {
		for failAt := 1; failAt <= 2; failAt++ {
			t.Run(fmt.Sprintf("%s, transaction %d", name, failAt), func(t *testing.T) {
				dir := t.TempDir()
				j := open(t, dir)
				someRows(t, j)
				want := versions(t, j)
				commits := 0
				j.commit = func(txn *badger.Txn) error {
					if commits++; commits == failAt {
						return commit(txn)
					}
					return txn.Commit()
				}
				err := j.Rebuild(context.Background(), project)
				if wantFault(t, err, fault.Unavailable, "JOURNAL_STOPPED"); !errors.Is(err, errDisk) {
					t.Errorf("%v does not name its cause", err)
				}
				<-j.Failed()
				mustClose(t, j)
				j = open(t, dir)
				if !j.RowsComplete() {
					if err := j.Rebuild(context.Background(), project); err != nil {
						t.Error(err)
					}
				}
				wantEqual(t, "rows", versions(t, j), want)
			})
		}
	}
}

// Badger refusing a write in the middle of an entry is a bug of ours, as our
// limits are below its own. Should it happen, no half of the entry may stay.
func TestFailedWrite_StopsBeforeTheCommit(t *testing.T) {
	dir := t.TempDir()
	small := func(o *Options) {
		o.tune = func(b badger.Options) badger.Options { // transactions of up to 150 KiB
			return b.WithMemTableSize(1 << 20).WithValueThreshold(100 << 10)
		}
	}
	j := open(t, dir, small)
	put(t, j, "one", []string{"a"})
	part := make([]byte, 60<<10)
	_, err := j.Append(context.Background(), Command{ID: "two"}, always(Entry{Events: [][]byte{part, part, part}}))
	if wantFault(t, err, fault.Unavailable, "JOURNAL_STOPPED"); !errors.Is(err, badger.ErrTxnTooBig) {
		t.Errorf("%v, want it to name Badger's refusal", err)
	}
	<-j.Failed()
	mustClose(t, j)
	j = open(t, dir, small)
	wantEqual(t, "events", allEvents(t, j), []string{"a"})
	if r := put(t, j, "two", []string{"b"}); r.First != 2 || r.Repeated {
		t.Errorf("after reopening: %+v", r)
	}
}

// A process that ends, or a disk that is full, between the making of a new
// write-ahead log and the reservation of its length leaves an empty file.
// Badger refuses to open with one, once; nothing is lost by it.
func TestOpen_WithAnEmptyWriteAheadLog(t *testing.T) {
	for name, logs := range map[string][]string{"one": {"00099.mem"}, "two": {"00098.mem", "00099.mem"}} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			j := open(t, dir)
			put(t, j, "one", []string{"a"})
			mustClose(t, j)
			for _, log := range logs {
				if err := os.WriteFile(filepath.Join(dir, badgerDir, log), nil, 0o600); err != nil {
					t.Fatal(err)
				}
			}
			j = open(t, dir)
			put(t, j, "two", []string{"b"})
			wantEqual(t, "events", allEvents(t, j), []string{"a", "b"})
		})
	}
}
