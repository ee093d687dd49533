package journal

import (
	"encoding/binary"
	"errors"
	"fmt"

	"github.com/dgraph-io/badger/v4"

	"bayround/internal/fault"
)

// Command names a request. One ID means one request for ever: the digest is
// kept beside it, so that an ID used again for something else is noticed.
type Command struct {
	ID     string   // chosen by the caller; 1 to 512 bytes
	Digest [32]byte // of the request, computed by the caller
}

// Receipt says what a command left in the journal.
type Receipt struct {
	First, Last uint64 // sequence numbers of its first and last event; both 0 when it had none
	Body        []byte // Entry.Receipt of the first time
	Repeated    bool   // the command had been carried out before; nothing was stored now
}

const (
	maxCommandIDBytes = 512
	receiptLayout     = 1
	droppedLayout     = 2 // of a command whose events and answer were dropped
	receiptHeadBytes  = 1 + 32 + 8 + 8
)

// What may be wrong with stored bytes that should be a receipt.
var (
	errReceipt       = errors.New("not a receipt of layout 1 or 2")
	errReceiptLayout = errors.New("of another layout than 1 or 2")
)

// receiptDamaged says that the receipt of a command cannot be read.
func receiptDamaged(id string, cause error) error {
	if errors.Is(cause, errReceiptLayout) {
		return lost("RECEIPT_DAMAGED",
			"the receipt of command %q is %v: a newer program wrote it, or it was changed; use the newer program, or if there never was one, repair the record", id, cause).Because(cause)
	}
	return lost("RECEIPT_DAMAGED", "the receipt of command %q cannot be read", id).Because(cause)
}

// storedReceipt is a receipt as it lies on disk.
type storedReceipt struct {
	digest      [32]byte
	first, last uint64
	body        []byte
	dropped     bool // the answer is gone, and so are the events
}

func (r storedReceipt) encode() []byte {
	b := make([]byte, 0, receiptHeadBytes+len(r.body))
	if r.dropped {
		b = append(b, droppedLayout)
	} else {
		b = append(b, receiptLayout)
	}
	b = append(b, r.digest[:]...)
	b = binary.BigEndian.AppendUint64(b, r.first)
	b = binary.BigEndian.AppendUint64(b, r.last)
	return append(b, r.body...)
}

// decodeReceipt copies what it keeps of b.
func decodeReceipt(b []byte) (storedReceipt, error) {
	if len(b) >= receiptHeadBytes && b[0] > droppedLayout {
		return storedReceipt{}, fmt.Errorf("layout %d: %w", b[0], errReceiptLayout)
	}
	if len(b) < receiptHeadBytes || b[0] != receiptLayout && (b[0] != droppedLayout || len(b) != receiptHeadBytes) {
		return storedReceipt{}, errReceipt
	}
	r := storedReceipt{
		digest: [32]byte(b[1:33]),
		first:  binary.BigEndian.Uint64(b[33:41]),
		last:   binary.BigEndian.Uint64(b[41:49]),
		body:   append([]byte(nil), b[receiptHeadBytes:]...),

		dropped: b[0] == droppedLayout,
	}
	if r.first > r.last || (r.first == 0) != (r.last == 0) {
		return storedReceipt{}, fmt.Errorf("events %d to %d: %w", r.first, r.last, errReceipt)
	}
	return r, nil
}

func (c Command) check() error {
	if c.ID == "" || len(c.ID) > maxCommandIDBytes {
		return fault.New(fault.Invalid, "COMMAND_ID_INVALID",
			"a command id must have 1 to %d bytes, this one has %d", maxCommandIDBytes, len(c.ID))
	}
	return nil
}

// findReceipt looks for what c left behind, in txn's own writes too.
func findReceipt(txn *badger.Txn, c Command) (receipt Receipt, found bool, err error) {
	item, err := txn.Get(commandKey(c.ID))
	if errors.Is(err, badger.ErrKeyNotFound) {
		return Receipt{}, false, nil
	}
	if err != nil {
		return Receipt{}, false, fmt.Errorf("look for command %q: %w", c.ID, err)
	}
	var stored storedReceipt
	err = item.Value(func(b []byte) error {
		stored, err = decodeReceipt(b)
		return err
	})
	if err != nil {
		return Receipt{}, false, receiptDamaged(c.ID, err)
	}
	if stored.digest != c.Digest {
		return Receipt{}, false, fault.New(fault.Exists, "COMMAND_ID_REUSED",
			"command id %q was used for another request; repeat a request unchanged, or give a new one a new id", c.ID)
	}
	if stored.dropped {
		return Receipt{}, false, fault.New(fault.Precondition, "COMMAND_DROPPED",
			"command %q was carried out so long ago that its answer was dropped; ask what holds now", c.ID)
	}
	return Receipt{First: stored.first, Last: stored.last, Body: stored.body, Repeated: true}, true, nil
}

// lost is a fault of kind Lost: the disk does not hold what it must.
func lost(reason, format string, args ...any) *fault.Fault {
	return fault.New(fault.Lost, reason, format, args...)
}
