package journal

import (
	"context"
	"errors"
	"os"
	"slices"
	"testing"

	"bayround/internal/fault"
)

// origin is the invented station whose journal the tests keep.
const origin = "bayround/station/skarholm-quay"

// TestMain lets the test binary be its own victim: see child_test.go.
func TestMain(m *testing.M) {
	if task := os.Getenv(childTask); task != "" {
		os.Exit(runChild(task, os.Getenv(childDir)))
	}
	code := m.Run()
	breakableBinary.remove()
	os.Exit(code)
}

func tryOpen(dir string, change ...func(*Options)) (*Journal, error) {
	o := Options{Dir: dir, Origin: origin}
	for _, f := range change {
		f(&o)
	}
	return Open(context.Background(), o)
}

// open opens a journal for the test. If the test does not close it itself, it
// is verified and closed at the end.
func open(t testing.TB, dir string, change ...func(*Options)) *Journal {
	t.Helper()
	j, err := tryOpen(dir, change...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if _, err := j.Verify(context.Background()); err != nil && !hasReason(err, "JOURNAL_CLOSED") {
			t.Errorf("at the end of the test: %v", err)
		}
		if err := j.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
	return j
}

func mustClose(t testing.TB, j *Journal) {
	t.Helper()
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
}

// always decides the same, whatever comes before.
func always(e Entry) Decide {
	return func(uint64) (Entry, error) { return e, nil }
}

// put appends events and rows under a command id and returns the receipt.
func put(t testing.TB, j *Journal, id string, events []string, rows ...Row) Receipt {
	t.Helper()
	e := Entry{Rows: rows, Receipt: []byte("receipt of " + id)}
	for _, event := range events {
		e.Events = append(e.Events, []byte(event))
	}
	r, err := j.Append(context.Background(), Command{ID: id}, always(e))
	if err != nil {
		t.Fatalf("append %q: %v", id, err)
	}
	return r
}

// allEvents returns every event of j as text.
func allEvents(t testing.TB, j *Journal) []string {
	t.Helper()
	var events []string
	err := j.Events(context.Background(), 1, func(seq uint64, event []byte) error {
		if events = append(events, string(event)); seq != uint64(len(events)) {
			t.Errorf("event %d came as number %d", seq, len(events))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return events
}

func hasReason(err error, reason string) bool {
	var f *fault.Fault
	return errors.As(err, &f) && f.Reason == reason
}

// wantFault fails the test unless err is a fault of this kind and reason.
func wantFault(t testing.TB, err error, kind fault.Kind, reason string) {
	t.Helper()
	if !fault.Is(err, kind) || !hasReason(err, reason) {
		t.Errorf("got %v, want a fault of kind %v, reason %s", err, kind, reason)
	}
}

func wantEqual[T comparable](t testing.TB, what string, got, want []T) {
	t.Helper()
	if !slices.Equal(got, want) {
		t.Errorf("%s:\n got %v\nwant %v", what, got, want)
	}
}

func TestOpen_MakesAnEmptyJournal(t *testing.T) {
	j := open(t, t.TempDir()+"/a/b")
	if j.Size() != 0 || j.Checkpoint() != nil || !j.RowsComplete() || len(j.ID()) != 32 {
		t.Errorf("size %d, checkpoint %q, rows complete %v, id %q", j.Size(), j.Checkpoint(), j.RowsComplete(), j.ID())
	}
	report, err := j.Verify(context.Background())
	// RFC 6962 section 2.1: the hash of the empty tree is SHA-256 of nothing.
	if want := "0 events, root 47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=, nothing signed yet"; err != nil || report.String() != want {
		t.Errorf("verify: %v, %v, want %s", report, err, want)
	}
	wantEqual(t, "events", allEvents(t, j), nil)
}

func TestOpen_FindsWhatWasAppended(t *testing.T) {
	dir := t.TempDir()
	j := open(t, dir)
	put(t, j, "one", []string{"a", "b"})
	put(t, j, "two", nil)
	put(t, j, "three", []string{""})
	id, key, checkpoint := j.ID(), j.Verifier(), string(j.Checkpoint())
	mustClose(t, j)

	j = open(t, dir, func(o *Options) { o.Origin = "" })
	if j.ID() != id || j.Verifier() != key || string(j.Checkpoint()) != checkpoint || j.Size() != 3 {
		t.Errorf("after reopening: id %s key %s size %d checkpoint %s", j.ID(), j.Verifier(), j.Size(), j.Checkpoint())
	}
	wantEqual(t, "events", allEvents(t, j), []string{"a", "b", ""})
	put(t, j, "four", []string{"d"})
	wantEqual(t, "events", allEvents(t, j), []string{"a", "b", "", "d"})
}

func TestClose_RefusesEverythingAfterwards(t *testing.T) {
	j := open(t, t.TempDir())
	put(t, j, "one", []string{"a"}, Row{Key: "k", Value: []byte("v")})
	mustClose(t, j)
	mustClose(t, j) // again
	ctx := context.Background()
	_, appendErr := j.Append(ctx, Command{ID: "two"}, always(Entry{}))
	_, eventErr := j.Event(1)
	_, rowErr := j.Row("k", 0)
	_, proveErr := j.Prove(1, 1)
	for what, err := range map[string]error{
		"Append": appendErr, "Event": eventErr, "Row": rowErr, "Prove": proveErr,
		"Events":  j.Events(ctx, 1, func(uint64, []byte) error { return nil }),
		"Rows":    j.Rows(ctx, "", 0, func(string, []byte) error { return nil }),
		"Rebuild": j.Rebuild(ctx, func(uint64, []byte) ([]Row, error) { return nil, nil }),
		"Wait":    j.Wait(ctx, 1),
	} {
		if !fault.Is(err, fault.Unavailable) || !hasReason(err, "JOURNAL_CLOSED") {
			t.Errorf("%s after Close: %v, want JOURNAL_CLOSED", what, err)
		}
	}
}

func TestClose_WaitsForReadersInside(t *testing.T) {
	j := open(t, t.TempDir())
	put(t, j, "one", []string{"a"}, Row{Key: "k1", Value: []byte("v")}, Row{Key: "k2", Value: []byte("w")})
	done := make(chan error, 1)
	var seen []string
	err := j.Rows(context.Background(), "", 0, func(key string, value []byte) error {
		if len(seen) == 0 {
			go func() { done <- j.Close() }()
			for shut := false; !shut; { // the gate is shut, but Close must not be through
				_, err := j.Row("k1", 0)
				shut = hasReason(err, "JOURNAL_CLOSED")
			}
			select {
			case err := <-done:
				t.Errorf("Close returned (%v) while Rows was reading", err)
			default:
			}
		}
		seen = append(seen, key+string(value))
		return nil
	})
	if err != nil {
		t.Error(err)
	}
	wantEqual(t, "rows", seen, []string{"k1v", "k2w"})
	if err := <-done; err != nil {
		t.Error(err)
	}
}

func TestWait_ReturnsWhenTheJournalHasGrown(t *testing.T) {
	j := open(t, t.TempDir())
	waited := make(chan error, 1)
	go func() { waited <- j.Wait(context.Background(), 1) }()
	put(t, j, "one", []string{"a"})
	put(t, j, "two", []string{"b"})
	if err := <-waited; err != nil || j.Size() < 2 {
		t.Errorf("Wait(1) = %v at size %d", err, j.Size())
	}
	if err := j.Wait(context.Background(), 1); err != nil {
		t.Errorf("Wait(1) at size 2 = %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := j.Wait(ctx, 2); !errors.Is(err, context.Canceled) {
		t.Errorf("Wait(2) with an ended context = %v", err)
	}
	go func() { waited <- j.Wait(context.Background(), 2) }()
	mustClose(t, j)
	wantFault(t, <-waited, fault.Unavailable, "JOURNAL_CLOSED")
}

func TestCommitted_ComesBeforeTheAnswerWithTheCheckpointReady(t *testing.T) {
	var j *Journal
	var told []uint64
	var signed []string
	j = open(t, t.TempDir(), func(o *Options) {
		o.Committed = func(last uint64) {
			told, signed = append(told, last), append(signed, string(j.Checkpoint()))
		}
	})
	for i, id := range []string{"one", "two", "three"} {
		put(t, j, id, []string{id})
		if len(told) != i+1 || told[i] != uint64(i+1) || signed[i] != string(j.Checkpoint()) {
			t.Fatalf("after append %d Committed had been told %v; checkpoint then %q, now %q", i+1, told, signed, j.Checkpoint())
		}
	}
	put(t, j, "three", nil) // repeated: nothing is committed
	wantEqual(t, "Committed", told, []uint64{1, 2, 3})
}

func TestEvent_UnknownNumber(t *testing.T) {
	j := open(t, t.TempDir())
	put(t, j, "one", []string{"a"})
	for _, seq := range []uint64{0, 2, 1 << 63} {
		_, err := j.Event(seq)
		wantFault(t, err, fault.NotFound, "EVENT_UNKNOWN")
	}
	if event, err := j.Event(1); err != nil || string(event) != "a" {
		t.Errorf("Event(1) = %q, %v", event, err)
	}
}

func TestEvents_FromTheMiddleAndStopped(t *testing.T) {
	j := open(t, t.TempDir())
	put(t, j, "one", []string{"a", "b", "c", "d"})
	stop := errors.New("enough")
	var seen []uint64
	err := j.Events(context.Background(), 2, func(seq uint64, _ []byte) error {
		if seen = append(seen, seq); seq == 3 {
			return stop
		}
		return nil
	})
	if !errors.Is(err, stop) {
		t.Errorf("Events = %v, want the error of yield", err)
	}
	wantEqual(t, "seen", seen, []uint64{2, 3})
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := j.Events(ctx, 1, func(uint64, []byte) error { return nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("Events with an ended context = %v", err)
	}
	if err := j.Events(context.Background(), 5, func(uint64, []byte) error { return stop }); err != nil {
		t.Errorf("Events from beyond the end = %v", err)
	}
}

// Events reads in portions; this journal needs several.
func TestEvents_OverSeveralPortions(t *testing.T) {
	j := open(t, t.TempDir())
	want := make([]string, 2*portionEvents+3)
	for i := range want {
		want[i] = string(rune('a'+i%26)) + origin
	}
	for part := range slices.Chunk(want, 1500) {
		put(t, j, part[0]+string(rune(len(part))), part)
	}
	wantEqual(t, "events", allEvents(t, j), want)
}
