package merkle

import (
	"errors"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// ErrNotProven says that a proof does not prove what it should.
var ErrNotProven = errors.New("the proof does not hold")

// Grown says whether the tree of a newer checkpoint begins with that of an older
// one; the error is ErrNotProven when the proof does not show it. RFC 6962.
func Grown(older, newer Checkpoint, path []tlog.Hash) error {
	switch {
	case older.Size > newer.Size:
		return fmt.Errorf("%w: %d events cannot have grown to %d", ErrNotProven, older.Size, newer.Size)
	case older.Size == newer.Size && older.Root != newer.Root:
		return fmt.Errorf("%w: two trees of %d events", ErrNotProven, older.Size)
	case older.Size == newer.Size:
		return nil
	}
	if err := tlog.CheckTree(path, int64(newer.Size), newer.Root, int64(older.Size), older.Root); err != nil {
		return fmt.Errorf("%w: %w", ErrNotProven, err)
	}
	return nil
}

// Hashes reads hashes of 32 bytes each.
func Hashes(of [][]byte) ([]tlog.Hash, error) {
	hashes := make([]tlog.Hash, len(of))
	for i, b := range of {
		if len(b) != tlog.HashSize {
			return nil, fmt.Errorf("hash %d has %d bytes, not %d", i+1, len(b), tlog.HashSize)
		}
		hashes[i] = tlog.Hash(b)
	}
	return hashes, nil
}

// Bytes is Hashes the other way round.
func Bytes(hashes []tlog.Hash) [][]byte {
	bytes := make([][]byte, len(hashes))
	for i := range hashes {
		bytes[i] = hashes[i][:]
	}
	return bytes
}
