package journal

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/note"

	"bayround/internal/fault"
	"bayround/internal/faultpoint"
)

// Pruning says which events lose their content. Their hashes stay, and so the tree
// and its root.
type Pruning struct {
	// Horizon is the newest event up to which things were looked through. It is the
	// last event of its entry.
	Horizon uint64
	// Drop are the events, none after the horizon, whole entries only, and not
	// the newest event. Those that were dropped before need not be named.
	Drop []Span
	// Owed is what the caller has to do afterwards, in words of its own. Owed gives
	// it back at every Open until an Entry settles it.
	Owed []byte
}

// Prune drops the content of events, and of the receipts of their commands: these
// are still not carried out a second time, but their answers are gone. The rows must
// be made anew afterwards (RowsComplete is false). It works on a closed journal.
//
// When it breaks off, the next Open (or Verify) undoes it, or finishes it.
// Badger's files lose the content when they are compacted: see Compact.
func Prune(ctx context.Context, o Options, p Pruning) error {
	s, err := openStore(o, false)
	if err != nil {
		return err
	}
	return errors.Join(s.prune(ctx, p), s.close())
}

func (s *store) prune(ctx context.Context, p Pruning) error {
	signer, err := readSigner(s.dir, s.verifier)
	if err != nil {
		return err
	}
	if err := s.checkPruning(ctx, p); err != nil {
		return err
	}
	next := droppedList{generation: s.dropped.generation + 1, horizon: p.Horizon, spans: s.dropped.spans.with(p.Drop)}
	if err := s.declarePruning(next, p.Owed, signer); err != nil {
		return fmt.Errorf("prune: %w", err)
	}
	if err := s.resumePruning(); err != nil {
		return fmt.Errorf("prune: %w", err)
	}
	return nil
}

// checkPruning refuses what must not be dropped.
func (s *store) checkPruning(ctx context.Context, p Pruning) error {
	return s.db.View(func(txn *badger.Txn) error {
		head, err := getIn(txn, []byte(headKey))
		if err != nil {
			return err
		}
		tree, err := checkHead(txn, head, s.verifier)
		if err != nil {
			return err
		}
		wanted := spans(nil).with(p.Drop)
		for _, x := range wanted {
			if x.First == 0 || x.Last > p.Horizon || x.Last >= tree.Size() || x.Last < x.First {
				return fault.New(fault.Invalid, "PRUNING_WRONG", "events %d to %d cannot be dropped: the horizon is event %d, the newest event is %d", x.First, x.Last, p.Horizon, tree.Size())
			}
		}
		if p.Horizon > tree.Size() || p.Horizon < s.dropped.horizon {
			return fault.New(fault.Invalid, "PRUNING_WRONG", "the horizon cannot be event %d: it was event %d, the newest event is %d", p.Horizon, s.dropped.horizon, tree.Size())
		}
		all := s.dropped.spans.with(p.Drop)
		return eachReceipt(ctx, txn, func(id string, r storedReceipt) error {
			if r.first <= p.Horizon && r.last > p.Horizon {
				return fault.New(fault.Invalid, "PRUNING_WRONG", "the horizon lies within the events of command %q", id)
			}
			first, begins := all.at(r.first)
			if _, ends := all.at(r.last); begins != ends || begins && first.Last < r.last {
				return fault.New(fault.Invalid, "PRUNING_WRONG", "of the events of command %q some would be dropped and some not", id)
			}
			return nil
		})
	})
}

// declarePruning writes down what is to be done, and then, in one transaction, that
// it is so. Whatever happens afterwards, the events of the list count as dropped.
func (s *store) declarePruning(next droppedList, owed []byte, signer note.Signer) error {
	signed, err := next.sign(s.identity, signer)
	if err != nil {
		return fmt.Errorf("sign what is dropped: %w", err)
	}
	w := s.pruningBulk()
	defer func() { w.txn.Discard() }()
	if err := w.set([]byte(pruningKey), binary.BigEndian.AppendUint64(nil, next.generation)); err != nil {
		return err
	}
	if err := w.setPieces(spansPrefix, next.generation, next.spans.encode()); err != nil {
		return err
	}
	if err := w.setPieces(owedPrefix, next.generation, owed); err != nil {
		return err
	}
	if err := w.flush(); err != nil {
		return err
	}
	if err := w.set([]byte(droppedKey), signed); err != nil {
		return err
	}
	if err := w.set([]byte(rowsKey), rowsState{}.encode()); err != nil {
		return err
	}
	return w.flush()
}

func (s *store) pruningBulk() *bulk {
	commit := s.pruneCommit
	if commit == nil {
		commit = commitPruned
	}
	return &bulk{db: s.db, commit: commit, txn: s.db.NewTransaction(true)}
}

// commitPruned is the step that puts a part of a pruning on disk.
func commitPruned(txn *badger.Txn) error {
	if err := txn.Commit(); err != nil {
		return err
	}
	return faultpoint.Hit(faultpoint.JournalInPrune)
}

// resumePruning finishes a pruning that was declared, or clears away what was
// written of one that was not. Without a pruning under way it does nothing.
func (s *store) resumePruning() error {
	under, err := get(s.db, []byte(pruningKey))
	if err != nil {
		return err
	}
	if err := s.loadDropped(); err != nil || under == nil {
		return err
	}
	w := s.pruningBulk()
	defer func() { w.txn.Discard() }()
	err = s.db.View(func(txn *badger.Txn) error {
		if err := s.removeDropped(txn, w); err != nil {
			return err
		}
		return s.removePieces(txn, w)
	})
	if err != nil {
		return err
	}
	if err := w.delete([]byte(pruningKey)); err != nil {
		return err
	}
	return w.flush()
}

// removeDropped takes away the content of dropped events and of their receipts.
func (s *store) removeDropped(txn *badger.Txn, w *bulk) error {
	it := txn.NewIterator(badger.IteratorOptions{Prefix: []byte(eventPrefix)})
	defer it.Close()
	for _, x := range s.dropped.spans {
		for it.Seek(eventKey(x.First)); it.Valid(); it.Next() {
			key := it.Item().KeyCopy(nil)
			if string(key) > string(eventKey(x.Last)) {
				break
			}
			if err := w.delete(key); err != nil {
				return err
			}
		}
	}
	return eachReceipt(context.Background(), txn, func(id string, r storedReceipt) error {
		if r.dropped || !s.dropped.spans.has(r.first) {
			return nil
		}
		r.dropped, r.body = true, nil
		return w.set(commandKey(id), r.encode())
	})
}

// removePieces takes away what other prunings than the newest have written.
func (s *store) removePieces(txn *badger.Txn, w *bulk) error {
	for _, prefix := range []string{spansPrefix, owedPrefix} {
		it := txn.NewIterator(badger.IteratorOptions{Prefix: []byte(prefix)})
		defer it.Close()
		for it.Rewind(); it.Valid(); it.Next() {
			key := it.Item().KeyCopy(nil)
			if generation := binary.BigEndian.Uint64(key[len(prefix):]); generation == s.dropped.generation {
				continue
			}
			if err := w.delete(key); err != nil {
				return err
			}
		}
	}
	return nil
}

// Owed returns what is to be done after a pruning, and a number of that pruning;
// nil when nothing is, or an Entry has settled it.
func (j *Journal) Owed() (owed []byte, pruning uint64, err error) {
	err = j.view(func(txn *badger.Txn) error {
		owed, err = readPieces(txn, owedPrefix, j.dropped.generation)
		return err
	})
	return owed, j.dropped.generation, err
}

// payOff takes away what was owed.
func (b *batch) payOff() error {
	it := b.txn.NewIterator(badger.IteratorOptions{Prefix: []byte(owedPrefix)})
	var keys [][]byte
	for it.Rewind(); it.Valid(); it.Next() {
		keys = append(keys, it.Item().KeyCopy(nil))
	}
	it.Close()
	for _, key := range keys {
		if err := b.txn.Delete(key); err != nil {
			return fmt.Errorf("settle what was owed: %w", err)
		}
	}
	return nil
}

// Compact writes the store of a closed journal anew, so that its files hold nothing
// any more that was removed from it, and are as small as they can be.
func Compact(ctx context.Context, o Options) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	s, err := openStore(o, false)
	if err != nil {
		return err
	}
	err = s.db.Flatten(1)
	if err != nil {
		err = fmt.Errorf("compact the store: %w", err)
	}
	return errors.Join(err, s.close())
}
