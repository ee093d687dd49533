package journal

import (
	"math/bits"

	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/merkle"
)

// prover finds out which events of a damaged store are those that a signed
// checkpoint counts. It goes down the Merkle tree from the signed root: hashes whose
// combination gives a hash that is proven are proven themselves. A stored hash that does
// not fit is made anew from the events below it, where these are all there.
type prover struct {
	salvage *Salvage
	ended   func() bool // whether whoever asked has gone
	good    marks       // events that are there and proven
}

// prove reports whether a checkpoint's root could be reached; good then says what
// below it is proven, too.
func (p *prover) prove(c merkle.Checkpoint) bool {
	peaks, ok := p.peaks(c)
	if ok {
		p.belowPeaks(c.Size, peaks)
	}
	return ok && !p.ended()
}

// proveTree does so with a tree that is known otherwise.
func (p *prover) proveTree(t Tree) {
	if len(t.Subtrees) != bits.OnesCount64(t.Size) || t.Size>>62 != 0 {
		return
	}
	var peaks [63]tlog.Hash
	for level := bits.Len64(t.Size) - 1; level >= 0; level-- {
		if t.Size>>level&1 == 1 {
			peaks[level], t.Subtrees = t.Subtrees[0], t.Subtrees[1:]
		}
	}
	p.belowPeaks(t.Size, peaks)
}

func (p *prover) belowPeaks(size uint64, peaks [63]tlog.Hash) {
	first := int64(0)
	for level := bits.Len64(size) - 1; level >= 0; level-- {
		if size>>level&1 == 1 {
			p.below(level, first>>level, peaks[level])
			first += 1 << level
		}
	}
}

// peaks finds the roots of the complete subtrees: the stored ones, or made anew from
// the events one by one, or all of them.
func (p *prover) peaks(c merkle.Checkpoint) (peaks [63]tlog.Hash, found bool) {
	var stored [63]tlog.Hash
	whole := p.each(c.Size, func(level int, n int64) (ok bool) {
		stored[level], ok = p.salvage.hash(level, n)
		return ok
	})
	if whole && leadTo(stored, c) {
		return stored, true
	}
	anew := stored
	p.each(c.Size, func(level int, n int64) bool {
		if h, ok := p.compute(level, n); ok {
			anew[level] = h
		}
		return true
	})
	if leadTo(anew, c) {
		return anew, true
	}
	for level := range bits.Len64(c.Size) {
		one := stored
		one[level] = anew[level]
		if leadTo(one, c) {
			return one, true
		}
	}
	return peaks, false
}

// leadTo tells whether complete subtrees, by their level, have a checkpoint's root.
func leadTo(peaks [63]tlog.Hash, c merkle.Checkpoint) bool {
	var subtrees []tlog.Hash
	for level := bits.Len64(c.Size) - 1; level >= 0; level-- {
		if c.Size>>level&1 == 1 {
			subtrees = append(subtrees, peaks[level])
		}
	}
	e, err := merkle.EdgeOf(c.Size, subtrees)
	if err != nil {
		return false
	}
	root, err := e.Root()
	return err == nil && root == c.Root
}

// each visits the complete subtrees of a tree until visit returns false, and reports
// whether it never did.
func (p *prover) each(size uint64, visit func(level int, n int64) bool) bool {
	for level := range bits.Len64(size) {
		if size>>level&1 == 1 && !visit(level, int64(size>>level-1)) {
			return false
		}
	}
	return true
}

// below proves what lies below a node whose hash is proven.
func (p *prover) below(level int, n int64, proven tlog.Hash) {
	if p.ended() {
		return
	}
	if level == 0 {
		seq := uint64(n) + 1
		if seq > p.salvage.Events {
			return
		}
		if leaf, found := p.leaf(seq); found && leaf == proven {
			p.good.set(seq)
		}
		return
	}
	left, right, ok := p.children(level-1, 2*n, proven)
	if ok {
		p.below(level-1, 2*n, left)
		p.below(level-1, 2*n+1, right)
	}
}

// leaf is the hash of an event that is there, or the one that stands for it since its
// content was dropped.
func (p *prover) leaf(seq uint64) (tlog.Hash, bool) {
	event := p.salvage.event(seq)
	if event == nil && p.salvage.gone.has(seq) {
		return p.salvage.hash(0, int64(seq-1))
	}
	return tlog.RecordHash(event), event != nil
}

// children finds the two hashes that give a proven one.
func (p *prover) children(level int, n int64, proven tlog.Hash) (left, right tlog.Hash, found bool) {
	lefts, rights := p.stored(level, n), p.stored(level, n+1)
	if l, r, ok := pair(lefts, rights, proven); ok {
		return l, r, true
	}
	lefts, rights = append(lefts, p.combined(level, n)...), append(rights, p.combined(level, n+1)...)
	if l, r, ok := pair(lefts, rights, proven); ok {
		return l, r, true
	}
	if h, ok := p.compute(level, n); ok {
		lefts = append(lefts, h)
	}
	if h, ok := p.compute(level, n+1); ok {
		rights = append(rights, h)
	}
	return pair(lefts, rights, proven)
}

func pair(lefts, rights []tlog.Hash, proven tlog.Hash) (left, right tlog.Hash, found bool) {
	for _, left := range lefts {
		for _, right := range rights {
			if tlog.NodeHash(left, right) == proven {
				return left, right, true
			}
		}
	}
	return left, right, false
}

func (p *prover) stored(level int, n int64) []tlog.Hash {
	if h, ok := p.salvage.hash(level, n); ok {
		return []tlog.Hash{h}
	}
	return nil
}

// combined makes a hash from the two stored below it.
func (p *prover) combined(level int, n int64) []tlog.Hash {
	if level == 0 {
		return nil
	}
	left, lok := p.salvage.hash(level-1, 2*n)
	right, rok := p.salvage.hash(level-1, 2*n+1)
	if !lok || !rok {
		return nil
	}
	return []tlog.Hash{tlog.NodeHash(left, right)}
}

// compute makes a hash anew from the events below it.
func (p *prover) compute(level int, n int64) (tlog.Hash, bool) {
	if level == 0 {
		if event := p.salvage.event(uint64(n) + 1); event != nil {
			return tlog.RecordHash(event), true
		}
		return p.salvage.hash(0, n)
	}
	left, ok := p.compute(level-1, 2*n)
	if !ok || p.ended() {
		return tlog.Hash{}, false
	}
	right, ok := p.compute(level-1, 2*n+1)
	return tlog.NodeHash(left, right), ok
}
