package journal

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"bayround/internal/fault"
	"bayround/internal/spoil"
)

// damageSeed is set in the process that does the damage: a panic there, on whatever
// goroutine, must not take with it what led to it.
const damageSeed = "JOURNAL_TEST_DAMAGE_SEED"

// wholeOlder is the damage that no single file shows: the whole directory is an older one.
const wholeOlder = "the whole directory older"

// What damage ends as.
const (
	asItWas = "recovered" // everything that was acknowledged is there, under the same root
	refused = "refused"   // it does not open, and says what to do
	flagged = "flagged"   // it opens, takes nothing or is found by the reading of all of it
	shown   = "shown"     // a checkpoint kept elsewhere shows it: nothing else can
)

// Whatever happens to one file of a journal, or to all: nothing that was acknowledged is
// lost, doubled or changed in silence, nothing panics, and with a copy of what is missing
// the journal is as it was. The same seed does the same damage.
func TestDamage_NeverInSilence(t *testing.T) {
	if seed := os.Getenv(damageSeed); seed != "" {
		n, err := strconv.ParseUint(seed, 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		doDamage(t, n)
		return
	}
	seed := rand.Uint64()
	if text := os.Getenv("BAYROUND_SEED"); text != "" {
		var err error
		if seed, err = strconv.ParseUint(text, 10, 64); err != nil {
			t.Fatal(err)
		}
	}
	child := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestDamage_NeverInSilence$", "-test.v", "-test.timeout=6h") //nolint:gosec // this very program
	child.Env = append(os.Environ(), fmt.Sprintf("%s=%d", damageSeed, seed))
	said, err := child.CombinedOutput()
	lines := strings.Split(strings.TrimSpace(string(said)), "\n")
	if err != nil {
		t.Errorf("BAYROUND_SEED=%d: %v\n%s", seed, err, strings.Join(lines[max(0, len(lines)-80):], "\n"))
	}
	t.Logf("BAYROUND_SEED=%d", seed)
	for _, line := range lines {
		if _, counted, found := strings.Cut(line, "counted: "); found {
			t.Log(counted)
		}
	}
}

// damaged is a journal to be damaged.
type damaged struct {
	*copyOf
	older string // its directory as it was before
}

// doDamage damages journals, closed ones and those that were not, one after the other.
func doDamage(t *testing.T, seed uint64) {
	r := rand.New(rand.NewPCG(seed, 0))
	bases := []damaged{damagedBase(t, false), damagedBase(t, true)}
	for n, base := range bases { // undamaged
		if c := base.duplicate(t); c.comesTo(t, "") != asItWas {
			t.Fatalf("base %d is not sound", n)
		}
	}
	kinds := append(spoil.Kinds(), wholeOlder)
	counted := map[string]map[string]int{}
	for n, done := 0, 0; done < count(t, "BAYROUND_DAMAGES", 170); n++ {
		base, kind := bases[n%len(bases)], kinds[r.IntN(len(kinds))]
		if kind == wholeOlder && r.IntN(4) > 0 {
			continue // it is always the same
		}
		c := base.duplicate(t)
		said := base.spoil(t, r, kind, c.dir)
		if said == "" {
			continue
		}
		done++
		t.Logf("damage %d: %s", done, said)
		came := c.comesTo(t, kind)
		t.Logf("%s: %s", said, came)
		if came != asItWas && !strings.HasPrefix(said, signerFile) {
			c.mend(t, said)
		}
		if counted[kind] == nil {
			counted[kind] = map[string]int{}
		}
		counted[kind][came]++
		if err := os.RemoveAll(c.dir); err != nil {
			t.Error(err)
		}
		if t.Failed() {
			t.Fatalf("at damage %d: %s", done, said)
		}
	}
	for _, kind := range slices.Sorted(maps.Keys(counted)) {
		c := counted[kind]
		t.Logf("counted: | %s | %d | %d | %d | %d |", kind, c[asItWas], c[refused], c[flagged], c[shown])
	}
}

// damagedBase makes a journal with an older state of it; unclean = its newest writes are
// in the log alone.
func damagedBase(t *testing.T, unclean bool) damaged {
	t.Helper()
	older := tellingJournal(t, 30)
	b := damaged{copyOf: older.duplicate(t), older: older.dir}
	j := open(t, b.dir)
	for n := range 40 {
		putTold(t, j, fmt.Sprintf("newer-%d", n))
	}
	b.keep(t, j)
	if !unclean {
		mustClose(t, j)
		j = open(t, b.dir) // so that there are more tables, and a log that was replayed
		putTold(t, j, "newest")
		b.keep(t, j)
		mustClose(t, j)
		b.seen(t)
		return b
	}
	again := *b.copyOf
	for { // heads and tables are written meanwhile: a copy may hold what never stood together
		again.dir = filepath.Join(t.TempDir(), "unclean")
		if err := os.CopyFS(again.dir, os.DirFS(b.dir)); err != nil {
			continue
		}
		if j, err := tryOpen(again.duplicate(t).dir); err == nil {
			mustClose(t, j)
			break
		}
	}
	if err := os.Chmod(filepath.Join(again.dir, signerFile), 0o600); err != nil {
		t.Fatal(err)
	}
	b.copyOf = &again
	b.seen(t)
	return b
}

// seen leaves a checkpoint that somebody has shown, as it is before the next Open.
func (b damaged) seen(t *testing.T) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(b.dir, headSeenFile), b.options.Head, 0o600); err != nil {
		t.Fatal(err)
	}
}

// spoil does the damage and says which.
func (b damaged) spoil(t *testing.T, r *rand.Rand, kind, dir string) (said string) {
	t.Helper()
	if kind == wholeOlder {
		if err := errors.Join(os.RemoveAll(dir), os.CopyFS(dir, os.DirFS(b.older)), os.Chmod(filepath.Join(dir, signerFile), 0o600)); err != nil {
			t.Fatal(err)
		}
		return wholeOlder
	}
	var files []string
	for _, inner := range []string{"", badgerDir} {
		for _, name := range names(t, filepath.Join(dir, inner)) {
			path := filepath.Join(dir, inner, name)
			if info, err := os.Stat(path); err == nil && info.Mode().IsRegular() && name != ballastFile && name != "LOCK" && name != openFile {
				files = append(files, path)
			}
		}
	}
	path := files[r.IntN(len(files))]
	inner, err := filepath.Rel(dir, filepath.Dir(path))
	if err != nil {
		t.Fatal(err)
	}
	said, err = spoil.File(r, kind, path, filepath.Join(b.older, inner))
	if err != nil {
		t.Fatal(err)
	}
	return said
}

// comesTo opens a damaged journal and says what the damage ends as.
func (c *copyOf) comesTo(t *testing.T, kind string) string {
	t.Helper()
	j, err := tryOpen(c.dir)
	if err != nil {
		var f *fault.Fault
		if !errors.As(err, &f) || f.Message == "" {
			t.Errorf("an error that tells nobody what to do: %v", err)
		}
		t.Logf("%v", err)
		return refused
	}
	defer func() {
		if err := j.Close(); err != nil {
			t.Logf("close: %v", err)
		}
	}()
	seq := 0
	err = j.Events(context.Background(), 1, func(_ uint64, event []byte) error {
		if seq++; seq > len(c.events) || string(event) != c.events[seq-1] {
			t.Errorf("event %d is another than was acknowledged", seq)
		}
		return nil
	})
	_, verr := j.Verify(context.Background())
	if _, behind := j.Behind(); behind {
		if _, err := j.Append(context.Background(), Command{ID: "refused"}, always(Entry{Events: [][]byte{[]byte("refused 1")}})); !hasReason(err, "RECORD_BEHIND") {
			t.Errorf("behind, and takes something: %v", err)
		}
		return flagged
	}
	if verr != nil {
		if !fault.Is(verr, fault.Lost) {
			t.Errorf("verify: %v", verr)
		}
		return flagged
	}
	if err != nil {
		t.Errorf("nothing is wrong with it, and its events are not read: %v", err)
	}
	if string(j.Checkpoint()) == string(c.options.Head) && len(c.events) == seq {
		if difference := cmp.Diff(c.commands, readCommands(t, j)); difference != "" {
			t.Errorf("-was +is:\n%s", difference)
		}
		put(t, j, "it-goes-on", []string{"it-goes-on now"})
		return asItWas
	}
	if kind != wholeOlder {
		t.Errorf("%d of %d events are there, and nothing says so", seq, len(c.events))
	}
	if err := j.Know(c.options.Head); err != nil {
		t.Errorf("shown the newest checkpoint: %v", err)
	}
	if _, behind := j.Behind(); !behind {
		t.Error("shown a checkpoint that counts more, it is not behind")
	}
	return shown
}

// mend repairs a journal from what is left of it and a copy.
func (c *copyOf) mend(t *testing.T, said string) {
	t.Helper()
	repair := beginRepair(t, c.dir)
	commands, s := c.salvaged(t, repair)
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	if id, _ := repair.Identity(); id == "" {
		if err := repair.Assume(c.options.ID, c.options.Verifier); err != nil {
			t.Fatal(err)
		}
	}
	n := Replacement{Head: c.options.Head, Note: []byte("told"), Now: time.Now()}
	if _, err := repair.Replace(context.Background(), n, c.filled(commands)); err != nil {
		t.Fatalf("%s: replace: %v", said, err)
	}
	mustEnd(t, repair)
	j := open(t, c.dir)
	if string(j.Checkpoint()) != string(c.options.Head) {
		t.Errorf("%s: repaired to another head", said)
	}
	if difference := cmp.Diff(c.commands, readCommands(t, j)); difference != "" {
		t.Errorf("%s: -was +repaired:\n%s", said, difference)
	}
	mustClose(t, j)
}
