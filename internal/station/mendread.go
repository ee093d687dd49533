package station

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	"bayround/internal/journal"
	"bayround/internal/merkle"
	"bayround/internal/recordfile"
	pb "bayround/proto/bayround/v1"
)

// identify finds out which journal this is, from what still tells it: its own files,
// its store, or a copy that the signing key fits to.
func (m *mending) identify(ctx context.Context, names []string) error {
	if id, _ := m.repair.Identity(); id != "" {
		return nil
	}
	found, err := m.repair.Salvage(ctx, commandOf, nil) // it looks into the store, too
	if err != nil {
		return err
	}
	if err := found.Close(); err != nil {
		return err
	}
	for _, name := range names {
		if id, _ := m.repair.Identity(); id != "" {
			return nil
		}
		if head, err := headOf(name); err == nil {
			if err := m.repair.Assume(head.GetJournalId(), head.GetVerifierKey()); err != nil {
				m.Logger.Warn("a copy is not of this record", "file", name, "cause", err)
			}
		}
	}
	if id, _ := m.repair.Identity(); id == "" {
		return fault.New(fault.Lost, "IDENTITY_LOST", "nothing tells any more which record this is: neither its own files nor its store, and the signing key fits to no copy; restore it from a backup")
	}
	return nil
}

func headOf(name string) (*pb.RecordHead, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	r, err := recordfile.NewReader(f)
	if err != nil {
		return nil, err
	}
	return r.Head(), nil
}

// commandOf tells which command made an event.
func commandOf(event []byte) (string, error) {
	var ev pb.JournalEvent // of a newer schema, too: what it says is for others to read
	err := proto.Unmarshal(event, &ev)
	if err == nil && ev.GetCommandId() == "" {
		err = errEvent
	}
	return ev.GetCommandId(), err
}

// read reads every source, and finds the highest checkpoint that is known. What is
// proven of one helps to prove another.
func (m *mending) read(ctx context.Context, names []string) error {
	id, key := m.repair.Identity()
	verifier, err := note.NewVerifier(key)
	if err != nil {
		return err
	}
	m.roots = map[uint64]tlog.Hash{}
	for _, signed := range m.repair.Known() {
		if err := m.learn(signed, verifier); err != nil {
			return err
		}
	}
	var trees []journal.Tree
	for _, name := range names {
		c := &copied{name: name}
		c.read(id, key, func(uint64) (tlog.Hash, bool) { return tlog.Hash{}, false })
		m.copies = append(m.copies, c)
		if c.seal == "" {
			continue
		}
		if err := m.learn([]byte(c.seal), verifier); err != nil {
			return err
		}
		trees = append(trees, c.trees()...)
	}
	if m.salvage, err = m.repair.Salvage(ctx, commandOf, trees); err != nil {
		return err
	}
	if m.salvage.Head != nil {
		if err := m.learn(m.salvage.Head, verifier); err != nil {
			return err
		}
	}
	m.proveCut(id, key, trees)
	return ctx.Err()
}

// learn takes in a signed checkpoint.
func (m *mending) learn(signed []byte, verifier note.Verifier) error {
	c, err := merkle.OpenCheckpoint(signed, verifier)
	if err != nil {
		return err
	}
	if there, found := m.roots[c.Size]; found && there != c.Root {
		return fault.New(fault.Lost, "RECORD_FORKED",
			"two checkpoints count %d events and have different roots: there are two histories, both signed with this record's key; keep everything and find out which is true", c.Size)
	}
	m.roots[c.Size] = c.Root
	if c.Size > m.known.Size {
		m.known, m.signed = c, signed
	}
	return nil
}

// proveCut holds copies without a seal against what is known by now: signed roots, the
// trees that sealed copies go on from, and the tree of the store.
func (m *mending) proveCut(id, key string, trees []journal.Tree) {
	roots := maps.Clone(m.roots)
	for _, t := range trees {
		if e, err := merkle.EdgeOf(t.Size, t.Subtrees); err == nil {
			if root, err := e.Root(); err == nil {
				roots[t.Size] = root
			}
		}
	}
	anchor := func(size uint64) (tlog.Hash, bool) {
		if root, found := roots[size]; found {
			return root, true
		}
		return m.salvage.RootAt(size)
	}
	for _, c := range m.copies {
		if c.seal == "" && c.head != nil {
			c.read(id, key, anchor)
		}
	}
}

// copied is a record file, and what of it can be used.
type copied struct {
	name   string
	head   *pb.RecordHead // nil when it is none of this record
	last   uint64         // newest event of the whole commands in it
	proven uint64         // newest event up to which it is proven; the one before its first when nothing is
	ends   []tlog.Hash    // subtrees at its end, when it is sealed
	seal   string         // its checkpoint, when it is sealed and sound
	err    error
}

func (c *copied) first() uint64 { return uint64(c.head.GetFirstSequence()) }

// read reads the file to its end, or to where it is wrong. anchor gives roots that
// prove what leads to them.
func (c *copied) read(id, key string, anchor func(size uint64) (tlog.Hash, bool)) {
	f, err := os.Open(c.name)
	if err != nil {
		c.err = err
		return
	}
	defer f.Close()
	r, err := recordfile.NewReader(f)
	if err != nil {
		c.err = err
		return
	}
	if r.Head().GetJournalId() != id || r.Head().GetVerifierKey() != key {
		c.err = fmt.Errorf("it is a copy of another record, %s", r.Head().GetJournalId())
		return
	}
	c.head, c.last = r.Head(), r.Last()
	c.proven = c.last
	for {
		if _, c.err = r.Next(); c.err != nil {
			break
		}
		c.last = r.Last()
		if want, found := anchor(c.last); found {
			if root, err := r.Root(); err == nil && root == want {
				c.proven = c.last
			}
		}
	}
	if errors.Is(c.err, io.EOF) {
		c.err, c.seal, c.proven, c.ends = nil, r.Seal().GetCheckpoint(), c.last, r.Subtrees()
	}
}

// trees are those that a sealed copy proves: the one it goes on from, and its own.
func (c *copied) trees() (trees []journal.Tree) {
	trees = append(trees, journal.Tree{Size: c.last, Subtrees: c.ends})
	if before, err := merkle.Hashes(c.head.GetSubtrees()); err == nil && c.first() > 1 {
		trees = append(trees, journal.Tree{Size: c.first() - 1, Subtrees: before})
	}
	return trees
}
