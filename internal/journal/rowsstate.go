package journal

import (
	"fmt"

	"github.com/dgraph-io/badger/v4"

	"bayround/internal/fault"
)

// maxRowsVersionBytes keeps the rows record small.
const maxRowsVersionBytes = 256

// The first byte of the rows record.
const (
	rowsBuilding = 1
	rowsComplete = 2
)

// rowsState is the rows record: whether the rows are all there, and which
// code made them.
type rowsState struct {
	complete bool
	version  string
}

func (s rowsState) encode() []byte {
	if !s.complete {
		return append([]byte{rowsBuilding}, s.version...)
	}
	return append([]byte{rowsComplete}, s.version...)
}

// readRowsState reads the rows record. Without one the rows are not complete.
func readRowsState(txn *badger.Txn) (rowsState, error) {
	b, err := getIn(txn, []byte(rowsKey))
	if err != nil {
		return rowsState{}, fmt.Errorf("read the state of the rows: %w", err)
	}
	if len(b) == 0 {
		return rowsState{}, nil
	}
	return rowsState{complete: b[0] == rowsComplete, version: string(b[1:])}, nil
}

// RowsComplete reports whether all rows are there and were made by the code
// that runs now (Options.RowsVersion). If not, Rebuild makes them.
func (j *Journal) RowsComplete() bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.rows.complete && j.rows.version == j.rowsVersion
}

// RowsVersion returns the version of the code that made the rows on disk.
func (j *Journal) RowsVersion() string {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.rows.version
}

func checkRowsVersion(version string) error {
	if len(version) > maxRowsVersionBytes {
		return fault.New(fault.Invalid, "ROWS_VERSION_INVALID", "the rows version has %d bytes, at most %d can be kept", len(version), maxRowsVersionBytes)
	}
	return nil
}
