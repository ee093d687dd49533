package access

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"regexp"
	"strings"
	"sync"

	"bayround/internal/durable"
	"bayround/internal/fault"
)

// badgeKeyLength is that of the key by which badges are hashed, in bytes.
const badgeKeyLength = 32

// badgePattern is what a reader types of a badge; what could be a PIN is none.
var badgePattern = regexp.MustCompile(`^[A-Za-z0-9._:-]{6,64}$`)

// Badges hashes what a reader types of a badge, by a key that lies in a file: 64 hex digits
// and a line end. Its methods may be called from any goroutine.
type Badges struct {
	file string

	mu  sync.Mutex
	key []byte // guarded by mu; nil while there is none
}

// OpenBadges opens the key kept in a file; there need not be one yet.
func OpenBadges(file string) (*Badges, error) {
	b := &Badges{file: file}
	text, err := os.ReadFile(file)
	if errors.Is(err, fs.ErrNotExist) {
		return b, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read the key of badges: %w", err)
	}
	b.key, err = hex.DecodeString(strings.TrimSuffix(string(text), "\n"))
	if err != nil || len(b.key) != badgeKeyLength {
		return nil, fault.New(fault.Lost, "BADGE_KEY_UNREADABLE",
			"%s, by which badges are hashed, is not whole; put it back from a copy, or remove it and have all badges hashed anew", file).Because(err)
	}
	return b, nil
}

// Draw makes a key where there is none.
func (b *Badges) Draw(rand io.Reader) error {
	key := make([]byte, badgeKeyLength)
	if b.Key() != nil {
		return nil
	}
	if _, err := io.ReadFull(rand, key); err != nil {
		return fmt.Errorf("draw a key for badges: %w", err)
	}
	return b.Take(key)
}

// Take takes another's key: a tablet that of its station.
func (b *Badges) Take(key []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(key) != badgeKeyLength || hmac.Equal(key, b.key) {
		return nil
	}
	if err := durable.Replace(b.file, fmt.Appendf(nil, "%x\n", key)); err != nil {
		return fmt.Errorf("keep the key of badges: %w", err)
	}
	b.key = append([]byte(nil), key...)
	return nil
}

// Key is the key; nil while there is none.
func (b *Badges) Key() []byte {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.key
}

// Of is the hash of a badge in hex. It refuses in a fault what no badge reads like, and
// everything while there is no key.
func (b *Badges) Of(badge string) (string, error) {
	if !badgePattern.MatchString(badge) || checkPIN(badge) == nil {
		return "", fault.New(fault.Invalid, "BADGE_MALFORMED", "a badge reads as 6 to 64 letters, digits and marks (-_.:), and not as a PIN; read it again")
	}
	key := b.Key()
	if key == nil {
		return "", fault.New(fault.Precondition, "BADGE_NO_KEY", "badges are not known here yet: connect the tablet to its station once, or choose the name")
	}
	return hex.EncodeToString(mac(key, badge)), nil
}

func mac(key []byte, badge string) []byte {
	h := hmac.New(sha256.New, key)
	h.Write([]byte(badge))
	return h.Sum(nil)
}
