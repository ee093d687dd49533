package journal

import (
	"errors"
	"math/bits"

	"golang.org/x/mod/sumdb/tlog"
)

// errNotOnEdge is a bug of ours: tlog asked for a hash that lies inside.
var errNotOnEdge = errors.New("hash is not on the right edge of the tree")

// edge is the right edge of the Merkle tree: the roots of its complete
// subtrees, from which the next hashes and the root follow without reading
// the disk. It is a value: a copy can be advanced and thrown away.
type edge struct {
	size  uint64        // number of leaves
	peaks [63]tlog.Hash // by level; level l holds one when bit l of size is set
}

// add appends a leaf and returns the hashes to store, the first of them at
// stored hash index tlog.StoredHashIndex(0, size before the call).
func (e *edge) add(leaf tlog.Hash) ([]tlog.Hash, error) {
	hashes, err := tlog.StoredHashesForRecordHash(int64(e.size), leaf, e)
	if err != nil {
		return nil, err
	}
	top := len(hashes) - 1
	e.peaks[top] = hashes[top]
	e.size++
	return hashes, nil
}

// root returns the hash of the tree with all leaves added so far.
func (e *edge) root() (tlog.Hash, error) {
	return tlog.TreeHash(int64(e.size), e)
}

// ReadHashes implements tlog.HashReader for the hashes on the edge.
func (e *edge) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
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

// loadEdge reads the edge of a tree with size leaves from stored hashes.
func loadEdge(size uint64, stored tlog.HashReader) (edge, error) {
	e := edge{size: size}
	for level := range bits.Len64(size) {
		if size>>level&1 == 0 {
			continue
		}
		hashes, err := stored.ReadHashes([]int64{tlog.StoredHashIndex(level, int64(size>>level-1))})
		if err != nil {
			return edge{}, err
		}
		e.peaks[level] = hashes[0]
	}
	return e, nil
}
