package journal

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/dgraph-io/badger/v4"
	"pgregory.net/rapid"
)

// putApart appends an event that holds the digest of each text, which stands apart.
func putApart(t testing.TB, j *Journal, id string, texts ...string) (digests [][32]byte) {
	t.Helper()
	var e Entry
	for _, text := range texts {
		a := NewApart([]byte(text))
		d := a.Digest()
		digests = append(digests, d)
		e.Apart, e.Events = append(e.Apart, a), append(e.Events, d[:])
	}
	if _, err := j.Append(context.Background(), Command{ID: id}, always(e)); err != nil {
		t.Fatalf("append %q: %v", id, err)
	}
	return digests
}

func erase(t testing.TB, j *Journal, id string, digests ...[32]byte) {
	t.Helper()
	e := Entry{Events: [][]byte{[]byte("erased by " + id)}, Erase: digests}
	if _, err := j.Append(context.Background(), Command{ID: id}, always(e)); err != nil {
		t.Fatalf("erase by %q: %v", id, err)
	}
}

func wantApart(t testing.TB, j *Journal, digest [32]byte, want string, there bool) {
	t.Helper()
	got, found, err := j.Apart(digest)
	if err != nil || found != there || string(got) != want {
		t.Errorf("apart under %x = %q, %v, %v; want %q, %v", digest[:4], got, found, err, want, there)
	}
}

// inFiles names the files of a journal's store that hold a text.
func inFiles(t *testing.T, dir, text string) (holding []string) {
	t.Helper()
	for _, name := range names(t, filepath.Join(dir, badgerDir)) {
		content, err := os.ReadFile(filepath.Join(dir, badgerDir, name))
		if errors.Is(err, fs.ErrNotExist) { // Badger has just merged it into another
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(content, []byte(text)) {
			holding = append(holding, name)
		}
	}
	return holding
}

// Whatever is appended, erased and opened anew: what was not erased is shown, what
// was erased is neither shown nor in any file, and the tree is what the events are.
func TestApart_IsThereUntilItIsErased(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	j := open(t, dir) // one for all cases: each goes on where the last one ended
	kept, order, n := map[[32]byte]string{}, [][32]byte{}, 0
	rapid.Check(t, func(rt *rapid.T) {
		for range rapid.IntRange(1, 4).Draw(rt, "steps") {
			n++
			id := fmt.Sprintf("%d", n)
			switch rapid.SampledFrom([]string{"put", "put", "put", "put", "erase", "erase", "reopen"}).Draw(rt, "step") {
			case "put":
				content := "who-" + id + "-" + rapid.StringMatching(`[a-z]{0,20}`).Draw(rt, "content")
				digest := putApart(t, j, id, content)[0]
				kept[digest], order = content, append(order, digest)
			case "erase":
				if len(order) > 0 {
					digest := rapid.SampledFrom(order).Draw(rt, "digest") // some of them for the second time
					erase(t, j, id, digest)
					delete(kept, digest)
				}
			case "reopen":
				mustClose(t, j)
				j = open(t, dir)
			}
			for _, digest := range order {
				content, there := kept[digest]
				wantApart(t, j, digest, content, there)
			}
			if _, err := j.Verify(context.Background()); err != nil {
				rt.Fatalf("after step %s: %v", id, err)
			}
		}
	})
	mustClose(t, j)
	if onDisk := apartOnDisk(t, dir); !maps.Equal(onDisk, kept) {
		t.Errorf("on disk are %d texts, want %d: %v, want %v", len(onDisk), len(kept), onDisk, kept)
	}
}

// apartOnDisk reads all that stands apart without the journal's help.
func apartOnDisk(t testing.TB, dir string) map[[32]byte]string {
	t.Helper()
	db, err := badger.Open(Options{Dir: dir}.badger())
	if err != nil {
		t.Fatal(err)
	}
	found := map[[32]byte]string{}
	err = db.View(func(txn *badger.Txn) error {
		it := txn.NewIterator(badger.IteratorOptions{Prefix: []byte(apartPrefix)})
		defer it.Close()
		for it.Rewind(); it.Valid(); it.Next() {
			b, err := it.Item().ValueCopy(nil)
			if err != nil {
				return err
			}
			found[[32]byte(it.Item().Key()[len(apartPrefix):])] = string(b[apartHeadBytes:])
		}
		return nil
	})
	if err = errors.Join(err, db.Close()); err != nil {
		t.Fatal(err)
	}
	return found
}

const secretName = "Ottoline Quillfeather" // invented

// fillStore writes so much that Badger makes tables and merges them.
func fillStore(t testing.TB, j *Journal, run string, bytes int) {
	t.Helper()
	for n := 0; bytes > 0; n++ {
		put(t, j, fmt.Sprintf("%s-%d", run, n), []string{strings.Repeat(run, 40_000)})
		bytes -= 40_000 * len(run)
	}
}

// An erased name is in no file when Append has returned: not in the log of the
// newest writes, nor in a table, whether that was merged before or not.
func TestErase_TakesItOutOfTheFiles(t *testing.T) {
	for _, tc := range []struct {
		name string
		age  func(t *testing.T, dir string, j *Journal) *Journal
	}{
		{"still in the log", func(_ *testing.T, _ string, j *Journal) *Journal { return j }},
		{"in a table", func(t *testing.T, dir string, j *Journal) *Journal {
			mustClose(t, j)
			return open(t, dir)
		}},
		{"in a merged table, under newer ones", func(t *testing.T, dir string, j *Journal) *Journal {
			mustClose(t, j)
			j = open(t, dir)
			if err := j.db.Flatten(1); err != nil {
				t.Fatal(err)
			}
			fillStore(t, j, "rest", 10<<20)
			return j
		}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			dir := t.TempDir()
			j := open(t, dir)
			digests := putApart(t, j, "1", secretName, "Bertrand Umberslade")
			j = tc.age(t, dir, j)
			if len(inFiles(t, dir, secretName)) == 0 {
				t.Fatal("the name is in no file before it is erased: this test would see nothing")
			}
			erase(t, j, "2", digests[0])
			if in := inFiles(t, dir, secretName); len(in) > 0 {
				t.Errorf("the erased name still stands in %v", in)
			}
			wantApart(t, j, digests[1], "Bertrand Umberslade", true)
			mustClose(t, j)
			if in := inFiles(t, dir, secretName); len(in) > 0 {
				t.Errorf("after Close the erased name stands in %v", in)
			}
			j = open(t, dir)
			wantApart(t, j, digests[0], "", false)
			wantApart(t, j, digests[1], "Bertrand Umberslade", true)
			put(t, j, "3", []string{"it goes on"})
		})
	}
}

// When the process ends between the commit and the wiping, the next Open wipes.
func TestErase_BrokenOffIsFinishedByOpen(t *testing.T) {
	dir := t.TempDir()
	j := open(t, dir)
	digest := putApart(t, j, "1", secretName)[0]
	j.commit = func(txn *badger.Txn) error {
		return errors.Join(commit(txn), errors.New("the end, after the commit"))
	}
	e := Entry{Events: [][]byte{[]byte("erased")}, Erase: [][32]byte{digest}}
	_, err := j.Append(context.Background(), Command{ID: "2"}, always(e))
	if !hasReason(err, "JOURNAL_STOPPED") {
		t.Fatalf("append = %v", err)
	}
	wantApart(t, j, digest, "", false) // the mark is there
	mustClose(t, j)
	if len(inFiles(t, dir, secretName)) == 0 {
		t.Fatal("the name is gone already: this test would see nothing")
	}
	j = open(t, dir)
	if in := inFiles(t, dir, secretName); len(in) > 0 {
		t.Errorf("after the next Open the name stands in %v", in)
	}
	wantApart(t, j, digest, "", false)
	wantEqual(t, "events", allEvents(t, j), []string{string(digest[:]), "erased"})
}

// A copy of the record carries what stands apart with the command it came with,
// and nothing that was erased.
func TestCommands_CarryWhatStandsApart(t *testing.T) {
	j := open(t, t.TempDir())
	put(t, j, "1", []string{"nobody"})
	kept := putApart(t, j, "2", "first", "second")
	putApart(t, j, "3", "third")
	erase(t, j, "4", kept[0])
	var got []string
	err := j.Commands(context.Background(), 1, func(s Stored) error {
		for _, a := range s.Apart {
			got = append(got, fmt.Sprintf("%s: %s", s.Command.ID, a.Content))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	wantEqual(t, "apart in commands", got, []string{"2: second", "3: third"})
}

func TestApart_TooBigIsRefused(t *testing.T) {
	j := open(t, t.TempDir())
	_, err := j.Append(context.Background(), Command{ID: "1"}, always(Entry{Apart: []Apart{NewApart(make([]byte, maxValueBytes+1))}}))
	if !hasReason(err, "ENTRY_TOO_LARGE") {
		t.Errorf("append = %v", err)
	}
	_, err = j.Append(context.Background(), Command{ID: "1"}, always(Entry{Erase: make([][32]byte, maxEntryKeys)}))
	if !hasReason(err, "ENTRY_TOO_LARGE") {
		t.Errorf("append = %v", err)
	}
}

// Two people of one name have different digests, or one would tell of the other.
func TestNewApart_SaltsEachTextAnew(t *testing.T) {
	if a, b := NewApart([]byte("same")), NewApart([]byte("same")); a.Digest() == b.Digest() {
		t.Errorf("both have digest %x", a.Digest())
	}
}

func TestVerify_FindsWhatIsChangedApart(t *testing.T) {
	for name, tamper := range map[string]func(m tampering, d [32]byte){
		"content":       func(m tampering, d [32]byte) { m.set(apartKey(d), append(m.get(apartKey(d)), '!')) },
		"salt":          func(m tampering, d [32]byte) { b := m.get(apartKey(d)); b[9] ^= 1; m.set(apartKey(d), b) },
		"cut short":     func(m tampering, d [32]byte) { m.set(apartKey(d), m.get(apartKey(d))[:20]) },
		"another's key": func(m tampering, d [32]byte) { b := m.get(apartKey(d)); d[3] ^= 1; m.set(apartKey(d), b) },
		"no digest":     func(m tampering, _ [32]byte) { m.set([]byte(apartPrefix+"short"), nil) },
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			j := open(t, dir)
			digest := putApart(t, j, "1", secretName)[0]
			mustClose(t, j)
			db, err := badger.Open(Options{Dir: dir}.badger())
			if err != nil {
				t.Fatal(err)
			}
			err = db.Update(func(txn *badger.Txn) error {
				tamper(tampering{t: t, txn: txn}, digest)
				return nil
			})
			if err = errors.Join(err, db.Close()); err != nil {
				t.Fatal(err)
			}
			report, err := Verify(context.Background(), Options{Dir: dir})
			if !hasReason(err, "APART_CHANGED") || report.Problem == "" {
				t.Errorf("Verify: %v, %v", report, err)
			}
		})
	}
}

// Readers go on while a name is wiped out from under them.
func TestErase_WhileOthersRead(t *testing.T) {
	dir := t.TempDir()
	j := open(t, dir)
	digests := putApart(t, j, "1", "first", "second", "third", "fourth")
	fillStore(t, j, "rest", 2<<20)
	want := j.Size()
	stop, ended := make(chan struct{}), make(chan error, 3)
	for range cap(ended) {
		go func() {
			for {
				read := uint64(0)
				err := j.Events(context.Background(), 1, func(seq uint64, _ []byte) error { read = seq; return nil })
				if err == nil && read < want {
					err = fmt.Errorf("read %d events, %d were there", read, want)
				}
				select {
				case <-stop:
					ended <- err
					return
				default:
				}
				if err != nil {
					ended <- err
					return
				}
			}
		}()
	}
	for i, digest := range digests {
		erase(t, j, fmt.Sprintf("erasure %d", i), digest)
	}
	close(stop)
	for range cap(ended) {
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}
}
