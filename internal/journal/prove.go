package journal

import (
	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/fault"
)

// Prove returns the proof that event seq is in the tree of the first size
// events; tlog.CheckRecord checks it, with leaf number seq-1.
func (j *Journal) Prove(seq, size uint64) (proof tlog.RecordProof, err error) {
	if err := j.checkTree(size); err != nil {
		return nil, err
	}
	if seq == 0 || seq > size {
		return nil, fault.New(fault.NotFound, "EVENT_UNKNOWN", "there is no event %d among the first %d", seq, size)
	}
	err = j.view(func(txn *badger.Txn) (err error) {
		proof, err = tlog.ProveRecord(int64(size), int64(seq-1), storedHashes(txn))
		return err
	})
	return proof, err
}

// ProveTree returns the proof that the tree of the first size events begins
// with the tree of the first old events; tlog.CheckTree checks it.
func (j *Journal) ProveTree(old, size uint64) (proof tlog.TreeProof, err error) {
	if err := j.checkTree(size); err != nil {
		return nil, err
	}
	if old == 0 || old > size {
		return nil, fault.New(fault.Invalid, "TREE_SIZE_INVALID",
			"the older tree must have 1 to %d events, not %d; the empty tree needs no proof", size, old)
	}
	err = j.view(func(txn *badger.Txn) (err error) {
		proof, err = tlog.ProveTree(int64(size), int64(old), storedHashes(txn))
		return err
	})
	return proof, err
}

func (j *Journal) checkTree(size uint64) error {
	if have := j.Size(); size > have {
		return fault.New(fault.NotFound, "TREE_UNKNOWN", "the journal holds %d events, there is no tree of %d", have, size)
	}
	return nil
}
