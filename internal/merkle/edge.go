package merkle

import (
	"errors"
	"fmt"
	"math/bits"

	"golang.org/x/mod/sumdb/tlog"
)

// errNotOnEdge is a bug of ours: tlog asked for a hash that lies inside.
var errNotOnEdge = errors.New("hash is not on the right edge of the tree")

// Edge is the right edge of a Merkle tree: the roots of its complete subtrees,
// from which the next hashes and the root follow. The zero value is that of the
// empty tree. It is a value: a copy can be advanced and thrown away.
type Edge struct {
	size  uint64        // number of leaves
	peaks [63]tlog.Hash // by level; level l holds one when bit l of size is set
}

// EdgeOf returns the edge of a tree of size leaves, whose complete subtrees have
// these roots, largest first.
func EdgeOf(size uint64, subtrees []tlog.Hash) (Edge, error) {
	if want := bits.OnesCount64(size); len(subtrees) != want || size>>62 != 0 {
		return Edge{}, fmt.Errorf("%d events make up %d complete subtrees, there are hashes of %d", size, want, len(subtrees))
	}
	e := Edge{size: size}
	for level := bits.Len64(size) - 1; level >= 0; level-- {
		if size>>level&1 == 1 {
			e.peaks[level], subtrees = subtrees[0], subtrees[1:]
		}
	}
	return e, nil
}

// Size is how many leaves the tree has.
func (e *Edge) Size() uint64 { return e.size }

// Subtrees returns the roots of the complete subtrees, largest first.
func (e *Edge) Subtrees() (roots []tlog.Hash) {
	for level := bits.Len64(e.size) - 1; level >= 0; level-- {
		if e.size>>level&1 == 1 {
			roots = append(roots, e.peaks[level])
		}
	}
	return roots
}

// Add appends a leaf and returns the hashes to store, the first of them at
// stored hash index tlog.StoredHashIndex(0, size before the call).
func (e *Edge) Add(leaf tlog.Hash) ([]tlog.Hash, error) {
	hashes, err := tlog.StoredHashesForRecordHash(int64(e.size), leaf, e)
	if err != nil {
		return nil, err
	}
	top := len(hashes) - 1
	clear(e.peaks[:top]) // so that equal trees have equal edges
	e.peaks[top] = hashes[top]
	e.size++
	return hashes, nil
}

// Root returns the hash of the tree with all leaves added so far.
func (e *Edge) Root() (tlog.Hash, error) {
	return tlog.TreeHash(int64(e.size), e)
}

// ReadHashes implements tlog.HashReader for the hashes on the edge.
func (e *Edge) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	hashes := make([]tlog.Hash, len(indexes))
	for i, index := range indexes {
		level, n := tlog.SplitStoredHashIndex(index)
		if e.size>>level&1 == 0 || uint64(n) != e.size>>level-1 {
			return nil, errNotOnEdge
		}
		hashes[i] = e.peaks[level]
	}
	return hashes, nil
}
