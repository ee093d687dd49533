package journal

import (
	"errors"
	"fmt"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/faultpoint"
	"bayround/internal/merkle"
)

// batch is what goes to disk in one transaction.
type batch struct {
	journal *Journal
	txn     *badger.Txn
	edge    merkle.Edge // ahead of the journal's until the batch is committed
	head    []byte
	waiting []waiter
	entries int // entries to store
	keys    int
	bytes   int
	erased  [][32]byte
	broken  error // the transaction took something in by half; it must not be committed
	refusal error // why nothing is taken; nil when it is
	noRoom  error // why nothing new is taken; nil when it is
}

// waiter is a request with the answer it gets if the commit succeeds.
type waiter struct {
	request *request
	answer  answer
}

func (j *Journal) newBatch() *batch {
	return &batch{journal: j, txn: j.db.NewTransaction(true), edge: j.edge, refusal: j.refusal(), noRoom: j.guard.refusal()}
}

func (b *batch) full() bool {
	return len(b.waiting) >= maxBatchEntries || b.bytes >= fullBatchBytes || b.keys >= fullBatchKeys || b.broken != nil
}

// take settles r and keeps the answer.
func (b *batch) take(r *request) {
	receipt, err := b.settle(r.command, r.decide)
	b.waiting = append(b.waiting, waiter{r, answer{receipt, err}})
}

func (b *batch) settle(c Command, decide Decide) (Receipt, error) {
	if b.refusal != nil {
		return Receipt{}, b.refusal
	}
	receipt, found, err := findReceipt(b.txn, c)
	if err != nil || found {
		return receipt, err
	}
	if b.noRoom != nil {
		return Receipt{}, b.noRoom
	}
	entry, err := decide(b.edge.Size() + 1)
	if err != nil {
		return Receipt{}, err
	}
	keys, bytes, err := entry.weigh(c, b.edge.Size())
	if err != nil {
		return Receipt{}, err
	}
	b.entries, b.keys, b.bytes = b.entries+1, b.keys+keys, b.bytes+bytes
	receipt, b.broken = b.add(c, entry)
	return receipt, b.broken
}

// add writes an entry into the transaction. After an error the batch is of
// no more use.
func (b *batch) add(c Command, entry Entry) (Receipt, error) {
	stored := storedReceipt{digest: c.Digest, body: entry.Receipt}
	if len(entry.Events) > 0 {
		stored.first, stored.last = b.edge.Size()+1, b.edge.Size()+uint64(len(entry.Events))
	}
	for _, event := range entry.Events {
		if err := b.addEvent(event); err != nil {
			return Receipt{}, err
		}
	}
	if err := b.addApart(entry); err != nil {
		return Receipt{}, err
	}
	if entry.Settled {
		if err := b.payOff(); err != nil {
			return Receipt{}, err
		}
	}
	for _, row := range entry.Rows {
		// Without events this is the version of the entry before: the row
		// then replaces what that entry said, as nothing lies between.
		if err := b.txn.Set(rowKey(row.Key, b.edge.Size()), row.encode()); err != nil {
			return Receipt{}, fmt.Errorf("write row %q of command %q: %w", row.Key, c.ID, err)
		}
	}
	if err := b.txn.Set(commandKey(c.ID), stored.encode()); err != nil {
		return Receipt{}, fmt.Errorf("write the receipt of command %q: %w", c.ID, err)
	}
	return Receipt{First: stored.first, Last: stored.last, Body: stored.body}, nil
}

func (b *batch) addEvent(event []byte) error {
	index := tlog.StoredHashIndex(0, int64(b.edge.Size()))
	hashes, err := b.edge.Add(tlog.RecordHash(event))
	if err != nil {
		return fmt.Errorf("hash event %d: %w", b.edge.Size()+1, err)
	}
	err = b.txn.Set(eventKey(b.edge.Size()), event)
	for i := range hashes {
		err = errors.Join(err, b.txn.Set(hashKey(index+int64(i)), hashes[i][:]))
	}
	if err != nil {
		return fmt.Errorf("write event %d: %w", b.edge.Size(), err)
	}
	return nil
}

// commit signs the new head, once for the whole batch, and syncs everything.
func (b *batch) commit() (err error) {
	if b.broken != nil {
		return b.broken
	}
	if err := b.journal.stopped(); err != nil {
		return err // the head of an earlier batch could not be written
	}
	defer recovered("commit", &err)
	if b.entries == 0 {
		return nil
	}
	if b.edge.Size() > b.journal.edge.Size() {
		if err := b.setHead(); err != nil {
			return err
		}
	}
	return b.journal.commit(b.txn)
}

func (b *batch) setHead() error {
	root, err := b.edge.Root()
	if err != nil {
		return fmt.Errorf("compute the root of %d events: %w", b.edge.Size(), err)
	}
	c := merkle.Checkpoint{Origin: b.journal.verifier.Name(), Size: b.edge.Size(), Root: root}
	if b.head, err = c.Sign(b.journal.signer); err != nil {
		return fmt.Errorf("sign the head of %d events: %w", b.edge.Size(), err)
	}
	if err := b.txn.Set([]byte(headKey), b.head); err != nil {
		return fmt.Errorf("write the head of %d events: %w", b.edge.Size(), err)
	}
	return nil
}

// commit is the one step that puts a transaction on disk.
func commit(txn *badger.Txn) error {
	if err := faultpoint.Hit(faultpoint.JournalBeforeCommit); err != nil {
		return err
	}
	if err := txn.Commit(); err != nil {
		return err
	}
	return faultpoint.Hit(faultpoint.JournalAfterCommit)
}
