package journal

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"bayround/internal/fault"
	"bayround/internal/faultpoint"
)

// toldCommand is the CommandOf of events that begin with the id of their command.
func toldCommand(event []byte) (string, error) {
	id, _, found := strings.Cut(string(event), " ")
	if !found {
		return "", errors.New("not one of these")
	}
	return id, nil
}

// tellingJournal makes a journal whose events tell their commands, in several tables,
// and closes it.
func tellingJournal(t testing.TB, commands int) *copyOf {
	t.Helper()
	c := &copyOf{dir: t.TempDir()}
	j := open(t, c.dir)
	for n := range commands {
		id := fmt.Sprintf("%x-%d", 7*n%16, n)
		var events []string
		for i := range 1 + n%3 {
			events = append(events, fmt.Sprintf("%s %d %s", id, i, strings.Repeat("x", 40*(n%7))))
		}
		put(t, j, id, events, row("row", id))
		if n%9 == 8 {
			putTold(t, j, fmt.Sprintf("apart-%d", n))
		}
		if n%(commands/3+1) == commands/3 {
			mustClose(t, j)
			j = open(t, c.dir)
		}
	}
	c.keep(t, j)
	mustClose(t, j)
	return c
}

// uncleanJournal is a copy of one that is open: its newest writes are in the log alone.
func uncleanJournal(t testing.TB, commands int) *copyOf {
	t.Helper()
	c := tellingJournal(t, commands)
	j := open(t, c.dir)
	for n := range commands {
		putTold(t, j, fmt.Sprintf("log-%d", n))
	}
	c.keep(t, j)
	again := *c
	for { // the heads are written meanwhile, and their files come and go
		again.dir = t.TempDir()
		if err := os.CopyFS(again.dir, os.DirFS(c.dir)); err == nil {
			return &again
		} else if !errors.Is(err, fs.ErrNotExist) {
			t.Fatal(err)
		}
	}
}

// putTold appends an event that tells its command and has something apart.
func putTold(t testing.TB, j *Journal, id string) {
	t.Helper()
	a := NewApart([]byte("who " + id + " is"))
	digest := a.Digest()
	e := Entry{Events: [][]byte{append([]byte(id+" "), digest[:]...)}, Apart: []Apart{a}, Receipt: []byte("receipt")}
	if _, err := j.Append(context.Background(), Command{ID: id}, always(e)); err != nil {
		t.Fatal(err)
	}
}

// keep notes what a journal holds.
func (c *copyOf) keep(t testing.TB, j *Journal) {
	t.Helper()
	signer, err := os.ReadFile(filepath.Join(c.dir, signerFile))
	if err != nil {
		t.Fatal(err)
	}
	c.commands, c.events = readCommands(t, j), allEvents(t, j)
	c.options = RestoreOptions{ID: j.ID(), Verifier: j.Verifier(), Signer: signer, Head: j.Checkpoint()}
}

// duplicate copies the directory, to be damaged.
func (c *copyOf) duplicate(t testing.TB) *copyOf {
	t.Helper()
	again := *c
	again.dir = filepath.Join(t.TempDir(), "copy")
	if err := os.CopyFS(again.dir, os.DirFS(c.dir)); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(filepath.Join(again.dir, signerFile), 0o600); err != nil {
		t.Fatal(err)
	}
	return &again
}

func beginRepair(t testing.TB, dir string) *Repair {
	t.Helper()
	r, err := BeginRepair(dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func mustEnd(t testing.TB, r *Repair) {
	t.Helper()
	if err := r.Close(); err != nil {
		t.Error(err)
	}
}

// salvaged reads what can still be read of a journal, and makes sure that all of it is
// as it was.
func (c *copyOf) salvaged(t testing.TB, r *Repair) (commands map[uint64]Stored, s *Salvage) {
	t.Helper()
	s, err := r.Salvage(context.Background(), toldCommand, nil)
	if err != nil {
		t.Fatal(err)
	}
	commands = map[uint64]Stored{}
	for _, from := range s.Stretches {
		for got, err := range s.Commands(from) {
			if err != nil {
				t.Fatal(err)
			}
			commands[got.First] = got
		}
	}
	for _, want := range c.commands {
		if got, found := commands[want.First]; found {
			want.Apart = nil
			if difference := cmp.Diff(want, got); difference != "" {
				t.Fatalf("-was +salvaged:\n%s", difference)
			}
		}
	}
	return commands, s
}

// filled gives every command, from what was salvaged where it is there, from the copy
// else.
func (c *copyOf) filled(salvaged map[uint64]Stored) iter.Seq2[Stored, error] {
	return func(yield func(Stored, error) bool) {
		for _, want := range c.commands {
			if got, found := salvaged[want.First]; found {
				got.Apart = want.Apart
				want = got
			}
			if !yield(want, nil) {
				return
			}
		}
	}
}

func TestSalvage_FindsAllOfASoundStoreAndChangesNothing(t *testing.T) {
	c := tellingJournal(t, 60)
	r := beginRepair(t, c.dir)
	if report, err := r.Verify(context.Background()); err != nil || report.Events != uint64(len(c.events)) {
		t.Errorf("verify: %s, %v", report, err)
	}
	commands, s := c.salvaged(t, r)
	want := []Stretch{{1, uint64(len(c.events)), true}}
	if len(commands) != len(c.commands) || !slices.Equal(s.Stretches, want) || string(s.Head) != string(c.options.Head) || s.Events != uint64(len(c.events)) {
		t.Errorf("%d of %d commands in %v, %d events", len(commands), len(c.commands), s.Stretches, s.Events)
	}
	if len(s.Apart) != 6 || len(s.Erased) != 0 {
		t.Errorf("%d texts apart, %d erased", len(s.Apart), len(s.Erased))
	}
	if !slices.ContainsFunc(r.Known(), func(known []byte) bool { return bytes.Equal(known, c.options.Head) }) {
		t.Error("the head beside the store is not known")
	}
	if _, err := tryOpen(c.dir); !hasReason(err, "JOURNAL_LOCKED") {
		t.Errorf("opened while it is under repair: %v", err)
	}
	if err := errors.Join(s.Close(), r.Close()); err != nil {
		t.Fatal(err)
	}
	wantEqual(t, "events", allEvents(t, open(t, c.dir)), c.events)
}

// storeFiles are those of a closed store that hold something.
func storeFiles(t testing.TB, dir string) (files []string) {
	t.Helper()
	for _, name := range names(t, filepath.Join(dir, badgerDir)) {
		if strings.HasSuffix(name, ".sst") || strings.HasSuffix(name, ".mem") || name == "MANIFEST" || name == "KEYREGISTRY" {
			files = append(files, filepath.Join(dir, badgerDir, name))
		}
	}
	return files
}

// Whatever bytes of a store are wrong: nothing that was salvaged is, and with a copy
// of what is missing the journal is as it was.
func TestRepair_OfAnyDamage(t *testing.T) {
	bases := []*copyOf{tellingJournal(t, 60), uncleanJournal(t, 40)}
	r := rand.New(rand.NewPCG(seedOf(t), 0))
	for n := range count(t, "BAYROUND_DAMAGES", 14) {
		c := bases[n%len(bases)].duplicate(t)
		files := storeFiles(t, c.dir)
		said := damage(t, r, files[r.IntN(len(files))])
		repair := beginRepair(t, c.dir)
		_, verr := repair.Verify(context.Background())
		commands, s := c.salvaged(t, repair)
		t.Logf("%s: verify says %v; %d of %d commands salvaged, %v", said, verr, len(commands), len(c.commands), s.Trouble)
		if verr == nil && len(commands) != len(c.commands) {
			t.Errorf("%s: verify says nothing, and only %d of %d commands are there", said, len(commands), len(c.commands))
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		n := Replacement{Head: c.options.Head, Note: []byte("told"), Now: time.Now()}
		if _, err := repair.Replace(context.Background(), n, c.filled(commands)); err != nil {
			t.Fatalf("%s: replace: %v", said, err)
		}
		mustEnd(t, repair)
		c.whole(t)
	}
}

func seedOf(t testing.TB) uint64 {
	t.Helper()
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	return seed
}

// damage spoils a file: some bits, its end, or all of it.
func damage(t testing.TB, r *rand.Rand, path string) string {
	t.Helper()
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	name := filepath.Base(path)
	switch r.IntN(6) {
	case 0:
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
		return name + " removed"
	case 1:
		to := r.IntN(len(content) + 1)
		if err := os.WriteFile(path, content[:to], 0o600); err != nil {
			t.Fatal(err)
		}
		return fmt.Sprintf("%s cut to %d of %d bytes", name, to, len(content))
	}
	at := len(content) - 1 - r.IntN(min(len(content), 4096)) // the end of a table is where lengths stand
	if r.IntN(2) == 0 {
		at = r.IntN(len(content))
	}
	content[at] ^= 1 << r.IntN(8)
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("%s with byte %d of %d flipped", name, at, len(content))
}

// whole makes sure that a journal is what it was, and goes on.
func (c *copyOf) whole(t testing.TB) {
	t.Helper()
	j := open(t, c.dir)
	if string(j.Checkpoint()) != string(c.options.Head) || j.RowsComplete() {
		t.Errorf("head\n%s\nwant\n%s", j.Checkpoint(), c.options.Head)
	}
	if _, behind := j.Behind(); behind {
		t.Error("it is behind")
	}
	if difference := cmp.Diff(c.commands, readCommands(t, j)); difference != "" {
		t.Errorf("-was +repaired:\n%s", difference)
	}
	notes, err := j.Notes()
	if err != nil || len(notes) != 1 || string(notes[0]) != "told" {
		t.Errorf("notes %q, %v", notes, err)
	}
	if err := j.NotesTaken(); err != nil {
		t.Error(err)
	}
	if notes, err := j.Notes(); err != nil || notes != nil {
		t.Errorf("after they were taken: notes %q, %v", notes, err)
	}
	put(t, j, "it-goes-on", []string{"it-goes-on now"})
	mustClose(t, j)
	if n := len(names(t, filepath.Join(c.dir, evidenceDir))); n != 1 {
		t.Errorf("%d folders of evidence", n)
	}
}

// A stored hash or an event that is wrong costs no other event.
func TestSalvage_LosesOnlyWhatIsDamaged(t *testing.T) {
	all := uint64(tamperedEvents)
	for _, tc := range []struct {
		what   string
		tamper func(tampering)
		want   []Stretch
	}{
		{"an event changed", func(m tampering) { m.flip(eventKey(9)) }, []Stretch{{1, 8, true}, {13, all, true}}},
		{"an event removed", func(m tampering) { m.remove(eventKey(1)) }, []Stretch{{3, all, true}}},
		{"the hash of an event changed", func(m tampering) { m.flip(hashKey(0)) }, []Stretch{{1, all, true}}},
		{"a hash in the middle removed", func(m tampering) { m.remove(hashKey(14)) }, []Stretch{{1, all, true}}},
		{"every hash of an event and the event", func(m tampering) {
			m.flip(eventKey(8))
			m.flip(hashKey(11))
			m.flip(hashKey(14))
		}, []Stretch{{1, 6, true}, {9, all, true}}},
		{"the head removed", func(m tampering) { m.remove([]byte(headKey)) }, []Stretch{{1, all, true}}},
		{"the head changed", func(m tampering) { m.flip([]byte(headKey)) }, []Stretch{{1, all, true}}},
		{"a receipt removed", func(m tampering) { m.remove(commandKey("command 3")) }, []Stretch{{1, 6, true}, {9, all, true}}},
		{"the format changed", func(m tampering) { m.flip([]byte(formatKey)) }, []Stretch{{1, all, true}}},
		{"an event made anew with its hashes", func(m tampering) { m.change(63) }, []Stretch{{1, 6, false}, {9, all, false}}},
	} {
		t.Run(tc.what, func(t *testing.T) {
			dir := tamperedJournal(t, tc.tamper)
			r := beginRepair(t, dir)
			defer mustEnd(t, r)
			if _, err := r.Verify(context.Background()); !fault.Is(err, fault.Lost) {
				t.Errorf("verify: %v", err)
			}
			s, err := r.Salvage(context.Background(), func(event []byte) (string, error) {
				words := strings.Fields(string(event))
				if len(words) < 2 {
					return "", errors.New("empty")
				}
				return strings.Join(words[len(words)-2:], " "), nil
			}, nil)
			if err != nil {
				t.Fatal(err)
			}
			defer func() { _ = s.Close() }()
			if !tc.want[0].Proven { // what an older head beside the store still proves depends on when it was written
				for i := range s.Stretches {
					s.Stretches[i].Proven = false
				}
			}
			if !slices.Equal(s.Stretches, tc.want) {
				t.Errorf("found %v, want %v", s.Stretches, tc.want)
			}
		})
	}
}

// Whenever a replacement breaks off, the journal is whole: with the old store, or with
// the new one when it is next opened.
func TestReplace_BrokenOffIsFinishedOrNotBegun(t *testing.T) {
	sound := tellingJournal(t, 40)
	for _, tc := range []struct {
		at       faultpoint.Point
		replaced bool
	}{
		{faultpoint.JournalInRestore, false},
		{faultpoint.JournalBeforeReplacing, true},
		{faultpoint.JournalInReplacing, true},
		{faultpoint.JournalAfterReplacing, true},
		{faultpoint.JournalInPrune, true}, // which it never reaches: it is not broken off
	} {
		for _, action := range []string{"exit", "error"} {
			t.Run(string(tc.at)+" "+action, func(t *testing.T) {
				c := sound.duplicate(t)
				v := victim{dir: c.dir, task: "repair", plan: string(tc.at) + "=" + action + "@1"}
				if err := v.start(t).Wait(); (err == nil) != (tc.at == faultpoint.JournalInPrune) {
					t.Fatalf("the child ended with %v", err)
				}
				if tc.replaced {
					c.whole(t)
					return
				}
				j := open(t, c.dir)
				wantEqual(t, "events", allEvents(t, j), c.events)
				if notes, err := j.Notes(); err != nil || notes != nil || !j.RowsComplete() {
					t.Errorf("notes %q, %v, rows complete %v: it is another store", notes, err, j.RowsComplete())
				}
				for _, left := range []string{newStoreDir, scratchDir, replacingFile} {
					if _, err := os.Stat(filepath.Join(c.dir, left)); err == nil {
						t.Errorf("%s is left", left)
					}
				}
			})
		}
	}
}

// What a person gives up is gone, and the journal goes on from what is left.
func TestReplace_SigningAnewGivesUpTheRest(t *testing.T) {
	c := tellingJournal(t, 40)
	left := c.commands[:17]
	r := beginRepair(t, c.dir)
	if _, err := r.Replace(context.Background(), Replacement{Now: time.Now()}, each(left)); err != nil {
		t.Fatal(err)
	}
	mustEnd(t, r)
	j := open(t, c.dir)
	last := left[len(left)-1].Last()
	if _, behind := j.Behind(); behind || j.Size() != last {
		t.Errorf("behind %v, %d events; want %d", behind, j.Size(), last)
	}
	wantEqual(t, "events", allEvents(t, j), c.events[:last])
	put(t, j, "it-goes-on", []string{"it-goes-on now"})
}

func TestBeginRepair_OnlyWhereAJournalIs(t *testing.T) {
	if _, err := BeginRepair(t.TempDir(), nil); !hasReason(err, "JOURNAL_UNKNOWN") {
		t.Errorf("of an empty directory: %v", err)
	}
	c := tellingJournal(t, 3)
	j := open(t, c.dir)
	if _, err := BeginRepair(c.dir, nil); !hasReason(err, "JOURNAL_LOCKED") {
		t.Errorf("of one that is open: %v", err)
	}
	mustClose(t, j)
	// Even the file that says which journal it is can be lost.
	if err := os.Remove(filepath.Join(c.dir, journalFile)); err != nil {
		t.Fatal(err)
	}
	r := beginRepair(t, c.dir)
	commands, s := c.salvaged(t, r)
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	if _, err := r.Replace(context.Background(), Replacement{Head: c.options.Head, Note: []byte("told"), Now: time.Now()}, c.filled(commands)); err != nil {
		t.Fatal(err)
	}
	mustEnd(t, r)
	c.whole(t)
}

// Badger removes tables that are not listed. With a torn list, or none, nothing is lost
// by an opening.
func TestOpen_ATornListOfTablesCostsNothing(t *testing.T) {
	sound := tellingJournal(t, 40)
	manifest := filepath.Join(badgerDir, "MANIFEST")
	content, err := os.ReadFile(filepath.Join(sound.dir, manifest))
	if err != nil {
		t.Fatal(err)
	}
	for cut := range len(content) {
		if cut%5 != 0 && cut != len(content)-1 {
			continue
		}
		c := sound.duplicate(t)
		if err := os.WriteFile(filepath.Join(c.dir, manifest), content[:cut], 0o600); err != nil {
			t.Fatal(err)
		}
		for range 2 { // each opening might cost something
			j, err := tryOpen(c.dir)
			if err == nil {
				if _, behind := j.Behind(); !behind {
					t.Errorf("cut to %d of %d bytes: it is open and not behind", cut, len(content))
				}
				mustClose(t, j)
			} else if !fault.Is(err, fault.Lost) {
				t.Errorf("cut to %d of %d bytes: %v", cut, len(content), err)
			}
		}
		r := beginRepair(t, c.dir)
		commands, s := c.salvaged(t, r)
		if len(commands) != len(c.commands) {
			t.Errorf("cut to %d of %d bytes: %d of %d commands are left", cut, len(content), len(commands), len(c.commands))
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		if _, err := r.Replace(context.Background(), Replacement{Head: c.options.Head, Note: []byte("told"), Now: time.Now()}, c.filled(commands)); err != nil {
			t.Fatal(err)
		}
		mustEnd(t, r)
		if left := filepath.Join(c.dir, unlistedDir); slices.Contains(names(t, c.dir), unlistedDir) {
			t.Errorf("%s is left", left)
		}
	}
}
