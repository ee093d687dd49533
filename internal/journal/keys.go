package journal

import (
	"encoding/binary"
	"errors"
	"strings"
)

// The names of the single records and the prefixes of the many; doc.go lays
// them out byte by byte.
const (
	formatKey     = "format"
	headKey       = "head"
	rowsKey       = "rows"
	eventPrefix   = "e/"
	hashPrefix    = "h/"
	commandPrefix = "c/"
	rowPrefix     = "p/"
	apartPrefix   = "a/"
	erasedPrefix  = "x/"
	droppedKey    = "dropped"
	pruningKey    = "pruning"
	spansPrefix   = "d/"
	owedPrefix    = "q/"
)

// rowVersionBytes is what follows the name in the key of a row: 0x00 and the
// inverted sequence number.
const rowVersionBytes = 1 + 8

// errRowKey says that a stored key does not have the layout of a row key.
var errRowKey = errors.New("not the key of a row")

func eventKey(seq uint64) []byte {
	return binary.BigEndian.AppendUint64([]byte(eventPrefix), seq)
}

func hashKey(index int64) []byte {
	return binary.BigEndian.AppendUint64([]byte(hashPrefix), uint64(index))
}

func commandKey(id string) []byte {
	return []byte(commandPrefix + id)
}

func apartKey(digest [32]byte) []byte {
	return append([]byte(apartPrefix), digest[:]...)
}

func erasedKey(digest [32]byte) []byte {
	return append([]byte(erasedPrefix), digest[:]...)
}

// digestOfKey is the inverse of apartKey and erasedKey.
func digestOfKey(k []byte) (digest [32]byte, err error) {
	if len(k) != len(apartPrefix)+len(digest) {
		return digest, lost("APART_CHANGED", "the key %.60q names nothing that can stand apart; restore the journal from a backup or a copy", k)
	}
	return [32]byte(k[len(apartPrefix):]), nil
}

// pieceKey is the key of a piece of something that is too large for one value.
func pieceKey(prefix string, generation, piece uint64) []byte {
	return binary.BigEndian.AppendUint64(binary.BigEndian.AppendUint64([]byte(prefix), generation), piece)
}

// rowKey inverts seq so that the newest version of a row sorts first.
func rowKey(key string, seq uint64) []byte {
	k := make([]byte, 0, len(rowPrefix)+len(key)+rowVersionBytes)
	k = append(k, rowPrefix...)
	k = append(k, key...)
	return binary.BigEndian.AppendUint64(append(k, 0), ^seq)
}

// pastRow is the first key behind all versions of a row: no byte of a row's
// name is 0x00, so every other name that begins with this one sorts at or
// after it.
func pastRow(key string) []byte {
	return []byte(rowPrefix + key + "\x01")
}

// splitRowKey is the inverse of rowKey.
func splitRowKey(k []byte) (key string, seq uint64, err error) {
	rest, found := strings.CutPrefix(string(k), rowPrefix)
	end := len(rest) - rowVersionBytes
	if !found || end < 1 || strings.IndexByte(rest, 0) != end {
		return "", 0, errRowKey
	}
	return rest[:end], ^binary.BigEndian.Uint64([]byte(rest[end+1:])), nil
}
