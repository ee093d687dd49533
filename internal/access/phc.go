package access

import (
	"encoding/base64"
	"errors"
	"fmt"
	"regexp"
	"strconv"

	"golang.org/x/crypto/argon2"
)

// cost is what a hash takes: memory, passes and lanes.
type cost struct {
	memoryKiB uint32
	passes    uint32
	lanes     uint8
}

// usual is what new hashes take (OWASP's least for Argon2id).
var usual = cost{memoryKiB: 19456, passes: 2, lanes: 1}

// Lengths of new salts and hashes, in bytes.
const (
	saltLength = 16
	hashLength = 32
)

// The most that a hash read from the record may take. A tablet has little
// memory, and whoever can write the record must not be able to exhaust it.
const (
	mostMemoryKiB = 65536
	mostPasses    = 10
	mostLanes     = 4
)

// phc is a PHC string taken apart.
type phc struct {
	cost
	salt, hash []byte
}

var phcPattern = regexp.MustCompile(`^\$argon2id\$v=19\$m=([0-9]{1,7}),t=([0-9]{1,3}),p=([0-9]{1,3})\$([A-Za-z0-9+/]{11,86})\$([A-Za-z0-9+/]{22,86})$`)

var errHash = errors.New("this is no hash of a PIN that can be used here")

// parsePHC reads a PHC string of Argon2id, version 19.
func parsePHC(text string) (phc, error) {
	parts := phcPattern.FindStringSubmatch(text)
	if parts == nil {
		return phc{}, fmt.Errorf("%w: it does not read $argon2id$v=19$m=…,t=…,p=…$salt$hash", errHash)
	}
	var numbers [3]uint64
	for i, text := range parts[1:4] {
		n, err := strconv.ParseUint(text, 10, 32)
		if err != nil {
			return phc{}, fmt.Errorf("%w: %w", errHash, err)
		}
		numbers[i] = n
	}
	if m, t, p := numbers[0], numbers[1], numbers[2]; m > mostMemoryKiB || t == 0 || t > mostPasses || p == 0 || p > mostLanes || m < 8*p {
		return phc{}, fmt.Errorf("%w: it takes m=%d,t=%d,p=%d; at most m=%d,t=%d,p=%d are worked out", errHash, m, t, p, mostMemoryKiB, mostPasses, mostLanes)
	}
	h := phc{cost: cost{uint32(numbers[0]), uint32(numbers[1]), uint8(numbers[2])}}
	var err error
	if h.salt, err = base64.RawStdEncoding.Strict().DecodeString(parts[4]); err != nil {
		return phc{}, fmt.Errorf("%w: its salt: %w", errHash, err)
	}
	if h.hash, err = base64.RawStdEncoding.Strict().DecodeString(parts[5]); err != nil {
		return phc{}, fmt.Errorf("%w: its hash: %w", errHash, err)
	}
	return h, nil
}

// String is the PHC string.
func (h phc) String() string {
	b64 := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, h.memoryKiB, h.passes, h.lanes,
		b64.EncodeToString(h.salt), b64.EncodeToString(h.hash))
}

// of works out the hash of a password at the cost and salt of h.
func (h phc) of(password string) []byte {
	return argon2.IDKey([]byte(password), h.salt, h.passes, h.memoryKiB, h.lanes, uint32(len(h.hash)))
}
