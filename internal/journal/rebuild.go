package journal

import (
	"context"
	"fmt"

	"github.com/dgraph-io/badger/v4"
)

// Project says which rows one event makes. Of two rows with the same key in
// one entry the later one holds.
type Project func(seq uint64, event []byte) ([]Row, error)

// rebuild is a request to make all rows anew.
type rebuild struct {
	ctx     context.Context // of the caller, who waits for the answer
	project Project
	answer  chan error // holds one
}

// Rebuild drops all rows and makes them anew from the events, each at the
// last event of the entry it belongs to. Rows that were written without an
// event are gone afterwards. Meanwhile no command is decided, RowsComplete is
// false, and Rows shows what there is so far. When Rebuild errs, or the
// process dies in the middle, RowsComplete stays false, in the next Open too,
// until a later Rebuild succeeds. An error of project comes back unchanged.
func (j *Journal) Rebuild(ctx context.Context, project func(seq uint64, event []byte) ([]Row, error)) error {
	r := &rebuild{ctx: ctx, project: project, answer: make(chan error, 1)}
	if err := j.inTurn(ctx, func() error { return j.serveRebuild(r) }); err != nil {
		return err
	}
	return <-r.answer
}

// serveRebuild runs on the committer's goroutine, so that nothing else
// writes. It errs when the journal had to stop.
func (j *Journal) serveRebuild(r *rebuild) error {
	w := &bulk{db: j.db, commit: j.commit, txn: j.db.NewTransaction(true)}
	defer func() { w.txn.Discard() }()
	if err := j.guard.refusal(); err != nil {
		r.answer <- err
		return nil
	}
	err := j.remake(r, w)
	if w.failed != nil {
		err = j.stop(w.failed)
		r.answer <- err
		return err
	}
	r.answer <- err
	return nil
}

func (j *Journal) remake(r *rebuild, w *bulk) error {
	if err := j.setRowsState(w, rowsState{version: j.rowsVersion}); err != nil {
		return err
	}
	if err := j.dropRows(r.ctx, w); err != nil {
		return err
	}
	if err := j.projectRows(r, w); err != nil {
		return err
	}
	return j.setRowsState(w, rowsState{complete: true, version: j.rowsVersion})
}

// setRowsState is durable when it returns, with everything written before.
func (j *Journal) setRowsState(w *bulk, state rowsState) error {
	if err := w.set([]byte(rowsKey), state.encode()); err != nil {
		return err
	}
	if err := w.flush(); err != nil {
		return err
	}
	j.mu.Lock()
	j.rows = state
	j.mu.Unlock()
	return nil
}

func (j *Journal) dropRows(ctx context.Context, w *bulk) error {
	return j.view(func(txn *badger.Txn) error {
		it := txn.NewIterator(badger.IteratorOptions{Prefix: []byte(rowPrefix)})
		defer it.Close()
		for it.Rewind(); it.Valid(); it.Next() {
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := w.delete(it.Item().KeyCopy(nil)); err != nil {
				return err
			}
		}
		return nil
	})
}

func (j *Journal) projectRows(r *rebuild, w *bulk) error {
	ends, err := j.entryEnds(r.ctx)
	if err != nil {
		return err
	}
	return j.Events(r.ctx, 1, func(seq uint64, event []byte) error {
		rows, err := r.project(seq, event)
		if err != nil {
			return err
		}
		version := ends.firstFrom(seq)
		for _, row := range rows {
			if err := row.check(); err != nil {
				return fmt.Errorf("rows of event %d: %w", seq, err)
			}
			if err := w.set(rowKey(row.Key, version), row.encode()); err != nil {
				return err
			}
		}
		return nil
	})
}

// entryEnds returns the last sequence number of every entry.
func (j *Journal) entryEnds(ctx context.Context) (marks, error) {
	size := j.Size()
	ends := newMarks(size)
	err := j.view(func(txn *badger.Txn) error {
		return eachReceipt(ctx, txn, func(id string, r storedReceipt) error {
			if r.last > size {
				return receiptOutside(id, r, size)
			}
			if r.last > 0 {
				ends.set(r.last)
			}
			return nil
		})
	})
	return ends, err
}

// bulk writes many keys in transactions of bounded size.
type bulk struct {
	db     *badger.DB
	commit func(*badger.Txn) error
	txn    *badger.Txn
	keys   int
	bytes  int
	failed error // a write failed; nobody knows what reached the disk
}

func (w *bulk) set(key, value []byte) error {
	return w.write(len(key)+len(value), func() error { return w.txn.Set(key, value) })
}

func (w *bulk) delete(key []byte) error {
	return w.write(len(key), func() error { return w.txn.Delete(key) })
}

func (w *bulk) write(bytes int, write func() error) error {
	if w.keys >= maxEntryKeys || w.bytes+bytes+keyCost > maxEntryBytes {
		if err := w.flush(); err != nil {
			return err
		}
	}
	w.keys++
	w.bytes += bytes + keyCost
	if err := write(); err != nil {
		w.failed = err
	}
	return w.failed
}

// flush commits what was written so far.
func (w *bulk) flush() error {
	if err := w.commit(w.txn); err != nil {
		w.failed = fmt.Errorf("write rows: %w", err)
		return w.failed
	}
	w.txn.Discard()
	w.txn = w.db.NewTransaction(true)
	w.keys, w.bytes = 0, 0
	return nil
}
