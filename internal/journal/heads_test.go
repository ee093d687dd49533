package journal

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync/atomic"
	"testing"

	"github.com/dgraph-io/badger/v4"

	"bayround/internal/fault"
)

// headIn reads a head file; nil when there is none that can be read.
func headIn(t testing.TB, j *Journal, name string) (signed []byte, size uint64) {
	t.Helper()
	c := j.readClaim(name, j.log)
	return c.signed, c.Size
}

func TestHeads_ComeInTurnsAndCloseWaitsForTheLast(t *testing.T) {
	dir := t.TempDir()
	for n := range 3 {
		j := open(t, dir)
		put(t, j, fmt.Sprint(n), []string{"a", "b"})
		checkpoint := j.Checkpoint()
		mustClose(t, j)
		written, other := []string{headAFile, headBFile, headAFile}[n], []string{headBFile, headAFile, headBFile}[n]
		signed, _ := headIn(t, j, written)
		if string(signed) != string(checkpoint) {
			t.Errorf("after append %d %s holds %q, want %q", n, written, signed, checkpoint)
		}
		if _, size := headIn(t, j, other); size != uint64(2*n) {
			t.Errorf("after append %d %s counts %d events, want %d", n, other, size, 2*n)
		}
	}
}

// While one head is on its way, what is committed is answered, and of all the
// heads that come meanwhile only the newest is written.
func TestHeads_OnlyTheNewestFollowsTheOneInFlight(t *testing.T) {
	j := open(t, t.TempDir())
	begun, release := make(chan struct{}), make(chan struct{})
	var writes atomic.Int32
	j.heads.put = func(path string, head []byte) error {
		if writes.Add(1) == 1 {
			close(begun)
			<-release
		}
		return putHead(path, head)
	}
	put(t, j, "first", []string{"a"})
	<-begun
	for n := range 5 {
		put(t, j, fmt.Sprint(n), []string{"b"})
	}
	close(release)
	mustClose(t, j)
	if _, size := headIn(t, j, headBFile); size != 6 || writes.Load() != 2 {
		t.Errorf("head-b counts %d events after %d writes, want 6 after 2", size, writes.Load())
	}
}

// A head that cannot be written is a failed commit, and so is a panic in either.
func TestHeads_FailedWriteStopsTheJournal(t *testing.T) {
	blows := func() { panic("out of its mind") }
	for name, tc := range map[string]struct {
		breakIt func(j *Journal)
		cause   error
	}{
		"head not written": {func(j *Journal) {
			j.heads.put = func(string, []byte) error { return errDisk }
		}, errDisk},
		"head written and reported as not": {func(j *Journal) {
			j.heads.put = func(path string, head []byte) error { return errors.Join(putHead(path, head), errDisk) }
		}, errDisk},
		"head panics": {func(j *Journal) {
			j.heads.put = func(string, []byte) error { blows(); return nil }
		}, errPanicked},
		"commit panics": {func(j *Journal) {
			j.commit = func(*badger.Txn) error { blows(); return nil }
		}, errPanicked},
	} {
		t.Run(name, func(t *testing.T) {
			ctx, dir := context.Background(), t.TempDir()
			j := open(t, dir)
			put(t, j, "one", []string{"a"})
			mustClose(t, j)
			j = open(t, dir)
			tc.breakIt(j)
			acknowledged := 1
			if _, err := j.Append(ctx, Command{ID: "two"}, always(Entry{Events: [][]byte{[]byte("b")}})); err == nil {
				acknowledged = 2
			}
			<-j.Failed()
			_, err := j.Append(ctx, Command{ID: "three"}, always(Entry{Events: [][]byte{[]byte("c")}}))
			if wantFault(t, err, fault.Unavailable, "JOURNAL_STOPPED"); !errors.Is(err, tc.cause) {
				t.Errorf("%v does not name its cause", err)
			}
			wantFault(t, j.Answers(ctx), fault.Unavailable, "JOURNAL_STOPPED")
			mustClose(t, j)
			if _, err := os.Stat(filepath.Join(dir, openFile)); err != nil {
				t.Errorf("a journal that failed was closed as if nothing had been: %v", err)
			}
			j = open(t, dir)
			if _, behind := j.Behind(); behind || j.Size() < uint64(acknowledged) {
				t.Errorf("%d events after reopening, behind %v; %d were acknowledged", j.Size(), behind, acknowledged)
			}
			put(t, j, "four", []string{"d"})
		})
	}
}

func TestAnswers_ComesRoundTheCommitter(t *testing.T) {
	j := open(t, t.TempDir())
	if err := j.Answers(context.Background()); err != nil {
		t.Error(err)
	}
	deciding, release := make(chan struct{}), make(chan struct{})
	done := make(chan error, 1)
	go func() {
		_, err := j.Append(context.Background(), Command{ID: "slow"}, func(uint64) (Entry, error) {
			close(deciding)
			<-release
			return Entry{}, nil
		})
		done <- err
	}()
	<-deciding
	ended, cancel := context.WithCancel(context.Background())
	cancel()
	if err := j.Answers(ended); !errors.Is(err, context.Canceled) {
		t.Errorf("the committer answers while it is stuck: %v", err)
	}
	close(release)
	if err := <-done; err != nil {
		t.Error(err)
	}
}

// past keeps what a journal's directory held at several sizes.
type past struct {
	t   *testing.T
	dir string
}

// grow appends an event of its own command and returns the signed head.
func (p past) grow(text string) []byte {
	p.t.Helper()
	j, err := tryOpen(p.dir)
	if err != nil {
		p.t.Fatal(err)
	}
	put(p.t, j, text, []string{text})
	mustClose(p.t, j)
	return j.Checkpoint()
}

// keep copies the store, or a file, to be put back later.
func (p past) keep(name string) (putBack func()) {
	p.t.Helper()
	kept := filepath.Join(p.t.TempDir(), "kept")
	copyAll(p.t, filepath.Join(p.dir, name), kept)
	return func() {
		p.t.Helper()
		copyAll(p.t, kept, filepath.Join(p.dir, name))
	}
}

// copyAll makes to what from is: a file, a folder of files, or nothing.
func copyAll(t testing.TB, from, to string) {
	t.Helper()
	if err := os.RemoveAll(to); err != nil {
		t.Fatal(err)
	}
	s, err := os.Stat(from)
	switch {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		t.Fatal(err)
	case s.IsDir():
		if err := os.CopyFS(to, os.DirFS(from)); err != nil {
			t.Fatal(err)
		}
	default:
		b, err := os.ReadFile(from)
		if err := errors.Join(err, os.WriteFile(to, b, 0o600)); err != nil {
			t.Fatal(err)
		}
	}
}

func (p past) write(name string, content []byte) {
	p.t.Helper()
	if err := os.WriteFile(filepath.Join(p.dir, name), content, 0o600); err != nil {
		p.t.Fatal(err)
	}
}

func (p past) remove(names ...string) {
	p.t.Helper()
	for _, name := range names {
		if err := os.Remove(filepath.Join(p.dir, name)); err != nil {
			p.t.Fatal(err)
		}
	}
}

// An old store under newer heads takes nothing, and says so at every Open.
func TestOpen_StoreThatHasLostItsNewestEvents(t *testing.T) {
	ctx := context.Background()
	p := past{t, t.TempDir()}
	p.grow("a")
	p.grow("b")
	old := p.keep(badgerDir)
	p.grow("c")
	newest := p.grow("d")
	complete := p.keep(badgerDir)
	old()
	for range 2 { // it is still so after another start
		j := open(t, p.dir)
		if known, behind := j.Behind(); !behind || string(known) != string(newest) {
			t.Fatalf("behind %v, known %q, want %q", behind, known, newest)
		}
		for _, id := range []string{"e", "a", "d"} {
			_, err := j.Append(ctx, Command{ID: id}, func(uint64) (Entry, error) {
				t.Error("decide was called")
				return Entry{}, nil
			})
			wantFault(t, err, fault.Precondition, "RECORD_BEHIND")
		}
		wantEqual(t, "events", allEvents(t, j), []string{"a", "b"})
		if err := j.Answers(ctx); err != nil {
			t.Errorf("behind is not stuck: %v", err)
		}
		mustClose(t, j)
	}
	report, err := Verify(ctx, Options{Dir: p.dir})
	if wantFault(t, err, fault.Lost, "RECORD_BEHIND"); report.Problem == "" {
		t.Error("the report tells of no problem")
	}
	complete()
	j := open(t, p.dir)
	if _, behind := j.Behind(); behind {
		t.Error("the whole store is behind too")
	}
	put(t, j, "e", []string{"e"})
}

func TestOpen_ComparesTheHeadsBesideTheStore(t *testing.T) {
	for name, tc := range map[string]struct {
		change   func(p past)
		reason   string // "" when it opens
		torn     bool
		warnings bool
	}{
		"no head files, as before there were any": {func(p past) { p.remove(headAFile, headBFile) }, "", false, false},
		"the newest head was not written":         {func(p past) { p.remove(headAFile) }, "", false, false},
		"one is torn":                             {func(p past) { p.write(headAFile, []byte("bayround/stat")) }, "", false, true},
		"one is empty":                            {func(p past) { p.write(headAFile, nil) }, "", false, true},
		"both are torn": {func(p past) {
			p.write(headAFile, []byte("bayround/stat"))
			p.write(headBFile, nil)
		}, "", true, true},
		"one is of another journal": {func(p past) {
			other := past{p.t, p.t.TempDir()}
			for _, text := range []string{"1", "2", "3", "4", "5"} {
				p.write(headAFile, other.grow(text))
			}
		}, "", false, true},
		"same size, another history": {func(p past) { p.write(headAFile, p.elsewhere(3)) }, "ROOT_DIFFERS", false, false},
		"smaller, another history":   {func(p past) { p.write(headBFile, p.elsewhere(2)) }, "ROOT_DIFFERS", false, false},
		"seen, another history":      {func(p past) { p.write(headSeenFile, p.elsewhere(2)) }, "ROOT_DIFFERS", false, false},
	} {
		t.Run(name, func(t *testing.T) {
			p := past{t, t.TempDir()}
			var newest []byte
			for _, text := range []string{"a", "b", "c"} {
				newest = p.grow(text)
			}
			tc.change(p)
			log := &recorder{}
			j, err := tryOpen(p.dir, log.listen)
			if tc.reason != "" {
				wantFault(t, err, fault.Lost, tc.reason)
				_, err = Verify(context.Background(), Options{Dir: p.dir})
				wantFault(t, err, fault.Lost, tc.reason)
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			a, _ := headIn(t, j, headAFile)
			b, _ := headIn(t, j, headBFile)
			if string(a) != string(newest) && string(b) != string(newest) {
				t.Errorf("opened without the newest head beside the store:\n%s\n%s", a, b)
			}
			if _, behind := j.Behind(); behind || j.HeadsTorn() != tc.torn || (log.lines.Load() > 0) != tc.warnings {
				t.Errorf("behind %v, torn %v, %d warnings", behind, j.HeadsTorn(), log.lines.Load())
			}
			put(t, j, "d", []string{"d"})
			mustClose(t, j)
			if _, size := headIn(t, j, headBFile); size != 4 {
				if _, size = headIn(t, j, headAFile); size != 4 {
					t.Error("the head of event 4 is in neither file")
				}
			}
		})
	}
}

// elsewhere returns a checkpoint of another history with the same key.
func (p past) elsewhere(size int) []byte {
	p.t.Helper()
	other := past{p.t, p.t.TempDir()}
	other.grow("x")
	p.copyIdentity(other)
	var signed []byte
	for n := range size {
		signed = other.grow(fmt.Sprintf("another %d", n))
	}
	return signed
}

// copyIdentity makes an empty journal in other that has the same key and id.
func (p past) copyIdentity(other past) {
	p.t.Helper()
	for _, name := range []string{badgerDir, headAFile, headBFile} {
		copyAll(p.t, filepath.Join(p.dir, "none"), filepath.Join(other.dir, name))
	}
	for _, name := range []string{journalFile, signerFile} {
		copyAll(p.t, filepath.Join(p.dir, name), filepath.Join(other.dir, name))
	}
	identity, err := os.ReadFile(filepath.Join(p.dir, journalFile))
	if err := errors.Join(err, os.MkdirAll(filepath.Join(other.dir, badgerDir), 0o700), setInStore(other.dir, formatKey, identity)); err != nil {
		p.t.Fatal(err)
	}
}

func TestKnow_HoldsAShownCheckpointAgainstTheJournal(t *testing.T) {
	p := past{t, t.TempDir()}
	first := p.grow("a")
	old := p.keep(".")
	p.grow("b")
	newer := p.grow("c")
	complete := p.keep(badgerDir)
	fork, foreign := p.elsewhere(1), past{t, t.TempDir()}.grow("a")
	old() // everything, as from a backup: nothing here tells of b and c
	fell := 0
	j := open(t, p.dir, func(o *Options) { o.FellBehind = func() { fell++ } })
	wantFault(t, j.Know(foreign), fault.Invalid, "CHECKPOINT_FOREIGN")
	wantFault(t, j.Know([]byte("hello")), fault.Invalid, "CHECKPOINT_FOREIGN")
	wantFault(t, j.Know(fork), fault.Lost, "RECORD_FORKED")
	if err := j.Know(first); err != nil {
		t.Errorf("our own newest checkpoint: %v", err)
	}
	if _, behind := j.Behind(); behind || fell != 0 {
		t.Fatalf("behind %v, told %d times, before anybody showed more", behind, fell)
	}
	for range 2 {
		if err := j.Know(newer); err != nil {
			t.Fatal(err)
		}
	}
	known, behind := j.Behind()
	if !behind || string(known) != string(newer) || fell != 1 {
		t.Errorf("behind %v, known %q, told %d times", behind, known, fell)
	}
	_, err := j.Append(context.Background(), Command{ID: "b"}, always(Entry{}))
	wantFault(t, err, fault.Precondition, "RECORD_BEHIND")
	wantFault(t, j.Know(p.elsewhere(3)), fault.Lost, "RECORD_FORKED")
	if err := j.Know(p.elsewhere(2)); err != nil { // between what we hold and what is known: nobody can say
		t.Error(err)
	}
	mustClose(t, j)
	wantFault(t, j.Know(newer), fault.Unavailable, "JOURNAL_CLOSED")

	j = open(t, p.dir)
	if known, behind := j.Behind(); !behind || string(known) != string(newer) {
		t.Errorf("after another start: behind %v, known %q", behind, known)
	}
	mustClose(t, j)
	complete()
	j = open(t, p.dir)
	if _, behind := j.Behind(); behind || slices.Contains(names(t, p.dir), headSeenFile) {
		t.Errorf("repaired, but behind %v, files %v", behind, names(t, p.dir))
	}
	put(t, j, "d", []string{"d"})
}

func TestKnow_ThatCannotBeKeptStopsTheJournal(t *testing.T) {
	p := past{t, t.TempDir()}
	p.grow("a")
	old := p.keep(".")
	newer := p.grow("b")
	old()
	j := open(t, p.dir)
	if err := os.MkdirAll(filepath.Join(p.dir, headSeenFile+unfinished, "in the way"), 0o700); err != nil {
		t.Fatal(err)
	}
	wantFault(t, j.Know(newer), fault.Unavailable, "JOURNAL_STOPPED")
	<-j.Failed()
	if _, behind := j.Behind(); !behind {
		t.Error("it does not know what it was shown")
	}
}
