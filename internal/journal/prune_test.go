package journal

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/tlog"
	"pgregory.net/rapid"

	"bayround/internal/fault"
)

// entry is what a command left.
type entry struct {
	id     string
	events []string
	at     Span
}

type entries []entry

func putEntry(t testing.TB, j *Journal, id string, events int) entry {
	t.Helper()
	e := entry{id: id}
	for k := range events {
		e.events = append(e.events, fmt.Sprintf("event %d of %s", k+1, id))
	}
	r := put(t, j, id, e.events, row("row", id))
	e.at = Span{r.First, r.Last}
	return e
}

// putEntries appends commands of the given numbers of events.
func putEntries(t testing.TB, j *Journal, sizes ...int) (all entries) {
	t.Helper()
	for i, n := range sizes {
		all = append(all, putEntry(t, j, fmt.Sprintf("command %d", i+1), n))
	}
	return all
}

// rootAndSize are what the head signs for.
func rootAndSize(t testing.TB, j *Journal) string {
	t.Helper()
	text, _, _ := strings.Cut(string(j.Checkpoint()), "\n\n")
	return text
}

// checkPruned makes sure that a journal holds all of its entries but for the content
// of those that were dropped.
func checkPruned(t interface{ Errorf(string, ...any) }, j *Journal, all entries, dropped map[string]bool) {
	var want, got []string
	size := j.Size()
	for _, e := range all {
		for i, event := range e.events {
			seq := e.at.First + uint64(i)
			if !dropped[e.id] {
				want = append(want, event)
			}
			content, err := j.Event(seq)
			if _, gone := j.Dropped(seq); gone != dropped[e.id] || gone != hasReason(err, "EVENT_DROPPED") || !gone && string(content) != event {
				t.Errorf("event %d, dropped %v: %q, %v", seq, dropped[e.id], content, err)
			}
			leaves, err := j.Leaves(Span{seq, seq})
			if err != nil || leaves[0] != tlog.RecordHash([]byte(event)) {
				t.Errorf("leaf of event %d: %v, %v", seq, leaves, err)
			}
			if _, err := j.Prove(seq, size); err != nil {
				t.Errorf("proof of event %d: %v", seq, err)
			}
		}
		r, err := j.Append(context.Background(), Command{ID: e.id}, func(uint64) (Entry, error) { return Entry{}, errors.New("carried out again") })
		if dropped[e.id] != hasReason(err, "COMMAND_DROPPED") || !dropped[e.id] && (err != nil || !r.Repeated) {
			t.Errorf("command %q again, dropped %v: %v, %v", e.id, dropped[e.id], r, err)
		}
	}
	err := j.Events(context.Background(), 1, func(_ uint64, event []byte) error { got = append(got, string(event)); return nil })
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("events are %q, %v; want %q", got, err, want)
	}
}

// Whatever is dropped, in how many prunings: the root stays, every event is proven,
// what is left is as it was, no command is carried out again, and a copy of the rest
// makes the same journal.
func TestPrune_LeavesTheTreeAndTheRest(t *testing.T) {
	t.Parallel()
	dir := t.TempDir() // one journal for all cases: each goes on where the last one ended
	var all entries
	dropped, horizon := map[string]bool{}, 0
	prunings := 0
	rapid.Check(t, func(rt *rapid.T) {
		if prunings++; prunings > 25 {
			return // each syncs the disk some dozen times
		}
		j := open(t, dir)
		for _, n := range rapid.SliceOfN(rapid.IntRange(1, 5), 1, 3).Draw(rt, "sizes") {
			all = append(all, putEntry(t, j, fmt.Sprintf("command %d", len(all)+1), n))
		}
		head := rootAndSize(t, j)
		mustClose(t, j)
		horizon = rapid.IntRange(max(horizon, len(all)-8), len(all)-1).Draw(rt, "horizon")
		p := Pruning{Owed: []byte("owed")}
		for i, e := range all[:horizon] {
			if !dropped[e.id] && rapid.Bool().Draw(rt, "drop") {
				p.Drop, dropped[e.id] = append(p.Drop, e.at), true
			}
			p.Horizon = all[i].at.Last
		}
		if err := Prune(context.Background(), Options{Dir: dir}, p); err != nil {
			rt.Fatal(err)
		}
		j = open(t, dir)
		checkPruned(rt, j, all, dropped)
		if j.RowsComplete() {
			rt.Error("the rows are said to be complete")
		}
		if got := rootAndSize(t, j); got != head {
			rt.Errorf("the head was %q and is %q", head, got)
		}
		if owed, _, err := j.Owed(); err != nil || string(owed) != "owed" {
			rt.Errorf("owed is %q, %v", owed, err)
		}
		mustClose(t, j)
	})
	j := open(t, dir)
	checkPruned(t, open(t, restoredCopy(t, j)), all, dropped)
	if len(dropped) == 0 {
		t.Error("nothing was dropped")
	}
}

// restoredCopy restores a copy of a journal into a folder of its own.
func restoredCopy(t *testing.T, j *Journal) (dir string) {
	t.Helper()
	dir = filepath.Join(t.TempDir(), "copy")
	signer, err := os.ReadFile(filepath.Join(j.dir, signerFile))
	if err != nil {
		t.Fatal(err)
	}
	commands := iter.Seq2[Stored, error](func(yield func(Stored, error) bool) {
		err := j.Commands(context.Background(), 1, func(s Stored) error {
			if !yield(s, nil) {
				return errors.New("stopped")
			}
			return nil
		})
		if err != nil {
			yield(Stored{}, err)
		}
	})
	o := RestoreOptions{Dir: dir, ID: j.ID(), Verifier: j.Verifier(), Signer: signer, Head: j.Checkpoint()}
	if _, err := Restore(context.Background(), o, commands); err != nil {
		t.Fatal(err)
	}
	return dir
}

// prunedHalf makes a journal and breaks its pruning off at the n-th commit. It tells
// whether that was reached.
func prunedHalf(t *testing.T, n int, done bool) (dir string, all entries, broken bool) {
	t.Helper()
	dir = t.TempDir()
	j := open(t, dir)
	all = putEntries(t, j, 3, 2, 4, 1, 2)
	mustClose(t, j)
	s, err := openStore(Options{Dir: dir}, false)
	if err != nil {
		t.Fatal(err)
	}
	commits := 0
	s.pruneCommit = func(txn *badger.Txn) error {
		if commits++; commits != n {
			return txn.Commit()
		}
		broken = true
		if done {
			return errors.Join(txn.Commit(), errors.New("after the commit"))
		}
		return errors.New("before the commit")
	}
	err = s.prune(context.Background(), Pruning{Horizon: all[3].at.Last, Drop: []Span{all[0].at, all[2].at}, Owed: []byte("owed")})
	if broken != (err != nil) {
		t.Errorf("commit %d, broken off %v: %v", n, broken, err)
	}
	if err := s.closeUnclean(); err != nil {
		t.Fatal(err)
	}
	return dir, all, broken
}

// A pruning that broke off anywhere is undone or finished by the next Open: all of
// it was done, or nothing.
func TestPrune_BrokenOff(t *testing.T) {
	undone, finished := 0, 0
	for n, broken := 1, true; broken; n++ {
		for _, done := range []bool{false, true} {
			var dir string
			var all entries
			dir, all, broken = prunedHalf(t, n, done)
			j := open(t, dir)
			dropped := map[string]bool{}
			if j.Horizon() > 0 {
				dropped = map[string]bool{all[0].id: true, all[2].id: true}
				finished++
			} else {
				undone++
			}
			checkPruned(t, j, all, dropped)
			report, err := j.Verify(context.Background())
			if want := uint64(7); err != nil || len(dropped) == 0 && report.Dropped != 0 || len(dropped) > 0 && report.Dropped != want {
				t.Errorf("commit %d, done %v: %v, %v", n, done, report, err)
			}
			if left, err := get(j.db, []byte(pruningKey)); left != nil || err != nil {
				t.Errorf("commit %d, done %v: the pruning is still under way: %v", n, done, err)
			}
			if owed, _, err := j.Owed(); (len(owed) > 0) != (len(dropped) > 0) || err != nil {
				t.Errorf("commit %d, done %v: owed is %q, %v", n, done, owed, err)
			}
			mustClose(t, j)
		}
	}
	if undone == 0 || finished == 0 {
		t.Errorf("%d were undone and %d finished: this test has not seen both", undone, finished)
	}
}

func TestPrune_RefusesWhatMustStay(t *testing.T) {
	dir := t.TempDir()
	j := open(t, dir)
	all := putEntries(t, j, 3, 2, 4)
	mustClose(t, j)
	for name, p := range map[string]Pruning{
		"half an entry":             {Horizon: 5, Drop: []Span{{1, 2}}},
		"a horizon within an entry": {Horizon: 4, Drop: []Span{all[0].at}},
		"behind the horizon":        {Horizon: 3, Drop: []Span{all[1].at}},
		"the newest event":          {Horizon: 9, Drop: []Span{all[2].at}},
		"what is not there":         {Horizon: 20},
		"event 0":                   {Horizon: 5, Drop: []Span{{0, 3}}},
	} {
		if err := Prune(context.Background(), Options{Dir: dir}, p); !fault.Is(err, fault.Invalid) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Verify(context.Background(), Options{Dir: dir}); err != nil {
		t.Error(err)
	}
}

// What is owed is told at every Open until it is settled.
func TestOwed_UntilItIsSettled(t *testing.T) {
	dir := t.TempDir()
	j := open(t, dir)
	all := putEntries(t, j, 1, 1, 1)
	mustClose(t, j)
	want := strings.Repeat("much is owed ", 50_000) // more than one piece
	if err := Prune(context.Background(), Options{Dir: dir}, Pruning{Horizon: 1, Drop: []Span{all[0].at}, Owed: []byte(want)}); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		j = open(t, dir)
		if owed, n, err := j.Owed(); string(owed) != want || n != 1 || err != nil {
			t.Errorf("owed are %d bytes of pruning %d, %v", len(owed), n, err)
		}
		mustClose(t, j)
	}
	j = open(t, dir)
	if _, err := j.Append(context.Background(), Command{ID: "settled"}, always(Entry{Settled: true})); err != nil {
		t.Fatal(err)
	}
	if owed, _, err := j.Owed(); owed != nil || err != nil {
		t.Errorf("owed are %d bytes, %v", len(owed), err)
	}
}

// An event that is missing without standing in the signed list is damage, and so is
// a list that nobody signed.
func TestVerify_FindsWhatWasDroppedByHand(t *testing.T) {
	for name, tc := range map[string]struct {
		tamper func(m tampering)
		reason string
	}{
		"another event removed":   {func(m tampering) { m.remove(eventKey(5)) }, "EVENT_MISSING"},
		"the list made longer":    {func(m tampering) { m.set(pieceKey(spansPrefix, 1, 0), spans{{1, 5}}.encode()) }, "DROPPED_FORGED"},
		"the list cut":            {func(m tampering) { m.set(pieceKey(spansPrefix, 1, 0), []byte{1}) }, "DROPPED_FORGED"},
		"the list removed":        {func(m tampering) { m.remove(pieceKey(spansPrefix, 1, 0)) }, "DROPPED_FORGED"},
		"the note removed":        {func(m tampering) { m.remove([]byte(droppedKey)) }, "EVENT_MISSING"},
		"the note changed":        {func(m tampering) { m.flip([]byte(droppedKey)) }, "DROPPED_FORGED"},
		"a receipt back in life":  {func(m tampering) { m.receipt("command 1", func(r *storedReceipt) { r.dropped = false }) }, "RECEIPT_DAMAGED"},
		"a hash of a dropped one": {func(m tampering) { m.flip(hashKey(tlog.StoredHashIndex(0, 1))) }, "HASH_CHANGED"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			j := open(t, dir)
			all := putEntries(t, j, 3, 2, 4)
			mustClose(t, j)
			if err := Prune(context.Background(), Options{Dir: dir}, Pruning{Horizon: 5, Drop: []Span{all[0].at}}); err != nil {
				t.Fatal(err)
			}
			db, err := badger.Open(Options{Dir: dir}.badger())
			if err != nil {
				t.Fatal(err)
			}
			err = db.Update(func(txn *badger.Txn) error {
				tc.tamper(tampering{t: t, txn: txn})
				return nil
			})
			if err = errors.Join(err, db.Close()); err != nil {
				t.Fatal(err)
			}
			if report, err := Verify(context.Background(), Options{Dir: dir}); !fault.Is(err, fault.Lost) || !hasReason(err, tc.reason) {
				t.Errorf("Verify: %v, %v; want %s", report, err, tc.reason)
			}
		})
	}
}

// What is salvaged of a pruned journal is all that is left of it, proven, and a repair
// makes the same journal of it.
func TestSalvage_OfAPrunedJournal(t *testing.T) {
	c := tellingJournal(t, 30)
	var p Pruning
	for i, command := range c.commands[:20] {
		p.Horizon = command.Last()
		if i%3 > 0 {
			p.Drop = append(p.Drop, Span{command.First, command.Last()})
		}
	}
	if err := Prune(context.Background(), Options{Dir: c.dir}, p); err != nil {
		t.Fatal(err)
	}
	j := open(t, c.dir)
	c.commands = readCommands(t, j)
	mustClose(t, j)
	before, err := Verify(context.Background(), Options{Dir: c.dir})
	if err != nil || before.Dropped == 0 {
		t.Fatalf("%v, %v", before, err)
	}
	repair := beginRepair(t, c.dir)
	commands, s := c.salvaged(t, repair)
	if want := []Stretch{{1, before.Events, true}}; len(commands) != len(c.commands) || !slices.Equal(s.Stretches, want) {
		t.Errorf("%d of %d commands in %v", len(commands), len(c.commands), s.Stretches)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	n := Replacement{Head: c.options.Head, Note: []byte("told"), Now: time.Now()}
	if _, err := repair.Replace(context.Background(), n, c.filled(commands)); err != nil {
		t.Fatal(err)
	}
	mustEnd(t, repair)
	c.whole(t)
	if after, err := Verify(context.Background(), Options{Dir: c.dir}); err != nil || after.Dropped != before.Dropped {
		t.Errorf("%v, %v; before: %v", after, err, before)
	}
}

// After compaction no file of the store holds what was dropped.
func TestCompact_TakesWhatWasDroppedOutOfTheFiles(t *testing.T) {
	dir := t.TempDir()
	j := open(t, dir)
	put(t, j, "1", []string{"a note about nobody: Quillfeather"})
	put(t, j, "2", []string{"it goes on"})
	mustClose(t, j)
	j = open(t, dir)
	fillStore(t, j, "rest", 9<<20)
	mustClose(t, j)
	if err := Prune(context.Background(), Options{Dir: dir}, Pruning{Horizon: 1, Drop: []Span{{1, 1}}}); err != nil {
		t.Fatal(err)
	}
	if len(inFiles(t, dir, "Quillfeather")) == 0 {
		t.Fatal("it is gone before the compaction: this test would see nothing")
	}
	if err := Compact(context.Background(), Options{Dir: dir}); err != nil {
		t.Fatal(err)
	}
	if in := inFiles(t, dir, "Quillfeather"); len(in) > 0 {
		t.Errorf("it still stands in %v", in)
	}
	if _, err := Verify(context.Background(), Options{Dir: dir}); err != nil {
		t.Error(err)
	}
}

func FuzzDecodeSpans(f *testing.F) {
	f.Add(spans{{1, 2}, {4, 9}}.encode())
	f.Add(spans{{1, 2}, {3, 9}}.encode())
	f.Add([]byte{1, 2, 3})
	f.Fuzz(func(t *testing.T, b []byte) {
		s, err := decodeSpans(b)
		if err != nil {
			return
		}
		if string(s.encode()) != string(b) {
			t.Errorf("%x is read as %v", b, s)
		}
		if !slices.Equal(s, spans(nil).with(s)) {
			t.Errorf("%v is not in order", s)
		}
		for _, x := range s {
			if found, has := s.at(x.Last); !has || found != x || s.has(x.First-1) || s.has(x.Last+1) {
				t.Errorf("%v is not found in %v", x, s)
			}
		}
	})
}
