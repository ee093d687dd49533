package journal

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/dgraph-io/badger/v4"
)

// Apart is content that an event does not hold itself, so that it can be erased:
// the event holds its digest, and once the salt is gone nobody can tell by
// guessing what the digest was of.
type Apart struct {
	Salt    [32]byte
	Content []byte
}

// NewApart gives content a salt of its own.
func NewApart(content []byte) Apart {
	a := Apart{Content: content}
	rand.Read(a.Salt[:]) // never fails, see crypto/rand
	return a
}

// Digest is what an event holds in place of the content: SHA-256 of the salt
// followed by the content.
func (a Apart) Digest() [32]byte {
	h := sha256.New()
	h.Write(a.Salt[:]) // hashes never fail to write
	h.Write(a.Content)
	return [32]byte(h.Sum(nil))
}

const apartHeadBytes = 8 + 32

// errApart says that stored bytes are not what was kept apart.
var errApart = errors.New("not a sequence number, a salt and a content")

// encode makes the stored form; last is the sequence number of the last event of
// the entry it came with.
func (a Apart) encode(last uint64) []byte {
	b := make([]byte, 0, apartHeadBytes+len(a.Content))
	b = binary.BigEndian.AppendUint64(b, last)
	b = append(b, a.Salt[:]...)
	return append(b, a.Content...)
}

// decodeApart copies what it keeps of b.
func decodeApart(b []byte) (a Apart, last uint64, err error) {
	if len(b) < apartHeadBytes {
		return Apart{}, 0, errApart
	}
	a = Apart{Salt: [32]byte(b[8:apartHeadBytes]), Content: append([]byte{}, b[apartHeadBytes:]...)}
	return a, binary.BigEndian.Uint64(b), nil
}

// Apart returns what an event keeps apart under a digest; found is false when it
// was erased, or never was. It is checked against the digest.
func (j *Journal) Apart(digest [32]byte) (content []byte, found bool, err error) {
	err = j.view(func(txn *badger.Txn) error {
		if gone, err := getIn(txn, erasedKey(digest)); gone != nil || err != nil {
			return err
		}
		b, err := getIn(txn, apartKey(digest))
		if b == nil || err != nil {
			return err
		}
		a, _, err := checkApart(digest, b)
		content, found = a.Content, err == nil
		return err
	})
	return content, found, err
}

// checkApart reads the stored form and holds it against its digest.
func checkApart(digest [32]byte, b []byte) (a Apart, last uint64, err error) {
	if a, last, err = decodeApart(b); err == nil && a.Digest() != digest {
		err = errApart
	}
	if err != nil {
		return Apart{}, 0, lost("APART_CHANGED", "what stands apart under %x is not what its event names: it was changed; restore the journal from a backup or a copy", digest).Because(err)
	}
	return a, last, nil
}

// eachApart calls visit with everything that is kept apart and was not erased, in
// the order of digests. last is the last event of the entry it came with.
func eachApart(txn *badger.Txn, visit func(last uint64, a Apart) error) error {
	it := txn.NewIterator(badger.IteratorOptions{Prefix: []byte(apartPrefix)})
	defer it.Close()
	for it.Rewind(); it.Valid(); it.Next() {
		digest, err := digestOfKey(it.Item().Key())
		if err != nil {
			return err
		}
		if gone, err := getIn(txn, erasedKey(digest)); err != nil {
			return err
		} else if gone != nil {
			continue
		}
		b, err := it.Item().ValueCopy(nil)
		if err != nil {
			return fmt.Errorf("read what stands apart under %x: %w", digest, err)
		}
		a, last, err := checkApart(digest, b)
		if err != nil {
			return err
		}
		if err := visit(last, a); err != nil {
			return err
		}
	}
	return nil
}

// apartByEntry gives what is kept apart by the last event of the entry it came
// with. Of people there are few: all of it is read.
func apartByEntry(txn *badger.Txn) (map[uint64][]Apart, error) {
	held := map[uint64][]Apart{}
	return held, eachApart(txn, func(last uint64, a Apart) error {
		held[last] = append(held[last], a)
		return nil
	})
}

// addApart writes what an entry keeps apart, and marks what it erases.
func (b *batch) addApart(entry Entry) error {
	for _, a := range entry.Apart {
		if err := b.txn.Set(apartKey(a.Digest()), a.encode(b.edge.Size())); err != nil {
			return fmt.Errorf("write what event %d keeps apart: %w", b.edge.Size(), err)
		}
	}
	for _, digest := range entry.Erase {
		if err := b.txn.Set(erasedKey(digest), []byte{}); err != nil {
			return fmt.Errorf("mark %x as erased: %w", digest, err)
		}
		b.erased = append(b.erased, digest)
	}
	return nil
}

// weighApart returns what addApart needs of a transaction.
func (e Entry) weighApart() (keys, bytes int, err error) {
	for _, a := range e.Apart {
		if len(a.Content) > maxValueBytes {
			return 0, 0, tooLarge("what is kept apart has %d bytes, at most %d can be stored", len(a.Content), maxValueBytes)
		}
		bytes += sha256.Size + apartHeadBytes + len(a.Content)
	}
	return len(e.Apart) + len(e.Erase), bytes + sha256.Size*len(e.Erase), nil
}

// wipe takes what was marked as erased out of the store's files. A deletion alone
// would only hide it: Badger's tables hold it until they are merged, which may be
// years. Nothing else is written meanwhile, for it runs on the committer's
// goroutine or before that begins.
func (s *store) wipe(digests [][32]byte) error {
	prefixes := make([][]byte, len(digests))
	for i, digest := range digests {
		prefixes[i] = apartKey(digest)
	}
	if err := s.db.DropPrefix(prefixes...); err != nil {
		return fmt.Errorf("take what was erased out of the store's files: %w", err)
	}
	left, err := s.unwiped()
	if err == nil && len(left) > 0 {
		err = errUnwiped // Badger only logs when a table cannot be written anew
	}
	// The write-ahead logs that were set aside may hold it too.
	return errors.Join(err, os.RemoveAll(filepath.Join(s.dir, evidenceDir)))
}

// errUnwiped says that what was erased still stands in the store's files.
var errUnwiped = errors.New("what was erased still stands in the store's files")

// unwiped lists what is marked as erased and still there: of an erasure that
// broke off.
func (s *store) unwiped() (left [][32]byte, err error) {
	err = s.db.View(func(txn *badger.Txn) error {
		it := txn.NewIterator(badger.IteratorOptions{Prefix: []byte(erasedPrefix)})
		defer it.Close()
		for it.Rewind(); it.Valid(); it.Next() {
			digest, err := digestOfKey(it.Item().Key())
			if err != nil {
				return err
			}
			b, err := getIn(txn, apartKey(digest))
			if err != nil {
				return err
			}
			if b != nil {
				left = append(left, digest)
			}
		}
		return nil
	})
	return left, err
}

// finishErasing does what an erasure that broke off has left.
func (j *Journal) finishErasing() error {
	left, err := j.unwiped()
	if err != nil || len(left) == 0 {
		return err
	}
	if err := j.wipe(left); err != nil {
		// Nobody is shown it any more; a disk without room must not keep a station from starting.
		j.log.Warn("what was erased still stands in the files of the store; it is tried again at the next start", "texts", len(left), "cause", err)
	}
	return nil
}

// checkApart makes sure that everything kept apart is what its key says.
func (r *Report) checkApart(txn *badger.Txn) error {
	return eachApart(txn, func(uint64, Apart) error { return nil })
}
