package journal

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"log/slog"
	"os"
	"path/filepath"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/durable"
	"bayround/internal/fault"
	"bayround/internal/faultpoint"
	"bayround/internal/merkle"
)

// building is a store that is being made from whole commands.
type building struct {
	path     string // folder of the store; there is none yet
	id       identity
	verifier note.Verifier
	signer   note.Signer // signs the head of whatever the commands come to, in place of a given one; else nil
	head     []byte
	signed   merkle.Checkpoint // head, opened; zero when there is none
	logger   *slog.Logger

	edge merkle.Edge
	key  note.Signer // signs which events were dropped; nil when it is not at hand
	gone []Span      // events whose content was dropped
}

// build makes the store, closes it, opens it as a journal does and reads
// everything back.
func (b *building) build(ctx context.Context, commands iter.Seq2[Stored, error]) (report Report, err error) {
	if err := os.MkdirAll(b.path, 0o700); err != nil {
		return Report{}, fmt.Errorf("make a folder for the new store: %w", err)
	}
	if err := b.within(func(db *badger.DB) error { return b.fill(ctx, db, commands) }); err != nil {
		return Report{}, err
	}
	if err := b.sync(); err != nil {
		return Report{}, fmt.Errorf("sync the new store: %w", err)
	}
	err = b.within(func(db *badger.DB) (err error) {
		s := &store{db: db, identity: b.id, verifier: b.verifier}
		report, err = s.verify(ctx, ctx.Err, func(*badger.Txn, uint64) error { return nil })
		return err
	})
	return report, err
}

// within opens the store for a while.
func (b *building) within(do func(*badger.DB) error) error {
	o := Options{Logger: b.logger}
	db, err := badger.Open(o.badger().WithDir(b.path).WithValueDir(b.path))
	if err != nil {
		return fmt.Errorf("open the new store: %w", err)
	}
	err = do(db)
	if closing := db.Close(); err == nil {
		err = closing
	}
	return err
}

// fill writes everything in bounded transactions; what makes it a journal's store
// comes with the last.
func (b *building) fill(ctx context.Context, db *badger.DB, commands iter.Seq2[Stored, error]) error {
	w := &bulk{db: db, commit: commitRestored, txn: db.NewTransaction(true)}
	defer func() { w.txn.Discard() }()
	for c, err := range commands {
		if err == nil {
			err = ctx.Err()
		}
		if err == nil {
			err = b.add(w, c)
		}
		if err != nil {
			return err
		}
	}
	if err := b.seal(); err != nil {
		return err
	}
	if err := b.setDropped(w); err != nil {
		return err
	}
	if b.head != nil {
		if err := w.set([]byte(headKey), b.head); err != nil {
			return err
		}
	}
	if err := w.set([]byte(rowsKey), rowsState{}.encode()); err != nil {
		return err
	}
	if err := w.set([]byte(formatKey), b.id.encode()); err != nil {
		return err
	}
	return w.flush()
}

// add writes one command, which must be the next.
func (b *building) add(w *bulk, c Stored) error {
	if err := b.refuse(c); err != nil {
		return err
	}
	receipt := storedReceipt{digest: c.Command.Digest, first: c.First, last: c.Last(), body: c.Receipt}
	if receipt.dropped = c.Events[0].Record == nil; receipt.dropped {
		receipt.body = nil
		b.gone = append(b.gone, Span{First: c.First, Last: c.Last()})
	}
	for _, event := range c.Events {
		if (event.Record == nil) != receipt.dropped {
			return lost("COPY_GAP", "of command %q the copy holds some events whole and of others only the hash", c.Command.ID)
		}
		if err := b.addEvent(w, event); err != nil {
			return err
		}
	}
	for _, a := range c.Apart {
		if err := w.set(apartKey(a.Digest()), a.encode(receipt.last)); err != nil {
			return err
		}
	}
	return w.set(commandKey(c.Command.ID), receipt.encode())
}

// refuse errs when a command cannot be the next one.
func (b *building) refuse(c Stored) error {
	if err := c.Command.check(); err != nil {
		return err
	}
	if next := b.edge.Size() + 1; c.First != next || len(c.Events) == 0 {
		return lost("COPY_GAP", "after event %d comes event %d: the copy leaves something out", b.edge.Size(), c.First)
	}
	entry := Entry{Receipt: c.Receipt, Apart: c.Apart}
	for _, event := range c.Events {
		entry.Events = append(entry.Events, event.Record)
	}
	_, _, err := entry.weigh(c.Command, b.edge.Size())
	return err
}

func (b *building) addEvent(w *bulk, event StoredEvent) error {
	leaf := event.Leaf
	if event.Record != nil {
		leaf = tlog.RecordHash(event.Record) // whatever was said of it
	}
	index := tlog.StoredHashIndex(0, int64(b.edge.Size()))
	hashes, err := b.edge.Add(leaf)
	if err != nil {
		return fmt.Errorf("hash event %d: %w", b.edge.Size()+1, err)
	}
	if event.Record != nil {
		if err := w.set(eventKey(b.edge.Size()), event.Record); err != nil {
			return err
		}
	}
	for i := range hashes {
		if err := w.set(hashKey(index+int64(i)), hashes[i][:]); err != nil {
			return err
		}
	}
	return nil
}

// setDropped writes down which events had lost their content.
func (b *building) setDropped(w *bulk) error {
	if len(b.gone) == 0 {
		return nil
	}
	signer := b.key
	if b.signer != nil {
		signer = b.signer
	}
	if signer == nil {
		return fault.New(fault.Precondition, "KEY_MISSING",
			"of some events the copy holds only the hash, as their time is over; the station must sign for that: give the signing key with it")
	}
	list := droppedList{spans: spans(nil).with(b.gone)}
	list.horizon = list.spans[len(list.spans)-1].Last
	// Each pruning reached farther than the one before, so there were never more of them than this:
	// no number of a pruning comes twice in the life of a journal.
	list.generation = list.horizon + 1
	signed, err := list.sign(b.id, signer)
	if err != nil {
		return fmt.Errorf("sign what was dropped: %w", err)
	}
	if err := w.setPieces(spansPrefix, list.generation, list.spans.encode()); err != nil {
		return err
	}
	return w.set([]byte(droppedKey), signed)
}

// seal holds what was written against the head, or signs one for it.
func (b *building) seal() error {
	root, err := b.edge.Root()
	if err != nil {
		return fmt.Errorf("compute the root of %d events: %w", b.edge.Size(), err)
	}
	if b.signer != nil && b.edge.Size() > 0 {
		b.signed = merkle.Checkpoint{Origin: b.verifier.Name(), Size: b.edge.Size(), Root: root}
		b.head, err = b.signed.Sign(b.signer)
		return err
	}
	switch {
	case b.edge.Size() != b.signed.Size:
		return lost("COPY_SHORT", "the copy holds %d events, the signed checkpoint counts %d", b.edge.Size(), b.signed.Size)
	case b.head != nil && root != b.signed.Root:
		return rootDiffers(b.signed, root)
	}
	return nil
}

// sync makes every file of the closed store durable: Badger does not sync the
// names of all that it makes.
func (b *building) sync() error {
	entries, err := os.ReadDir(b.path)
	if err != nil {
		return err
	}
	for _, entry := range entries {
		if err := durable.SyncDir(filepath.Join(b.path, entry.Name())); err != nil {
			return err
		}
	}
	return errors.Join(durable.SyncDir(b.path), durable.SyncDir(filepath.Dir(b.path)))
}

// commitRestored is the step that puts a part of a restored journal on disk.
func commitRestored(txn *badger.Txn) error {
	if err := faultpoint.Hit(faultpoint.JournalInRestore); err != nil {
		return err
	}
	return txn.Commit()
}
