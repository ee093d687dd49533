package journal

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"

	"github.com/dgraph-io/badger/v4"

	"bayround/internal/fault"
)

func TestAppend_NumbersEventsFromOne(t *testing.T) {
	j := open(t, t.TempDir())
	for _, tc := range []struct {
		id          string
		events      []string
		first, last uint64
	}{
		{"one", []string{"a"}, 1, 1},
		{"none", nil, 0, 0},
		{"three", []string{"b", "c", "d"}, 2, 4},
		{"empty event", []string{""}, 5, 5},
	} {
		var next uint64
		e := Entry{Receipt: []byte(tc.id)}
		for _, event := range tc.events {
			e.Events = append(e.Events, []byte(event))
		}
		r, err := j.Append(context.Background(), Command{ID: tc.id}, func(n uint64) (Entry, error) { next = n; return e, nil })
		if err != nil || r.First != tc.first || r.Last != tc.last || string(r.Body) != tc.id || r.Repeated {
			t.Errorf("append %q = %+v, %v, want events %d to %d", tc.id, r, err, tc.first, tc.last)
		}
		if want := j.Size() - uint64(len(tc.events)) + 1; next != want {
			t.Errorf("decide of %q was told next = %d, want %d", tc.id, next, want)
		}
	}
	wantEqual(t, "events", allEvents(t, j), []string{"a", "b", "c", "d", ""})
}

func TestAppend_RepeatedCommandReturnsTheFirstReceipt(t *testing.T) {
	dir := t.TempDir()
	j := open(t, dir)
	c := Command{ID: "one", Digest: [32]byte{1}}
	first, err := j.Append(context.Background(), c, always(Entry{Events: [][]byte{[]byte("a"), []byte("b")}, Receipt: []byte("body")}))
	if err != nil {
		t.Fatal(err)
	}
	put(t, j, "two", []string{"c"})
	again := func(j *Journal) {
		t.Helper()
		r, err := j.Append(context.Background(), c, func(uint64) (Entry, error) {
			t.Error("decide was called for a repeated command")
			return Entry{}, nil
		})
		if err != nil || !r.Repeated || r.First != first.First || r.Last != first.Last || !bytes.Equal(r.Body, first.Body) {
			t.Errorf("repeated: %+v, %v; the first time: %+v", r, err, first)
		}
		if j.Size() != 3 {
			t.Errorf("size %d after repeating, want 3", j.Size())
		}
	}
	again(j)
	mustClose(t, j)
	again(open(t, dir))
}

func TestAppend_RepeatedInTheSameBatch(t *testing.T) {
	j := open(t, t.TempDir())
	c := Command{ID: "one", Digest: [32]byte{1}}
	b := j.newBatch() // the committer is idle: this goroutine stands in for it
	defer b.txn.Discard()
	calls := 0
	decide := func(next uint64) (Entry, error) {
		if calls++; next != uint64(calls) {
			t.Errorf("call %d of decide was told %d", calls, next)
		}
		return Entry{Events: [][]byte{[]byte("a")}}, nil
	}
	b.take(&request{command: c, decide: decide})
	b.take(&request{command: c, decide: decide})
	b.take(&request{command: Command{ID: "one", Digest: [32]byte{2}}, decide: decide})
	b.take(&request{command: Command{ID: "two"}, decide: decide})
	if err := b.commit(); err != nil {
		t.Fatal(err)
	}
	j.publish(b.edge, b.head)
	if r := b.waiting[0].answer.receipt; r.First != 1 || r.Repeated {
		t.Errorf("first: %+v", b.waiting[0].answer)
	}
	if r := b.waiting[1].answer.receipt; r.First != 1 || r.Last != 1 || !r.Repeated {
		t.Errorf("repeated: %+v", b.waiting[1].answer)
	}
	wantFault(t, b.waiting[2].answer.err, fault.Exists, "COMMAND_ID_REUSED")
	if r := b.waiting[3].answer.receipt; r.First != 2 || calls != 2 {
		t.Errorf("other command: %+v after %d calls of decide", b.waiting[3].answer, calls)
	}
}

func TestAppend_RepeatedByManyAtOnce(t *testing.T) {
	j := open(t, t.TempDir())
	receipts := make([]Receipt, 50)
	var wait sync.WaitGroup
	for i := range receipts {
		wait.Go(func() {
			var err error
			if receipts[i], err = j.Append(context.Background(), Command{ID: "one"}, always(Entry{Events: [][]byte{{byte(i)}}})); err != nil {
				t.Error(err)
			}
		})
	}
	wait.Wait()
	fresh := 0
	for _, r := range receipts {
		if !r.Repeated {
			fresh++
		}
		if r.First != 1 || r.Last != 1 {
			t.Errorf("receipt %+v, want event 1", r)
		}
	}
	if fresh != 1 || j.Size() != 1 {
		t.Errorf("%d of %d say they were first, size %d", fresh, len(receipts), j.Size())
	}
}

func TestAppend_RefusesAnIDForAnotherRequest(t *testing.T) {
	dir := t.TempDir()
	j := open(t, dir)
	put(t, j, "one", []string{"a"})
	other := Command{ID: "one", Digest: [32]byte{9}}
	_, err := j.Append(context.Background(), other, always(Entry{Events: [][]byte{[]byte("b")}}))
	wantFault(t, err, fault.Exists, "COMMAND_ID_REUSED")
	mustClose(t, j)
	j = open(t, dir)
	_, err = j.Append(context.Background(), other, always(Entry{}))
	wantFault(t, err, fault.Exists, "COMMAND_ID_REUSED")
	wantEqual(t, "events", allEvents(t, j), []string{"a"})
}

func TestAppend_ErrorOfDecideStoresNothing(t *testing.T) {
	j := open(t, t.TempDir())
	put(t, j, "one", []string{"a"})
	before := string(j.Checkpoint())
	refusal := errors.New("the round is finished")
	r, err := j.Append(context.Background(), Command{ID: "two"}, func(uint64) (Entry, error) {
		return Entry{Events: [][]byte{[]byte("b")}, Rows: []Row{{Key: "k", Value: []byte("v")}}}, refusal
	})
	if err != refusal || r.First != 0 { //nolint:errorlint // unchanged means this very error
		t.Errorf("append = %+v, %v, want the error of decide unchanged", r, err)
	}
	if value, err := j.Row("k", 0); value != nil || err != nil || string(j.Checkpoint()) != before {
		t.Errorf("row %q, %v; checkpoint %s", value, err, j.Checkpoint())
	}
	if r := put(t, j, "two", []string{"c"}); r.First != 2 || r.Repeated {
		t.Errorf("the command carried out later: %+v", r)
	}
}

func TestAppend_EndedContextDecidesNothing(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		j := open(t, dir)
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		for n := range 30 { // both ways are open, and it must not be a matter of luck
			synctest.Wait() // until the committer waits for commands
			_, err := j.Append(ctx, Command{ID: fmt.Sprint(n)}, func(uint64) (Entry, error) {
				t.Error("decide was called")
				return Entry{}, nil
			})
			if !errors.Is(err, context.Canceled) {
				t.Errorf("append = %v", err)
			}
		}
	})
}

func TestAppend_ContextEndsWhileTheCommitterIsBusy(t *testing.T) {
	j := open(t, t.TempDir())
	deciding, goOn := make(chan struct{}), make(chan struct{})
	first := make(chan error, 1)
	go func() {
		_, err := j.Append(context.Background(), Command{ID: "one"}, func(uint64) (Entry, error) {
			close(deciding)
			<-goOn
			return Entry{}, nil
		})
		first <- err
	}()
	<-deciding
	ctx, cancel := context.WithCancel(context.Background())
	second := make(chan error, 1)
	go func() {
		_, err := j.Append(ctx, Command{ID: "two"}, always(Entry{Events: [][]byte{[]byte("b")}}))
		second <- err
	}()
	cancel()
	if err := <-second; !errors.Is(err, context.Canceled) {
		t.Errorf("append = %v, want the context's error", err)
	}
	close(goOn)
	if err := <-first; err != nil || j.Size() != 0 {
		t.Errorf("first append %v, size %d", err, j.Size())
	}
}

func TestAppend_ManyCallersGetGaplessNumbers(t *testing.T) {
	const callers, each = 16, 40
	j := open(t, t.TempDir())
	var mu sync.Mutex
	owner := map[uint64]string{}
	var wait sync.WaitGroup
	for caller := range callers {
		wait.Go(func() {
			last := uint64(0)
			for n := range each {
				id := fmt.Sprintf("%d/%d", caller, n)
				e := Entry{Events: make([][]byte, n%3)}
				for i := range e.Events {
					e.Events[i] = fmt.Appendf(nil, "%s/%d", id, i)
				}
				var next uint64
				r, err := j.Append(context.Background(), Command{ID: id}, func(n uint64) (Entry, error) { next = n; return e, nil })
				if err != nil {
					t.Error(err)
					return
				}
				if len(e.Events) == 0 {
					continue
				}
				if r.First != next {
					t.Errorf("%s was told %d and got %d", id, next, r.First)
				}
				if r.First <= last || r.Last-r.First != uint64(len(e.Events)-1) {
					t.Errorf("%s got events %d to %d after %d", id, r.First, r.Last, last)
				}
				last = r.Last
				mu.Lock()
				for i := range e.Events {
					seq := r.First + uint64(i)
					if owner[seq] != "" {
						t.Errorf("event %d was given to %s and %s", seq, owner[seq], id)
					}
					owner[seq] = string(e.Events[i])
				}
				mu.Unlock()
			}
		})
	}
	wait.Wait()
	events := allEvents(t, j)
	if len(events) != len(owner) {
		t.Errorf("%d events, %d were given numbers", len(events), len(owner))
	}
	for i, event := range events {
		if owner[uint64(i+1)] != event {
			t.Errorf("event %d is %q, its receipt went to %q", i+1, event, owner[uint64(i+1)])
		}
	}
}

func TestAppend_RefusesWhatIsTooBigOrMisnamed(t *testing.T) {
	j := open(t, t.TempDir())
	big := make([]byte, maxValueBytes+1)
	fits := make([]byte, maxValueBytes)
	rows := func(rows ...Row) Entry { return Entry{Rows: rows} }
	for _, tc := range []struct {
		what   string
		c      Command
		e      Entry
		reason string
	}{
		{"no id", Command{}, Entry{}, "COMMAND_ID_INVALID"},
		{"long id", Command{ID: strings.Repeat("x", maxCommandIDBytes+1)}, Entry{}, "COMMAND_ID_INVALID"},
		{"event", Command{ID: "1"}, Entry{Events: [][]byte{big}}, "ENTRY_TOO_LARGE"},
		{"row", Command{ID: "2"}, rows(Row{Key: "k", Value: big}), "ENTRY_TOO_LARGE"},
		{"receipt", Command{ID: "3"}, Entry{Receipt: big}, "ENTRY_TOO_LARGE"},
		{"all together", Command{ID: "4"}, Entry{Events: [][]byte{fits, fits}}, "ENTRY_TOO_LARGE"},
		{"too many", Command{ID: "5"}, Entry{Events: make([][]byte, 3000)}, "ENTRY_TOO_LARGE"},
		{"row without key", Command{ID: "6"}, rows(Row{Value: fits}), "ROW_KEY_INVALID"},
		{"row key with a zero byte", Command{ID: "7"}, rows(Row{Key: "a\x00b"}), "ROW_KEY_INVALID"},
		{"long row key", Command{ID: "8"}, rows(Row{Key: strings.Repeat("k", maxRowKeyBytes+1)}), "ROW_KEY_INVALID"},
	} {
		_, err := j.Append(context.Background(), tc.c, always(tc.e))
		if !fault.Is(err, fault.Invalid) || !hasReason(err, tc.reason) {
			t.Errorf("%s: %v, want %s", tc.what, err, tc.reason)
		}
	}
	if j.Size() != 0 {
		t.Errorf("size %d", j.Size())
	}
	if r := put(t, j, "5", []string{"a"}); r.First != 1 {
		t.Errorf("after the refusals: %+v", r)
	}
}

// The limits of entry and batch must keep every transaction below Badger's
// own limit: the biggest entry is taken in by a batch that is almost full.
func TestBatch_BiggestEntryFitsIntoAFullBatch(t *testing.T) {
	j := open(t, t.TempDir())
	manyBytes := Entry{Events: [][]byte{make([]byte, maxValueBytes), make([]byte, 400<<10)}}
	manyKeys := Entry{Events: make([][]byte, 2500)}
	for _, tc := range []struct {
		what  string
		small Entry // fills the batch
		big   Entry // comes last
	}{
		{"bytes", Entry{Rows: []Row{{Key: "k", Value: make([]byte, 1900)}}}, manyBytes},
		{"keys", Entry{Rows: make([]Row, 64)}, manyKeys},
	} {
		b := j.newBatch()
		for i := range tc.small.Rows {
			tc.small.Rows[i].Key = fmt.Sprintf("%s/%d", strings.Repeat("k", 500), i)
		}
		keys, bytes, err := tc.small.weigh(Command{ID: "000"}, 0)
		for n := 0; b.bytes+bytes < fullBatchBytes && b.keys+keys < fullBatchKeys && err == nil; n++ {
			b.take(&request{command: Command{ID: fmt.Sprintf("%s%03d", tc.what, n)}, decide: always(tc.small)})
		}
		b.take(&request{command: Command{ID: tc.what}, decide: always(tc.big)})
		if last := b.waiting[len(b.waiting)-1].answer; last.err != nil || err != nil {
			t.Fatalf("%s: %v %v", tc.what, last.err, err)
		}
		t.Logf("%s: %d entries, %d keys, %d bytes in one transaction", tc.what, b.entries, b.keys, b.bytes)
		if err := b.commit(); err != nil {
			t.Fatalf("%s: %v", tc.what, err)
		}
		j.publish(b.edge, b.head)
	}
}

func TestBatch_TakesNoMoreThanItsLimits(t *testing.T) {
	j := open(t, t.TempDir())
	for _, tc := range []struct {
		what    string
		e       Entry
		entries int
	}{
		{"entries", Entry{}, maxBatchEntries},
		{"bytes", Entry{Rows: []Row{{Key: "k", Value: make([]byte, 64<<10)}}}, 3},
		{"keys", Entry{Rows: slices.Repeat([]Row{row("k", "")}, 999)}, 4},
	} {
		b := j.newBatch()
		for n := 0; !b.full(); n++ {
			b.take(&request{command: Command{ID: fmt.Sprint(n)}, decide: always(tc.e)})
		}
		if len(b.waiting) != tc.entries {
			t.Errorf("%s: the batch was full after %d, want %d", tc.what, len(b.waiting), tc.entries)
		}
		b.txn.Discard()
	}
}

// 60 callers wait while the committer is held up; all they bring together is
// far more than one transaction holds.
func TestAppend_WaitingCommandsAreDividedIntoBatches(t *testing.T) {
	j := open(t, t.TempDir())
	hold := make(chan struct{})
	var begun, wait sync.WaitGroup
	for caller := range 60 {
		begun.Add(1)
		wait.Go(func() {
			begun.Done()
			_, err := j.Append(context.Background(), Command{ID: fmt.Sprint(caller)}, func(uint64) (Entry, error) {
				<-hold
				return Entry{Events: [][]byte{make([]byte, 100<<10)}}, nil
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
	begun.Wait()
	close(hold)
	wait.Wait()
	if j.Size() != 60 {
		t.Errorf("size %d", j.Size())
	}
}

// While one batch is decided or synced the next gathers: 64 commands that
// wait together go to disk in one transaction.
func TestAppend_WaitingCommandsShareACommit(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		j := open(t, dir)
		commits := 0
		j.commit = func(txn *badger.Txn) error { commits++; return txn.Commit() }
		hold := make(chan struct{})
		var wait sync.WaitGroup
		for caller := range 65 {
			wait.Go(func() {
				_, err := j.Append(context.Background(), Command{ID: fmt.Sprint(caller)}, func(uint64) (Entry, error) {
					<-hold
					return Entry{Events: [][]byte{[]byte("a")}}, nil
				})
				if err != nil {
					t.Error(err)
				}
			})
			synctest.Wait() // until it waits, the first one in decide, the others at the queue
		}
		close(hold)
		wait.Wait()
		if j.Size() != 65 || commits != 1 {
			t.Errorf("%d events in %d commits, want 65 in 1", j.Size(), commits)
		}
	})
}
