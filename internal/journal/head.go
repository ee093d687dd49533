package journal

import (
	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/merkle"
)

// checkHead checks the head against what lies round it, with a number of
// reads that does not grow with the journal, and returns the right edge.
func checkHead(txn *badger.Txn, head []byte, verifier note.Verifier) (merkle.Edge, error) {
	var signed merkle.Checkpoint
	if head != nil {
		var err error
		if signed, err = openCheckpoint(head, verifier); err != nil {
			return merkle.Edge{}, err
		}
		if err := checkLast(txn, signed.Size); err != nil {
			return merkle.Edge{}, err
		}
	}
	if err := checkEnd(txn, signed.Size); err != nil {
		return merkle.Edge{}, err
	}
	e, err := loadEdge(signed.Size, storedHashes(txn))
	if err != nil || head == nil {
		return e, err
	}
	root, err := e.Root()
	if err != nil {
		return merkle.Edge{}, err
	}
	if root != signed.Root {
		return merkle.Edge{}, rootDiffers(signed, root)
	}
	return e, nil
}

func rootDiffers(signed merkle.Checkpoint, root tlog.Hash) error {
	return lost("ROOT_DIFFERS", "the %d events have root %s, the signed head says %s; some event and its hashes were changed together, or the head was",
		signed.Size, root, signed.Root)
}

// checkLast makes sure that the newest event is there and as it was hashed.
func checkLast(txn *badger.Txn, size uint64) error {
	_, err := readEvent(txn, size)
	return err
}

// checkEnd makes sure that there is no event, and no hash of one, beyond size.
func checkEnd(txn *badger.Txn, size uint64) error {
	event, err := getIn(txn, eventKey(size+1))
	if err != nil {
		return err
	}
	hash, err := getIn(txn, hashKey(tlog.StoredHashIndex(0, int64(size))))
	if err != nil {
		return err
	}
	if event == nil && hash == nil {
		return nil
	}
	if size == 0 {
		return headMissing()
	}
	return beyondHead(size)
}

func headMissing() error {
	return lost("HEAD_MISSING", "the journal holds events but no head that signs for them; restore it from a backup")
}

func beyondHead(size uint64) error {
	return lost("EVENT_BEYOND_HEAD", "the signed head counts %d events, but event %d or its hash is there; the head is an old one, or the event was added by hand",
		size, size+1)
}
