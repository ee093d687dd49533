package journal

import (
	"context"
	"math/bits"

	"github.com/dgraph-io/badger/v4"
)

// eachReceipt calls visit with every receipt, in the order of the command
// ids.
func eachReceipt(ctx context.Context, txn *badger.Txn, visit func(id string, r storedReceipt) error) error {
	return eachReceiptSince(ctx, txn, 0, visit)
}

// eachReceiptSince is eachReceipt for those that were written after a version of
// Badger's; 0 = all.
func eachReceiptSince(ctx context.Context, txn *badger.Txn, since uint64, visit func(id string, r storedReceipt) error) error {
	it := txn.NewIterator(badger.IteratorOptions{Prefix: []byte(commandPrefix), SinceTs: since})
	defer it.Close()
	for it.Rewind(); it.Valid(); it.Next() {
		if err := ctx.Err(); err != nil {
			return err
		}
		id := string(it.Item().Key()[len(commandPrefix):])
		var r storedReceipt
		err := it.Item().Value(func(b []byte) (err error) {
			r, err = decodeReceipt(b)
			return err
		})
		if err != nil {
			return receiptDamaged(id, err)
		}
		if err := visit(id, r); err != nil {
			return err
		}
	}
	return nil
}

func receiptOutside(id string, r storedReceipt, size uint64) error {
	return lost("RECEIPT_OUTSIDE", "the receipt of command %q names events %d to %d, the journal ends at %d", id, r.first, r.last, size)
}

// marks is a set of sequence numbers, one bit each.
type marks []uint64

func newMarks(size uint64) marks { return make(marks, size/64+1) }

func (m marks) has(seq uint64) bool { return m[seq/64]>>(seq%64)&1 == 1 }

func (m marks) set(seq uint64) { m[seq/64] |= 1 << (seq % 64) }

// firstFrom returns the smallest number in the set that is not below seq;
// seq itself when there is none.
func (m marks) firstFrom(seq uint64) uint64 {
	word := m[seq/64] &^ (1<<(seq%64) - 1)
	for i := seq / 64; ; {
		if word != 0 {
			return i*64 + uint64(bits.TrailingZeros64(word))
		}
		if i++; i >= uint64(len(m)) {
			return seq
		}
		word = m[i]
	}
}
