package journal

import (
	"context"
	"errors"
	"fmt"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/fault"
	"bayround/internal/merkle"
)

// Report is what Verify found.
type Report struct {
	Events   uint64 // good ones, counted from the first; all of them when nothing is wrong
	Dropped  uint64 // of which the content was dropped when their time was over, and the hash is left
	Receipts uint64
	Rows     uint64 // versions of rows
	Root     string // base64; of all events
	Signer   string // name of the key that signed the head; "" while there is no event
	FirstBad uint64 // sequence number of the first bad event; 0 = none, or the trouble is with no single event
	Problem  string // what is wrong; "" = nothing
}

// String says it in one line.
func (r Report) String() string {
	switch {
	case r.Problem != "" && r.FirstBad > 0:
		return fmt.Sprintf("breaks at event %d: %s", r.FirstBad, r.Problem)
	case r.Problem != "":
		return fmt.Sprintf("%d events, but: %s", r.Events, r.Problem)
	case r.Signer == "":
		return fmt.Sprintf("0 events, root %s, nothing signed yet", r.Root)
	}
	if r.Dropped > 0 {
		return fmt.Sprintf("%d events, of %d only the hash as their time is over, root %s, signed by %s, no gap", r.Events, r.Dropped, r.Root, r.Signer)
	}
	return fmt.Sprintf("%d events, root %s, signed by %s, no gap", r.Events, r.Root, r.Signer)
}

// Verify opens the journal in o.Dir by itself and re-reads everything in it:
// each event and its hash, all stored hashes, the root against the signed
// head and its signature, that no number is missing, that the receipts cover
// the events exactly, what is kept apart, the form of the rows, and that no
// checkpoint beside the store counts more. What it finds wrong is a fault.Lost,
// and the report says where. It needs no signing key. It does not work on a journal
// that another process has open.
func Verify(ctx context.Context, o Options) (Report, error) {
	s, err := openStore(o, false)
	if err != nil {
		return Report{}, err
	}
	report, err := s.verify(ctx, ctx.Err, func(txn *badger.Txn, size uint64) error {
		return s.checkClaims(txn, size, o.logger())
	})
	return report, errors.Join(err, s.close())
}

// Verify is like the function Verify, for a journal that is open, without the
// checkpoints beside the store: Open has seen them, see Behind. It checks the
// journal as of the call; appending goes on meanwhile.
func (j *Journal) Verify(ctx context.Context) (Report, error) { return j.verifyOpen(ctx, ctx.Err) }

// verifyOpen is Verify with what is called at every step.
func (j *Journal) verifyOpen(ctx context.Context, look func() error) (report Report, err error) {
	if err := j.readers.enter(); err != nil {
		return Report{}, err
	}
	defer j.readers.leave()
	defer j.unreadable(&err)
	return j.verify(ctx, look, func(*badger.Txn, uint64) error { return nil })
}

// verification is a report in the making.
type verification struct {
	Report
	look func() error // called at every step; its error ends everything
	gone spans        // events whose content was dropped
}

// verify is Verify with something more to be held against the size events, and
// what is called at every step.
func (s *store) verify(ctx context.Context, look func() error, more func(txn *badger.Txn, size uint64) error) (Report, error) {
	report := verification{look: look}
	err := s.db.View(func(txn *badger.Txn) error {
		size, err := report.checkTree(txn, s)
		if err != nil {
			return err
		}
		if err := report.checkReceipts(ctx, txn, size); err != nil {
			return err
		}
		if err := report.checkApart(txn); err != nil {
			return err
		}
		if err := report.checkRows(txn, size); err != nil {
			return err
		}
		return more(txn, size)
	})
	var f *fault.Fault
	if errors.As(err, &f) {
		report.Problem = f.Error()
	}
	return report.Report, err
}

// checkTree checks which events were dropped, and the tree.
func (r *verification) checkTree(txn *badger.Txn, s *store) (size uint64, err error) {
	list, err := readDropped(txn, s.identity, s.verifier)
	if err != nil {
		return 0, err
	}
	r.gone, r.Dropped = list.spans, list.spans.count()
	if size, err = r.checkEvents(txn, s.verifier); err != nil {
		return 0, err
	}
	if n := len(r.gone); list.horizon > size || n > 0 && (r.gone[n-1].Last > list.horizon || r.gone[n-1].Last == size) {
		return 0, droppedForged("it speaks of events that nobody can have dropped")
	}
	return size, nil
}

// checkEvents checks the Merkle tree from the events up to the signature.
func (r *verification) checkEvents(txn *badger.Txn, verifier note.Verifier) (size uint64, err error) {
	head, err := getIn(txn, []byte(headKey))
	if err != nil {
		return 0, err
	}
	var signed merkle.Checkpoint
	if head != nil {
		if signed, err = openCheckpoint(head, verifier); err != nil {
			return 0, err
		}
		r.Signer = verifier.Name()
	}
	tree, err := r.walkEvents(txn, signed.Size)
	if err != nil {
		return 0, err
	}
	root, err := tree.Root()
	if err != nil {
		return 0, err
	}
	if r.Root = root.String(); head != nil && root != signed.Root {
		return 0, rootDiffers(signed, root)
	}
	return signed.Size, nil
}

// walkEvents goes through size events and their hashes and makes sure that
// nothing lies behind them.
func (r *verification) walkEvents(txn *badger.Txn, size uint64) (merkle.Edge, error) {
	var tree merkle.Edge
	w := newWalk(txn, r.gone, 1)
	defer w.close()
	for tree.Size() < size {
		if err := r.look(); err != nil {
			return merkle.Edge{}, err
		}
		r.FirstBad = tree.Size() + 1 // unless this step succeeds
		event, stored, err := w.step()
		if err != nil {
			return merkle.Edge{}, err
		}
		leaf := stored[0] // of an event whose content was dropped; the root vouches for it
		if event != nil {
			leaf = tlog.RecordHash(event)
		}
		if err := checkHashes(&tree, leaf, stored); err != nil {
			return merkle.Edge{}, err
		}
		r.Events, r.FirstBad = tree.Size(), 0
	}
	if w.events.Valid() || w.hashes.Valid() {
		r.FirstBad = size + 1
		if size == 0 {
			return merkle.Edge{}, headMissing()
		}
		return merkle.Edge{}, beyondHead(size)
	}
	return tree, nil
}

// checkHashes computes what must be stored with an event and compares.
func checkHashes(tree *merkle.Edge, leaf tlog.Hash, stored []tlog.Hash) error {
	index := tlog.StoredHashIndex(0, int64(tree.Size()))
	want, err := tree.Add(leaf)
	if err != nil {
		return err
	}
	for level := range want {
		if stored[level] != want[level] {
			return lost("HASH_CHANGED", "stored hash %d (of events %d to %d) is not what these events give: it was changed, or an event with its own hash",
				index+int64(level), tree.Size()-1<<level+1, tree.Size())
		}
	}
	return nil
}

// checkReceipts makes sure that each event belongs to exactly one command:
// else a command could be carried out twice, or its events be lost on it.
func (r *verification) checkReceipts(ctx context.Context, txn *badger.Txn, size uint64) error {
	covered := newMarks(size)
	err := eachReceipt(ctx, txn, func(id string, receipt storedReceipt) error {
		r.Receipts++
		if err := r.look(); err != nil {
			return err
		}
		if receipt.last > size {
			return receiptOutside(id, receipt, size)
		}
		if receipt.dropped != r.gone.has(receipt.first) {
			return lost("RECEIPT_DAMAGED", "the receipt of command %q and the list of dropped events do not agree", id)
		}
		for seq := receipt.first; seq != 0 && seq <= receipt.last; seq++ {
			if covered.has(seq) {
				r.FirstBad = seq
				return lost("RECEIPT_OVERLAPS", "event %d is claimed by command %q and by another", seq, id)
			}
			covered.set(seq)
		}
		return nil
	})
	if err != nil {
		return err
	}
	for seq := uint64(1); seq <= size; seq++ {
		if !covered.has(seq) {
			r.FirstBad = seq
			return receiptMissing(seq)
		}
	}
	return nil
}

func (r *verification) checkRows(txn *badger.Txn, size uint64) error {
	it := txn.NewIterator(badger.IteratorOptions{Prefix: []byte(rowPrefix)})
	defer it.Close()
	for it.Rewind(); it.Valid(); it.Next() {
		if err := r.look(); err != nil {
			return err
		}
		key, seq, err := rowAt(it)
		if err != nil {
			return err
		}
		if seq > size {
			return lost("ROW_DAMAGED", "row %.60q is of event %d, the journal ends at %d; rebuild the rows from the events", key, seq, size)
		}
		err = it.Item().Value(func(b []byte) error {
			_, err := decodeRowValue(b)
			return err
		})
		if err != nil {
			return rowDamaged(it.Item(), err)
		}
		r.Rows++
	}
	return nil
}
