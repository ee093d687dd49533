package journal

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"iter"
	"log/slog"
	"os"
	"path/filepath"
	"slices"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/options"
	"golang.org/x/mod/sumdb/tlog"
)

// CommandOf tells which command made an event; an error when the event cannot be read.
type CommandOf func(event []byte) (id string, err error)

// Salvage is what can still be read of a damaged store, and proves itself.
type Salvage struct {
	// Trouble is why nothing could be read; nil when something was.
	Trouble error
	// Head is the signed checkpoint that what was read was held against; nil when
	// nothing proves itself.
	Head []byte
	// Events is how many events were looked for: those that the highest checkpoint counts.
	Events uint64
	// Stretches are the events that are there, of whole commands, in order.
	Stretches []Stretch
	// Dropped are the events whose content was dropped when their time was over, in
	// order; it must not come back from a copy.
	Dropped []Span
	// Apart is what is kept apart and still there; Erased are the digests of what
	// was erased.
	Apart  []Apart
	Erased [][32]byte

	db        *badger.DB
	good      marks             // events that are proven
	dropped   map[uint64]string // commands whose events were dropped, by the first of them
	gone      spans             // the events of these commands
	commandOf CommandOf
}

// Stretch is a run of events, of whole commands.
type Stretch struct {
	First, Last uint64
	// Proven: the events are those that Head counts. Else they fit to their own stored
	// hashes, and something about them is lost without which they cannot be proven;
	// only when they lead to a signed root together with others they are.
	Proven bool
}

// Tree is a Merkle tree that is proven otherwise: its size, and the hashes of its
// complete subtrees, largest first.
type Tree struct {
	Size     uint64
	Subtrees []tlog.Hash
}

// Salvage reads a copy of the store as far as it goes. Every event is held against
// the Merkle tree whose root is signed, whatever Badger says of it: what lies before,
// between and behind damaged places is found. Trees that are proven otherwise help
// where too much of this one is lost. It never errs for damage.
func (r *Repair) Salvage(ctx context.Context, commandOf CommandOf, trees []Tree) (*Salvage, error) {
	s := &Salvage{commandOf: commandOf}
	scratch, err := r.copyOut()
	if err != nil {
		return nil, err
	}
	if err := r.copyUnlisted(filepath.Join(scratch, badgerDir)); err != nil {
		return nil, err
	}
	if s.Trouble = s.open(filepath.Join(scratch, badgerDir), r.log); s.Trouble != nil {
		return s, nil
	}
	s.identify(r)
	if r.verifier == nil {
		return s, nil
	}
	p := &prover{salvage: s, ended: func() bool { return ctx.Err() != nil }}
	for _, c := range s.claims(r) {
		s.Events = max(s.Events, c.Size)
	}
	p.good = newMarks(s.Events)
	s.findDropped(r)
	for _, c := range s.claims(r) {
		if p.prove(c.Checkpoint) {
			s.Head = c.signed
			break
		}
	}
	for _, t := range trees {
		p.proveTree(t)
	}
	s.good = p.good
	s.findStretches(ctx)
	s.findApart()
	if err := ctx.Err(); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// Close gives up what was read.
func (s *Salvage) Close() error {
	if s.db == nil {
		return nil
	}
	return s.db.Close()
}

// open opens a copy of a store without what Badger refuses it for, and without
// anything that works on it beside us.
func (s *Salvage) open(store string, log *slog.Logger) (err error) {
	if err = listAnew(store, log); err != nil {
		return err
	}
	if s.db, err = tryLeniently(store); err == nil {
		return nil
	}
	// What is wrong may be with the newest writes alone.
	log.Warn("the write-ahead logs of the damaged store cannot be read", "cause", err)
	logs, gerr := filepath.Glob(filepath.Join(store, "*.mem"))
	if gerr != nil || len(logs) == 0 {
		return errors.Join(err, gerr)
	}
	for _, name := range logs {
		if err := os.Remove(name); err != nil {
			return err
		}
	}
	s.db, err = tryLeniently(store)
	return err
}

func tryLeniently(store string) (db *badger.DB, err error) {
	defer caught(&err)
	o := Options{}.badger().WithDir(store).WithValueDir(store).
		WithChecksumVerificationMode(options.NoVerification).WithVerifyValueChecksum(false).
		WithNumCompactors(0).WithNumLevelZeroTables(10_000).WithNumLevelZeroTablesStall(20_000)
	for range emptyLogs {
		if db, err = badger.Open(o); err == nil {
			return db, nil
		}
	}
	return nil, err
}

// caught is deferred round reading what may be damaged: Badger then panics as often
// as it errs.
func caught(err *error) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("%w: %v", errPanicked, p)
	}
}

// get is getIn for a damaged store: what cannot be read is not there.
func (s *Salvage) get(key []byte) (value []byte) {
	var err error
	func() {
		defer caught(&err)
		value, err = get(s.db, key)
	}()
	if err != nil {
		return nil
	}
	return value
}

// identify takes up which journal this is where the file JOURNAL does not tell.
func (s *Salvage) identify(r *Repair) {
	if r.verifier != nil {
		return
	}
	if id, err := parseIdentity("the store", s.get([]byte(formatKey))); err == nil {
		if r.take(id) != nil {
			r.verifier = nil
		}
	}
}

// claims are the checkpoints that the store may be held against: its own and those
// beside it, the one that counts most first.
func (s *Salvage) claims(r *Repair) (all []claim) {
	for _, signed := range append([][]byte{s.get([]byte(headKey))}, r.Known()...) {
		if c, err := openCheckpoint(signed, r.verifier); err == nil {
			all = append(all, claim{signed: signed, Checkpoint: c})
		}
	}
	slices.SortStableFunc(all, func(a, b claim) int { return cmp.Compare(b.Size, a.Size) })
	return all
}

func (s *Salvage) event(seq uint64) []byte { return s.get(eventKey(seq)) }

func (s *Salvage) hash(level int, n int64) (h tlog.Hash, found bool) {
	b := s.get(hashKey(tlog.StoredHashIndex(level, n)))
	if len(b) != tlog.HashSize {
		return tlog.Hash{}, false
	}
	return tlog.Hash(b), true
}

// errHashGone says that a stored hash cannot be read.
var errHashGone = errors.New("a stored hash cannot be read")

// RootAt returns the root that the stored hashes give for the first size events; not
// found when they cannot be read. It proves nothing by itself.
func (s *Salvage) RootAt(size uint64) (root tlog.Hash, found bool) {
	if s.db == nil || size == 0 || size > s.Events {
		return tlog.Hash{}, false
	}
	root, err := tlog.TreeHash(int64(size), tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		hashes := make([]tlog.Hash, len(indexes))
		for i, index := range indexes {
			var ok bool
			if hashes[i], ok = s.hash(tlog.SplitStoredHashIndex(index)); !ok {
				return nil, errHashGone
			}
		}
		return hashes, nil
	}))
	return root, err == nil
}

// findStretches puts events together to whole commands.
func (s *Salvage) findStretches(ctx context.Context) {
	for seq := uint64(1); seq <= s.Events && ctx.Err() == nil; {
		c, ok := s.command(seq)
		if !ok {
			seq++
			continue
		}
		one := Stretch{First: seq, Last: c.Last(), Proven: true}
		for ; seq <= one.Last; seq++ {
			one.Proven = one.Proven && s.good.has(seq)
		}
		if n := len(s.Stretches); n > 0 && s.Stretches[n-1].Last == one.First-1 && s.Stretches[n-1].Proven == one.Proven {
			s.Stretches[n-1].Last = one.Last
		} else {
			s.Stretches = append(s.Stretches, one)
		}
	}
}

// command reads the command that begins with an event. Its events fit to their stored
// hashes, where these are there.
func (s *Salvage) command(seq uint64) (c Stored, ok bool) {
	first := s.event(seq)
	if id, gone := s.dropped[seq]; gone && first == nil {
		return s.droppedCommand(id)
	}
	id, err := s.commandOf(first)
	if first == nil || err != nil {
		return Stored{}, false
	}
	receipt, err := decodeReceipt(s.get(commandKey(id)))
	if err != nil || receipt.first != seq || receipt.last > s.Events {
		return Stored{}, false
	}
	c = Stored{Command: Command{ID: id, Digest: receipt.digest}, Receipt: receipt.body, First: seq}
	for ; seq <= receipt.last; seq++ {
		event := s.event(seq)
		leaf := tlog.RecordHash(event)
		if stored, found := s.hash(0, int64(seq-1)); event == nil || found && stored != leaf && !s.good.has(seq) {
			return Stored{}, false
		}
		c.Events = append(c.Events, StoredEvent{Record: event, Leaf: leaf})
	}
	return c, true
}

// findDropped reads which commands lost their events when their time was over. It is
// taken from their receipts, which say so: whoever removes an event by hand does not
// get round the root that all of it must lead to.
func (s *Salvage) findDropped(r *Repair) {
	s.dropped = map[uint64]string{}
	var stretches []Span
	var err error
	defer func() { s.gone = spans(nil).with(stretches); s.Dropped = s.gone.with(s.listed(r)) }()
	defer caught(&err)
	_ = s.db.View(func(txn *badger.Txn) error {
		it := txn.NewIterator(badger.IteratorOptions{Prefix: []byte(commandPrefix)})
		defer it.Close()
		for it.Rewind(); it.Valid(); it.Next() {
			b, err := it.Item().ValueCopy(nil)
			if err != nil {
				continue
			}
			if r, err := decodeReceipt(b); err == nil && r.dropped {
				s.dropped[r.first] = string(it.Item().Key()[len(commandPrefix):])
				stretches = append(stretches, Span{First: r.first, Last: r.last})
			}
		}
		return nil
	})
}

// listed are the events that stand in the list of dropped ones that the station
// signed; none when it cannot be read.
func (s *Salvage) listed(r *Repair) (events []Span) {
	var err error
	defer caught(&err)
	_ = s.db.View(func(txn *badger.Txn) error {
		list, err := readDropped(txn, r.id, r.verifier)
		if err == nil {
			events = list.spans
		}
		return err
	})
	return events
}

// droppedCommand is what is left of a command whose events were dropped.
func (s *Salvage) droppedCommand(id string) (c Stored, ok bool) {
	r, err := decodeReceipt(s.get(commandKey(id)))
	if err != nil || !r.dropped || r.last > s.Events {
		return Stored{}, false
	}
	c = Stored{Command: Command{ID: id, Digest: r.digest}, First: r.first}
	for seq := r.first; seq <= r.last; seq++ {
		leaf, found := s.hash(0, int64(seq-1))
		if !found {
			return Stored{}, false
		}
		c.Events = append(c.Events, StoredEvent{Leaf: leaf})
	}
	return c, true
}

// Commands gives the commands of a stretch, without what they keep apart.
func (s *Salvage) Commands(from Stretch) iter.Seq2[Stored, error] {
	return func(yield func(Stored, error) bool) {
		for seq := from.First; seq <= from.Last; {
			c, ok := s.command(seq)
			if !ok {
				yield(Stored{}, lost("EVENT_CHANGED", "event %d could be read a moment ago and cannot any more", seq))
				return
			}
			if !yield(c, nil) {
				return
			}
			seq = c.Last() + 1
		}
	}
}

// findApart reads what is kept apart, as far as it goes.
func (s *Salvage) findApart() {
	s.Erased = s.digests(erasedPrefix)
	for _, digest := range s.digests(apartPrefix) {
		if a, _, err := checkApart(digest, s.get(apartKey(digest))); err == nil && s.get(erasedKey(digest)) == nil {
			s.Apart = append(s.Apart, a)
		}
	}
}

// digests lists the digests under a prefix, as far as they can be read.
func (s *Salvage) digests(prefix string) (found [][32]byte) {
	var err error
	defer caught(&err)
	_ = s.db.View(func(txn *badger.Txn) error {
		it := txn.NewIterator(badger.IteratorOptions{Prefix: []byte(prefix)})
		defer it.Close()
		for it.Rewind(); it.Valid(); it.Next() {
			if digest, err := digestOfKey(it.Item().Key()); err == nil {
				found = append(found, digest)
			}
		}
		return nil
	})
	return found
}
