package journal

import (
	"context"
	"slices"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/fault"
	"bayround/internal/merkle"
)

// Stored is what one command left in the journal: its receipt and its events.
// It is the unit in which a record is copied and brought back. A command that
// left no event is in no copy.
type Stored struct {
	Command Command
	Receipt []byte // Entry.Receipt of the first time
	First   uint64 // sequence number of the first event
	Events  []StoredEvent
	Apart   []Apart // what the events keep apart, as far as it is still there
}

// Last returns the sequence number of the last event.
func (s Stored) Last() uint64 { return s.First + uint64(len(s.Events)) - 1 }

// StoredEvent is one event, or what is left of it.
type StoredEvent struct {
	Record []byte    // the bytes the tree hashes; nil when its content was dropped
	Leaf   tlog.Hash // its leaf hash, always there
}

// Commands calls yield for each command that left events, in the order of the
// events, from the one that made event from (0 is the same as 1) to the end as of
// the call. Each event is checked against its stored hash, and that the receipts
// cover the events without a gap. What is yielded is the callee's to keep. An
// error of yield ends the walk and comes back unchanged.
//
// The first call reads every receipt, for receipts are kept by command id.
func (j *Journal) Commands(ctx context.Context, from uint64, yield func(Stored) error) error {
	end := j.Size()
	if from = max(from, 1); from > end {
		return nil
	}
	order, err := j.order.upTo(ctx, j, end)
	if err != nil {
		return err
	}
	left := order.from(from)
	if len(left) == 0 || left[0].first > from {
		return receiptMissing(from)
	}
	for next := left[0].first; next <= end; {
		commands, damage := j.storedPortion(left, next)
		for _, c := range commands {
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := yield(c); err != nil {
				return err
			}
			next = c.Last() + 1
		}
		if damage != nil {
			return damage
		}
		left = left[len(commands):]
	}
	return nil
}

// storedPortion reads some commands, at least one; the first must have made event
// next. When it errs the commands returned are the good ones before the trouble.
func (j *Journal) storedPortion(of commandOrder, next uint64) (commands []Stored, err error) {
	if len(of) == 0 {
		return nil, receiptMissing(next)
	}
	err = j.view(func(txn *badger.Txn) error {
		held, err := apartByEntry(txn)
		if err != nil {
			return err
		}
		w := newWalk(txn, j.dropped.spans, next)
		defer w.close()
		for bytes := 0; len(commands) < len(of) && len(commands) < portionEvents && bytes < portionBytes; {
			c, size, err := storedCommand(txn, w, of[len(commands)].id)
			if err != nil {
				return err
			}
			c.Apart = held[c.Last()]
			commands = append(commands, c)
			bytes += size
		}
		return nil
	})
	return commands, err
}

// storedCommand reads the command whose first event w stands at.
func storedCommand(txn *badger.Txn, w *walk, id string) (c Stored, size int, err error) {
	b, err := getIn(txn, commandKey(id))
	if err != nil {
		return Stored{}, 0, err
	}
	r, err := decodeReceipt(b)
	if err != nil {
		return Stored{}, 0, receiptDamaged(id, err)
	}
	if r.first != w.next {
		return Stored{}, 0, receiptMissing(w.next)
	}
	c = Stored{Command: Command{ID: id, Digest: r.digest}, Receipt: r.body, First: r.first}
	size = len(r.body)
	for w.next <= r.last {
		event, hashes, err := w.step()
		if err != nil {
			return Stored{}, 0, err
		}
		kept := StoredEvent{Leaf: hashes[0]}
		if event != nil {
			kept.Record = append([]byte{}, event...)
		}
		c.Events = append(c.Events, kept)
		size += len(event)
	}
	return c, size, nil
}

func receiptMissing(seq uint64) error {
	return lost("RECEIPT_MISSING", "the command that made event %d has left no receipt", seq)
}

// Subtrees returns the hashes of the complete subtrees that the events before
// one make up, largest first: what a Merkle tree is continued from. RFC 6962.
func (j *Journal) Subtrees(before uint64) ([]tlog.Hash, error) {
	size := max(before, 1) - 1
	if have := j.Size(); size > have {
		return nil, fault.New(fault.NotFound, "TREE_UNKNOWN", "the journal holds %d events, there is no tree of %d", have, size)
	}
	var e merkle.Edge
	err := j.view(func(txn *badger.Txn) (err error) {
		e, err = loadEdge(size, storedHashes(txn))
		return err
	})
	if err != nil {
		return nil, err
	}
	return e.Subtrees(), nil
}

// placed says at which event a command begins.
type placed struct {
	first uint64
	id    string
}

// commandOrder is commands in the order of their first events.
type commandOrder []placed

// from returns the commands from the one that made event seq on.
func (o commandOrder) from(seq uint64) commandOrder {
	at, exactly := slices.BinarySearchFunc(o, seq, func(p placed, seq uint64) int {
		switch {
		case p.first < seq:
			return -1
		case p.first > seq:
			return 1
		}
		return 0
	})
	if !exactly && at > 0 {
		at--
	}
	return o[at:]
}
