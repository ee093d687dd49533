package journal

import (
	"math/bits"

	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/merkle"
)

// loadEdge reads the edge of a tree with size leaves from stored hashes.
func loadEdge(size uint64, stored tlog.HashReader) (merkle.Edge, error) {
	subtrees := make([]tlog.Hash, 0, bits.OnesCount64(size))
	for level := bits.Len64(size) - 1; level >= 0; level-- {
		if size>>level&1 == 0 {
			continue
		}
		hashes, err := stored.ReadHashes([]int64{tlog.StoredHashIndex(level, int64(size>>level-1))})
		if err != nil {
			return merkle.Edge{}, err
		}
		subtrees = append(subtrees, hashes[0])
	}
	return merkle.EdgeOf(size, subtrees)
}
