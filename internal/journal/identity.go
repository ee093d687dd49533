package journal

import (
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"

	"bayround/internal/fault"
)

// formatVersion is the version of everything in a journal's directory that this code
// reads and writes, Badger's files among it: what changes any of it raises this number.
const formatVersion = 1

// identity is what the format record says: which journal this is and whose
// signature its checkpoints bear.
type identity struct {
	id          string // 32 lower-case hex digits
	verifierKey string // as note.NewVerifier reads it
}

func newIdentity(verifierKey string) identity {
	var b [16]byte
	rand.Read(b[:]) // never fails, see crypto/rand
	return identity{id: hex.EncodeToString(b[:]), verifierKey: verifierKey}
}

func (i identity) encode() []byte {
	return fmt.Appendf(nil, "bayround journal %d\nid %s\nkey %s\n", formatVersion, i.id, i.verifierKey)
}

func (i identity) verifier() (note.Verifier, error) {
	return note.NewVerifier(i.verifierKey)
}

// parseIdentity accepts exactly what encode writes. Of a newer format it
// reads the version only, whatever may follow. where is what holds it, for the error.
func parseIdentity(where string, b []byte) (identity, error) {
	first, rest, _ := strings.Cut(string(b), "\n")
	digits, ours := strings.CutPrefix(first, "bayround journal ")
	version, err := strconv.ParseUint(digits, 10, 32)
	if !ours || err != nil || version == 0 {
		return identity{}, lost("FORMAT_UNREADABLE", "the format record of the journal cannot be read: %.60q", first)
	}
	if version > formatVersion {
		return identity{}, fault.Newer("FORMAT_NEWER", where, version, formatVersion)
	}
	fields := regexp.MustCompile(`^id ([0-9a-f]{32})\nkey ([^\n]+)\n$`).FindStringSubmatch(rest)
	if fields == nil {
		return identity{}, lost("FORMAT_UNREADABLE", "the format record of the journal names no id and key")
	}
	i := identity{id: fields[1], verifierKey: fields[2]}
	if _, err := i.verifier(); err != nil {
		return identity{}, lost("FORMAT_UNREADABLE", "the key in the format record of the journal cannot be read").Because(err)
	}
	if string(i.encode()) != string(b) {
		return identity{}, lost("FORMAT_UNREADABLE", "the format record of the journal is not as it was written")
	}
	return i, nil
}
