package journal

import (
	"bytes"
	"math/bits"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/tlog"
)

// walk goes through events and the hashes stored with them, side by side. It
// expects each key by name, so that an iterator which ends early or skips
// something is noticed.
type walk struct {
	next    uint64 // sequence number of the event the next step reads
	dropped spans
	events  *badger.Iterator
	hashes  *badger.Iterator
}

// newWalk starts before event from. txn must be read-only.
func newWalk(txn *badger.Txn, dropped spans, from uint64) *walk {
	w := &walk{
		next: from, dropped: dropped,
		events: txn.NewIterator(badger.IteratorOptions{Prefix: []byte(eventPrefix)}),
		hashes: txn.NewIterator(badger.IteratorOptions{Prefix: []byte(hashPrefix)}),
	}
	w.seek(from)
	return w
}

// seek goes on before another event.
func (w *walk) seek(next uint64) {
	w.next = next
	w.events.Seek(eventKey(next))
	w.hashes.Seek(hashKey(tlog.StoredHashIndex(0, int64(next-1))))
}

func (w *walk) close() {
	w.hashes.Close()
	w.events.Close()
}

// step reads one event and the hashes stored with it: its leaf hash, then
// those of the subtrees it completes. It checks the leaf hash. The bytes of
// the event are good until the next step. Of an event whose content was dropped
// they are nil, and the leaf hash stands for it.
func (w *walk) step() (event []byte, hashes []tlog.Hash, err error) {
	event, err = valueAt(w.events, eventKey(w.next))
	if err != nil {
		return nil, nil, err
	}
	if event == nil && !w.dropped.has(w.next) {
		return nil, nil, eventMissing(w.next)
	}
	index := tlog.StoredHashIndex(0, int64(w.next-1))
	hashes = make([]tlog.Hash, 1+bits.TrailingZeros64(w.next))
	for i := range hashes {
		b, err := valueAt(w.hashes, hashKey(index+int64(i)))
		if err != nil {
			return nil, nil, err
		}
		if len(b) != tlog.HashSize {
			return nil, nil, lost("HASH_MISSING", "stored hash %d of event %d (level %d) is missing or cut short; restore the journal from a backup or a copy",
				index+int64(i), w.next, i)
		}
		hashes[i] = tlog.Hash(b)
		w.hashes.Next()
	}
	w.next++
	if event == nil {
		return nil, hashes, nil
	}
	if tlog.RecordHash(event) != hashes[0] {
		return nil, nil, eventChanged(w.next - 1)
	}
	w.events.Next()
	return event, hashes, nil
}

// valueAt returns the value under the iterator if it stands at key, else nil.
// The bytes are good until the iterator moves on.
func valueAt(it *badger.Iterator, key []byte) (value []byte, err error) {
	if !it.Valid() || !bytes.Equal(it.Item().Key(), key) {
		return nil, nil
	}
	err = it.Item().Value(func(b []byte) error {
		value = b[:len(b):len(b)]
		return nil
	})
	if value == nil {
		value = []byte{} // there, and empty
	}
	return value, err
}
