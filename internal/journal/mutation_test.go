package journal

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/fault"
	"bayround/internal/merkle"
)

// mutation changes some records at random; was is what they held before.
type mutation struct {
	what string
	was  map[string][]byte
	bad  uint64 // first bad sequence number; 0 = the head as a whole
}

// mutate changes an event, a stored hash or the head of a journal of size
// events in one of the ways that damage or a hand may.
func mutate(r *rand.Rand, db *badger.DB, size uint64) (mutation, error) {
	m := mutation{was: map[string][]byte{}}
	key := m.pick(r, size)
	err := db.Update(func(txn *badger.Txn) error {
		old, err := getIn(txn, key)
		if err != nil || old == nil {
			return fmt.Errorf("nothing under %q: %w", key, err)
		}
		m.was[string(key)] = old
		value := bytes.Clone(old)
		switch way := r.IntN(5); {
		case way == 0:
			m.what = "remove"
			return txn.Delete(key)
		case way == 1 && len(value) > 0:
			m.what = "cut short"
			value = value[:r.IntN(len(value))]
		case way == 2:
			m.what = "extend"
			value = append(value, byte(r.UintN(256)))
		case way == 3 && bytes.HasPrefix(key, []byte(eventPrefix)):
			return m.swap(r, txn, key, size)
		default:
			m.what = "flip"
			value[r.IntN(len(value))] ^= 1 << r.UintN(8)
		}
		return txn.Set(key, value)
	})
	return m, err
}

// pick chooses the record to change, and says where that must show.
func (m *mutation) pick(r *rand.Rand, size uint64) []byte {
	switch r.IntN(9) {
	case 0:
		return []byte(headKey)
	case 1, 2, 3, 4:
		m.bad = 1 + r.Uint64N(size)
		return eventKey(m.bad)
	}
	index := r.Int64N(tlog.StoredHashCount(int64(size)))
	level, n := tlog.SplitStoredHashIndex(index)
	m.bad = uint64(n+1) << level // the event that completes the subtree
	return hashKey(index)
}

// swap exchanges the event under key with another.
func (m *mutation) swap(r *rand.Rand, txn *badger.Txn, key []byte, size uint64) error {
	m.what = "swap"
	other := 1 + (m.bad+r.Uint64N(size-1))%size // never m.bad itself
	value, err := getIn(txn, eventKey(other))
	if err != nil {
		return err
	}
	m.was[string(eventKey(other))] = value
	m.bad = min(m.bad, other)
	return errors.Join(txn.Set(key, value), txn.Set(eventKey(other), m.was[string(key)]))
}

func (m *mutation) undo(db *badger.DB) error {
	return db.Update(func(txn *badger.Txn) error {
		for key, value := range m.was {
			if err := txn.Set([]byte(key), value); err != nil {
				return err
			}
		}
		return nil
	})
}

// Each of 1,000 random changes is found, at the right place, and nothing is
// found once it is undone.
func TestVerify_FindsEveryMutation(t *testing.T) {
	t.Parallel()
	const size, rounds = 150, 1000
	j := open(t, t.TempDir())
	for n := range size / 3 {
		id := fmt.Sprintf("command %d", n)
		put(t, j, id, []string{id + " a", id + " b", id + " c"})
	}
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	ways := map[string]int{}
	for range rounds {
		m, err := mutate(r, j.db, size)
		if err != nil {
			t.Fatal(err)
		}
		ways[m.what]++
		report, err := j.Verify(context.Background())
		if !fault.Is(err, fault.Lost) || report.FirstBad != m.bad {
			// A removed head shows at the first event that nobody signs for.
			if _, head := m.was[headKey]; !head || m.what != "remove" || report.FirstBad != 1 {
				t.Errorf("%s of %q: %v, %v; want event %d", m.what, firstKey(m.was), report, err, m.bad)
			}
		}
		if err := m.undo(j.db); err != nil {
			t.Fatal(err)
		}
	}
	if report, err := j.Verify(context.Background()); err != nil || report.Events != size {
		t.Errorf("after undoing all: %v, %v", report, err)
	}
	t.Logf("%v", ways)
}

func firstKey(m map[string][]byte) string {
	first := ""
	for key := range m {
		if first == "" || key < first {
			first = key
		}
	}
	return first
}

// The edge must say the same as the stored hashes at every size.
func TestEdge_AgreesWithTheStoredHashes(t *testing.T) {
	var tree merkle.Edge
	var stored []tlog.Hash
	reader := tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		var hashes []tlog.Hash
		for _, index := range indexes {
			hashes = append(hashes, stored[index])
		}
		return hashes, nil
	})
	for n := range int64(300) {
		leaf := tlog.RecordHash(fmt.Appendf(nil, "event %d", n))
		want, err := tlog.StoredHashesForRecordHash(n, leaf, reader)
		if err != nil {
			t.Fatal(err)
		}
		got, err := tree.Add(leaf)
		if err != nil {
			t.Fatal(err)
		}
		wantEqual(t, "hashes", got, want)
		stored = append(stored, want...)
		wantRoot, _ := tlog.TreeHash(n+1, reader)
		if root, err := tree.Root(); err != nil || root != wantRoot {
			t.Errorf("root of %d = %v, %v, want %v", n+1, root, err, wantRoot)
		}
		loaded, err := loadEdge(uint64(n+1), reader)
		if err != nil {
			t.Fatal(err)
		}
		if loaded != tree {
			t.Errorf("the loaded edge of %d has the subtrees %v, not %v", n+1, loaded.Subtrees(), tree.Subtrees())
		}
	}
}

func TestMarks_FirstFrom(t *testing.T) {
	m := newMarks(200)
	for _, seq := range []uint64{3, 63, 64, 199} {
		m.set(seq)
	}
	for from, want := range map[uint64]uint64{0: 3, 3: 3, 4: 63, 63: 63, 64: 64, 65: 199, 199: 199, 200: 200} {
		if got := m.firstFrom(from); got != want {
			t.Errorf("firstFrom(%d) = %d, want %d", from, got, want)
		}
	}
}
