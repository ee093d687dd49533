// Package spoil damages files as disks, power cuts and people do, for tests that hold
// programs to noticing it. Tests alone import it.
package spoil

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
)

// The kinds of damage to one file.
const (
	Bit     = "a bit flipped"
	Byte    = "a byte changed"
	Page    = "a page zeroed"
	Cut     = "cut short"
	Doubled = "a block doubled"
	Removed = "removed"
	Older   = "an older version"
)

// Kinds are all of them.
func Kinds() []string { return []string{Bit, Byte, Page, Cut, Doubled, Removed, Older} }

// pageBytes is a page of a disk.
const pageBytes = 4096

// File does damage of a kind to a file; older is the folder of an older copy that holds
// the file under the same name, for Older. It says what it did; nothing was done when it
// says nothing, for instance since the file is empty or there is no older version.
func File(r *rand.Rand, kind, path, older string) (said string, err error) {
	content, err := os.ReadFile(path)
	if err != nil {
		return "", err
	}
	name := filepath.Base(path)
	switch kind {
	case Removed:
		return name + ": removed", os.Remove(path)
	case Older:
		before, err := os.ReadFile(filepath.Join(older, name))
		if errors.Is(err, fs.ErrNotExist) || bytes.Equal(before, content) {
			return "", nil
		}
		return name + ": an older version in its place", errors.Join(err, os.WriteFile(path, before, 0o600))
	}
	changed, said := change(r, kind, bytes.Clone(content))
	if said == "" || bytes.Equal(changed, content) {
		return "", nil
	}
	return name + ": " + said, os.WriteFile(path, changed, 0o600)
}

// change damages content.
func change(r *rand.Rand, kind string, b []byte) (changed []byte, said string) {
	if len(b) == 0 {
		return b, ""
	}
	at := place(r, b)
	switch kind {
	case Bit:
		bit := r.IntN(8)
		b[at] ^= 1 << bit
		return b, fmt.Sprintf("bit %d of byte %d of %d flipped", bit, at, len(b))
	case Byte:
		b[at] ^= byte(1 + r.IntN(255))
		return b, fmt.Sprintf("byte %d of %d changed", at, len(b))
	case Page:
		from := at / pageBytes * pageBytes
		clear(b[from:min(from+pageBytes, len(b))])
		return b, fmt.Sprintf("page at byte %d of %d zeroed", from, len(b))
	case Cut:
		return b[:at], fmt.Sprintf("cut to %d of %d bytes", at, len(b))
	case Doubled:
		from := at / pageBytes * pageBytes
		block := bytes.Clone(b[from:min(from+pageBytes, len(b))])
		return bytes.Join([][]byte{b[:from], block, b[from:]}, nil), fmt.Sprintf("block at byte %d of %d doubled", from, len(b))
	}
	return b, ""
}

// place chooses where. Much of a store's files is nothing but zeros, where little can be
// spoilt, and what matters most stands at the ends.
func place(r *rand.Rand, b []byte) int {
	written := len(bytes.TrimRight(b, "\x00"))
	switch {
	case written == 0 || r.IntN(8) == 0:
		return r.IntN(len(b))
	case r.IntN(3) == 0:
		return written - 1 - r.IntN(min(written, pageBytes))
	}
	return r.IntN(written)
}
