package journal

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"time"

	"github.com/dgraph-io/badger/v4"
)

// paceSteps is how many things are looked at without a rest.
const paceSteps = 256

// paced returns a look for work in the background: it rests for as long as was
// worked, so that commits and readers have the machine half of the time.
func paced(ctx context.Context) (look func() error) {
	steps, since := 0, time.Now()
	return func() error {
		if steps++; steps%paceSteps != 0 {
			return ctx.Err()
		}
		rest := time.NewTimer(time.Since(since))
		defer rest.Stop()
		select {
		case <-rest.C:
		case <-ctx.Done():
		}
		since = time.Now()
		return ctx.Err()
	}
}

// Scrub is like Verify, but takes its time: it is meant to go on beside everything
// else.
func (j *Journal) Scrub(ctx context.Context) (Report, error) { return j.verifyOpen(ctx, paced(ctx)) }

// CheckRows makes all rows anew in memory, as Rebuild would on disk, and compares
// them, in every version, with those that are there: the tree cannot vouch for
// rows. It takes its time like Scrub. That they differ is fault.Lost, reason
// ROWS_DIFFER.
func (j *Journal) CheckRows(ctx context.Context, project func(seq uint64, event []byte) ([]Row, error)) error {
	end, look := j.Size(), paced(ctx)
	there, err := j.rowsThere(end, look)
	if err != nil {
		return err
	}
	made, err := j.rowsMade(ctx, end, look, project)
	if err != nil {
		return err
	}
	if there != made {
		return lost("ROWS_DIFFER", "the rows are not those that the events make: %d are there, %d are made; make them anew from the events (server rebuild)",
			there.rows, made.rows)
	}
	return nil
}

// sum tells one set of rows from another, whatever their order: the sum of the
// SHA-256 of each, in four parts.
type sum struct {
	rows  int
	parts [4]uint64
}

// add takes a row in: its key in the store, which holds its version, and its value.
func (s *sum) add(key, value []byte) {
	h := sha256.New()
	h.Write(binary.BigEndian.AppendUint64(nil, uint64(len(key)))) // hashes never fail to write
	h.Write(key)
	h.Write(value)
	digest := h.Sum(nil)
	for i := range s.parts {
		s.parts[i] += binary.BigEndian.Uint64(digest[8*i:])
	}
	s.rows++
}

// rowsThere sums up the rows of the first end events as they are stored.
func (j *Journal) rowsThere(end uint64, look func() error) (s sum, err error) {
	err = j.view(func(txn *badger.Txn) error {
		it := txn.NewIterator(badger.IteratorOptions{Prefix: []byte(rowPrefix)})
		defer it.Close()
		for it.Rewind(); it.Valid(); it.Next() {
			if err := look(); err != nil {
				return err
			}
			_, seq, err := rowAt(it)
			if err != nil {
				return err
			}
			if seq > end {
				continue
			}
			err = it.Item().Value(func(value []byte) error {
				s.add(it.Item().Key(), value)
				return nil
			})
			if err != nil {
				return rowDamaged(it.Item(), err)
			}
		}
		return nil
	})
	return s, err
}

// rowsMade sums up the rows that the first end events make.
func (j *Journal) rowsMade(ctx context.Context, end uint64, look func() error, project Project) (s sum, err error) {
	ends, err := j.entryEndsUpTo(ctx, end)
	if err != nil {
		return sum{}, err
	}
	entry := map[string][]byte{} // by stored key; of two rows with the same key the later one holds
	err = j.Events(ctx, 1, func(seq uint64, event []byte) error {
		if seq > end {
			return nil // came meanwhile
		}
		if err := look(); err != nil {
			return err
		}
		rows, err := project(seq, event)
		if err != nil {
			return err
		}
		last := ends.firstFrom(seq)
		for _, row := range rows {
			entry[string(rowKey(row.Key, last))] = row.encode()
		}
		if seq == last {
			for key, value := range entry {
				s.add([]byte(key), value)
			}
			clear(entry)
		}
		return nil
	})
	return s, err
}

// entryEndsUpTo returns the last sequence number of every entry among the first
// end events, which must end with one.
func (j *Journal) entryEndsUpTo(ctx context.Context, end uint64) (marks, error) {
	ends := newMarks(end)
	err := j.view(func(txn *badger.Txn) error {
		return eachReceipt(ctx, txn, func(_ string, r storedReceipt) error {
			if r.last > 0 && r.last <= end {
				ends.set(r.last)
			}
			return nil
		})
	})
	return ends, err
}
