package journal

import (
	"context"
	"errors"
	"strings"

	"github.com/dgraph-io/badger/v4"

	"bayround/internal/fault"
)

// The first byte of a stored row.
const (
	rowGone    = 0
	rowPresent = 1
)

// errRowValue says that stored bytes are not the value of a row.
var errRowValue = errors.New("neither a row nor the mark of a row that is gone")

func (r Row) encode() []byte {
	if r.Value == nil {
		return []byte{rowGone}
	}
	return append([]byte{rowPresent}, r.Value...)
}

// decodeRowValue returns nil for a row that is gone. It copies what it keeps.
func decodeRowValue(b []byte) ([]byte, error) {
	switch {
	case len(b) == 1 && b[0] == rowGone:
		return nil, nil
	case len(b) >= 1 && b[0] == rowPresent:
		return append([]byte{}, b[1:]...), nil
	}
	return nil, errRowValue
}

// Rows calls yield with the newest version, at or before event number at
// (0 = now), of every row whose key begins with prefix, in key order; rows
// that are gone are left out. All of it is as of one moment. The bytes are the
// callee's to keep; an error of yield ends the walk and comes back unchanged.
//
// A row belongs to the last event of its entry: with at inside an entry, none
// of that entry's rows are seen. Rows of an entry without events belong to the
// event before it, and replace what was said there.
//
// Close waits until yield is done, so yield must not wait for anything slow.
func (j *Journal) Rows(ctx context.Context, prefix string, at uint64, yield func(key string, value []byte) error) error {
	if strings.IndexByte(prefix, 0) >= 0 {
		return fault.New(fault.Invalid, "ROW_KEY_INVALID", "no row key begins with %.40q, as none holds a zero byte", prefix)
	}
	at = j.horizon(at)
	return j.view(func(txn *badger.Txn) error {
		it := txn.NewIterator(badger.IteratorOptions{Prefix: []byte(rowPrefix + prefix)})
		defer it.Close()
		for it.Rewind(); it.Valid(); {
			if err := ctx.Err(); err != nil {
				return err
			}
			key, value, err := newestRow(it, at)
			if err != nil {
				return err
			}
			if value == nil {
				continue
			}
			if err := yield(key, value); err != nil {
				return err
			}
		}
		return nil
	})
}

// Row returns the newest version of one row at or before event number at
// (0 = now); nil when there is none or it is gone.
func (j *Journal) Row(key string, at uint64) ([]byte, error) {
	if err := (Row{Key: key}).check(); err != nil {
		return nil, err
	}
	at = j.horizon(at)
	var value []byte
	err := j.view(func(txn *badger.Txn) error {
		it := txn.NewIterator(badger.IteratorOptions{Prefix: []byte(rowPrefix + key + "\x00")})
		defer it.Close()
		if it.Seek(rowKey(key, at)); !it.Valid() {
			return nil
		}
		var err error
		_, value, err = newestRow(it, at)
		return err
	})
	return value, err
}

// horizon turns "now" into a number: what is newer than the last durable
// event is not shown, whatever a failed commit may have left in memory.
func (j *Journal) horizon(at uint64) uint64 {
	if size := j.Size(); at == 0 || at > size {
		return size
	}
	return at
}

// newestRow expects it at the newest version of some row. It returns the
// version that held at the given event, nil when there is none or the row is
// gone, and leaves it behind all versions of that row.
func newestRow(it *badger.Iterator, at uint64) (key string, value []byte, err error) {
	key, seq, err := splitRowKey(it.Item().Key())
	if err != nil {
		return "", nil, rowDamaged(it.Item(), err)
	}
	if seq > at {
		it.Seek(rowKey(key, at))
		if found, _, err := rowAt(it); found != key || err != nil {
			return key, nil, err // it was not there yet
		}
	}
	err = it.Item().Value(func(b []byte) error {
		value, err = decodeRowValue(b)
		return err
	})
	if err != nil {
		return key, nil, rowDamaged(it.Item(), err)
	}
	// Mostly there is one version, and the next key is the next row.
	it.Next()
	if next, _, err := rowAt(it); next == key || err != nil {
		it.Seek(pastRow(key))
	}
	return key, value, nil
}

// rowAt returns which row the iterator stands at, "" at the end.
func rowAt(it *badger.Iterator) (key string, seq uint64, err error) {
	if !it.Valid() {
		return "", 0, nil
	}
	key, seq, err = splitRowKey(it.Item().Key())
	if err != nil {
		return "", 0, rowDamaged(it.Item(), err)
	}
	return key, seq, nil
}

func rowDamaged(item *badger.Item, cause error) error {
	return lost("ROW_DAMAGED", "the row under %.60q cannot be read; rebuild the rows from the events", item.Key()).Because(cause)
}
