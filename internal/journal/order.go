package journal

import (
	"cmp"
	"context"
	"slices"
	"sync"

	"github.com/dgraph-io/badger/v4"
)

// orderIndex knows which command made which events. It is made from all
// receipts when it is first asked, some seventy bytes for each, and later from
// those that are new. Its zero value is empty.
type orderIndex struct {
	mu      sync.Mutex
	order   commandOrder // guarded by mu: appended to, what is there never changes
	covered uint64       // guarded by mu: every receipt up to this event was read
	version uint64       // guarded by mu: Badger's version up to which receipts were read
}

// upTo returns the order of all commands up to an event, which must be durable;
// there may be more.
func (x *orderIndex) upTo(ctx context.Context, j *Journal, end uint64) (commandOrder, error) {
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.covered >= end {
		return x.order, nil
	}
	var found commandOrder
	var last, version uint64
	err := j.view(func(txn *badger.Txn) error {
		version = txn.ReadTs()
		return eachReceiptSince(ctx, txn, x.version, func(id string, r storedReceipt) error {
			if r.first > x.covered {
				found = append(found, placed{r.first, id})
				last = max(last, r.last)
			}
			return nil
		})
	})
	if err != nil {
		return nil, err
	}
	slices.SortFunc(found, func(a, b placed) int { return cmp.Compare(a.first, b.first) })
	x.order = append(x.order, found...)
	x.covered, x.version = max(last, end), version
	return x.order, nil
}
