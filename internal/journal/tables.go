package journal

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/fb"
	"github.com/dgraph-io/badger/v4/options"
	"github.com/dgraph-io/badger/v4/pb"
	"github.com/dgraph-io/badger/v4/table"
	"github.com/dgraph-io/badger/v4/y"
	"google.golang.org/protobuf/proto"
)

// Badger trusts the lengths in its tables before it has checked anything: one wrong
// bit there ends the process, on a goroutine that nobody can catch. So the tables
// are read here first. A table, as Badger v4 writes it without compression and
// encryption:
//
//	blocks
//	index            a flatbuffer that says where the blocks are
//	length of index  4 bytes, big-endian
//	checksum of index, a protobuf
//	length of that   4 bytes, big-endian
//
// and a block:
//
//	entries, their offsets (4 bytes each), their number (4 bytes)
//	checksum of all before it, a protobuf
//	length of that   4 bytes, big-endian

// tableState is how well a table stands.
type tableState int

// The states, from good to bad.
const (
	tableSound    tableState = 0
	tableSpoilt   tableState = 1 // some blocks are not as they were written; it can be opened
	tableUnusable tableState = 2 // it cannot be opened without danger
)

// tableReport is what was found in a table.
type tableReport struct {
	state   tableState
	spoilt  []uint64 // where the spoilt blocks end, that can be emptied
	trouble error    // what is wrong first
}

func (r *tableReport) note(state tableState, trouble error) {
	r.state = max(r.state, state)
	if r.trouble == nil {
		r.trouble = trouble
	}
}

// emptyBlock is how many bytes a block without entries and checksum has at its end:
// the number of its entries and the length of its checksum.
const emptyBlock = 4 + 4

// emptied is a copy of a table without what its spoilt blocks hold: Badger finds
// nothing there.
func (r *tableReport) emptied(b []byte) []byte {
	b = bytes.Clone(b)
	for _, end := range r.spoilt {
		clear(b[end-emptyBlock : end])
	}
	return b
}

// errTable says that bytes of a table do not fit together.
var errTable = errors.New("lengths do not fit, or a checksum differs")

// readTables tells how well the tables stand that a store lists, by the worst of them,
// and what is wrong with that. Whether the list itself can be read, and the tables are
// there, Badger says.
func readTables(store string) (worst tableState, trouble error) {
	listed, err := listedTables(store)
	if err != nil {
		return tableSound, nil
	}
	for id, how := range listed {
		if how.Compression != options.None || how.KeyID != 0 {
			continue // not of our making
		}
		name := table.NewFilename(id, store)
		content, err := os.ReadFile(name)
		if err != nil {
			continue
		}
		if r := readTable(content); r.state > worst {
			worst, trouble = r.state, fmt.Errorf("table %s: %w", filepath.Base(name), r.trouble)
		}
	}
	return worst, trouble
}

// listedTables reads which tables a store lists.
func listedTables(store string) (map[uint64]badger.TableManifest, error) {
	f, err := os.Open(filepath.Join(store, badger.ManifestFilename))
	if err != nil {
		return nil, err
	}
	list, _, err := badger.ReplayManifestFile(f, 0, Options{}.badger())
	return list.Tables, errors.Join(err, f.Close())
}

// errUnlisted says that there are tables and nothing lists them.
var errUnlisted = errors.New("there are tables, and the file MANIFEST that lists them is not there")

// keepUnlisted links the tables aside that a store does not list: Badger removes them
// when it opens the store, also when its list has lost its end. A crash while a table is
// being made leaves such tables too, and then nothing of them is missing: forgetUnlisted.
// Without a list there is nothing to open.
func keepUnlisted(dir string) error {
	store := filepath.Join(dir, badgerDir)
	names, err := filepath.Glob(filepath.Join(store, "*.sst"))
	if err != nil || len(names) == 0 {
		return err
	}
	listed, err := listedTables(store)
	if errors.Is(err, fs.ErrNotExist) {
		return errUnlisted
	}
	if err != nil {
		return nil // Badger refuses to open it
	}
	aside := filepath.Join(dir, unlistedDir)
	for _, name := range names {
		id, named := table.ParseFileID(filepath.Base(name))
		if _, found := listed[id]; found || !named {
			continue
		}
		if err := os.MkdirAll(aside, 0o700); err != nil {
			return err
		}
		if err := os.Link(name, filepath.Join(aside, filepath.Base(name))); err != nil && !errors.Is(err, fs.ErrExist) {
			return err
		}
	}
	return nil
}

// forgetUnlisted removes what keepUnlisted has kept, once the journal holds everything.
func forgetUnlisted(dir string) error { return os.RemoveAll(filepath.Join(dir, unlistedDir)) }

func readTable(b []byte) (r tableReport) {
	blocks, index, err := readIndex(b)
	if err != nil {
		r.note(tableUnusable, err)
		return r
	}
	var at fb.BlockOffset
	count := index.OffsetsLength()
	for n := range count {
		index.Offsets(&at, n)
		from, to := uint64(at.Offset()), uint64(at.Offset())+uint64(at.Len())
		if to > uint64(len(blocks)) {
			r.note(tableUnusable, fmt.Errorf("block %d: %w", n, errTable))
			continue
		}
		if err := readBlock(blocks[from:to]); err == nil {
			continue
		}
		r.note(tableSpoilt, fmt.Errorf("block %d: %w", n, errTable))
		if n == count-1 || at.Len() < emptyBlock {
			r.note(tableUnusable, nil) // Badger reads the last one when it opens the table
		}
		r.spoilt = append(r.spoilt, to)
	}
	return r
}

// readIndex finds the index of a table, and the blocks before it.
func readIndex(b []byte) (blocks []byte, index *fb.TableIndex, err error) {
	b, check, err := cutChecksum(b)
	if err != nil {
		return nil, nil, fmt.Errorf("its end: %w", err)
	}
	b, size, err := cutLength(b)
	if err != nil || size > len(b) {
		return nil, nil, fmt.Errorf("its index: %w", errTable)
	}
	blocks, indexed := b[:len(b)-size], b[len(b)-size:]
	if size == 0 { // of a file of nothing but zeros every checksum is right
		return nil, nil, fmt.Errorf("its index: %w", errTable)
	}
	if err := y.VerifyChecksum(indexed, check); err != nil {
		return nil, nil, fmt.Errorf("its index: %w", errTable)
	}
	return blocks, fb.GetRootAsTableIndex(indexed, 0), nil
}

func readBlock(b []byte) error {
	data, check, err := cutChecksum(b)
	if err != nil {
		return err
	}
	if err := y.VerifyChecksum(data, check); err != nil {
		return errTable
	}
	return nil
}

// cutChecksum takes a checksum and its length off the end.
func cutChecksum(b []byte) (rest []byte, check *pb.Checksum, err error) {
	b, size, err := cutLength(b)
	if err != nil || size > len(b) {
		return nil, nil, errTable
	}
	check = &pb.Checksum{}
	if err := proto.Unmarshal(b[len(b)-size:], check); err != nil {
		return nil, nil, errTable
	}
	if check.GetAlgo() != pb.Checksum_CRC32C && check.GetAlgo() != pb.Checksum_XXHash64 {
		return nil, nil, errTable // Badger panics on others
	}
	return b[:len(b)-size], check, nil
}

// cutLength takes four bytes off the end.
func cutLength(b []byte) (rest []byte, length int, err error) {
	if len(b) < 4 {
		return nil, 0, errTable
	}
	n := binary.BigEndian.Uint32(b[len(b)-4:])
	if uint64(n) > uint64(len(b)) {
		return nil, 0, errTable
	}
	return b[:len(b)-4], int(n), nil
}
