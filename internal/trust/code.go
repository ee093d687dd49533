package trust

import (
	"bytes"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"strings"
	"time"

	"bayround/internal/fault"
)

const (
	codeLasts  = 15 * time.Minute
	codeTries  = 5
	codeLength = 16 // of 5 bits each
	codeGroup  = 4
)

// letters are those of Crockford's base 32: none that is easily taken for another.
const letters = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

// newCode draws a code.
func newCode() (string, error) {
	draw := make([]byte, codeLength)
	if _, err := rand.Read(draw); err != nil {
		return "", fmt.Errorf("draw a code: %w", err)
	}
	for i, b := range draw {
		draw[i] = letters[b%32] // 256 is a multiple of 32: all are equally likely
	}
	return string(draw), nil
}

// SpellCode is a code as people are shown it, in groups.
func SpellCode(code string) string {
	var groups []string
	for ; len(code) > codeGroup; code = code[codeGroup:] {
		groups = append(groups, code[:codeGroup])
	}
	return strings.Join(append(groups, code), "-")
}

// ReadCode reads a code as people type it: in any case, with or without hyphens and
// blanks, O for 0, I and L for 1.
func ReadCode(typed string) (string, error) {
	code := strings.NewReplacer("-", "", " ", "", "O", "0", "I", "1", "L", "1").Replace(strings.ToUpper(strings.TrimSpace(typed)))
	if len(code) != codeLength || strings.Trim(code, letters) != "" {
		return "", fault.New(fault.Invalid, "ENROL_CODE_MALFORMED", "this is no code; one is %d letters and digits, as server enrol shows it", codeLength)
	}
	return code, nil
}

// macKey is the key that a code gives.
func macKey(code string) []byte {
	sum := sha256.Sum256([]byte("bayround enrolment code 1\n" + code))
	return sum[:]
}

// macOf proves that its maker has a code: for a device, a certificate request and
// the station's certificate on this very connection.
func macOf(key []byte, device string, request, stationSPKI []byte) []byte {
	m := hmac.New(sha256.New, key)
	for _, part := range [][]byte{[]byte(device), request, stationSPKI} {
		m.Write(binary.BigEndian.AppendUint32(nil, uint32(len(part)))) //nolint:gosec // bounded by the contract
		m.Write(part)
	}
	return m.Sum(nil)
}

// code is a code that is open, or was.
type code struct {
	Device string    `json:"device"`
	Key    []byte    `json:"key"`    // of its MAC: a hash of the code
	Opened time.Time `json:"opened"` // by the station's clock
	Tries  int       `json:"tries"`  // that were wrong
	// Request is the SHA-256 of the certificate request that used it, and Certificate
	// what that was given: an answer that was lost can be asked for again.
	Request     []byte `json:"request,omitempty"`
	Certificate []byte `json:"certificate,omitempty"`
}

// over tells that a code can be used no more. A clock that was set back ends it, too.
func (c *code) over(now time.Time) bool {
	return now.Before(c.Opened) || !now.Before(c.Opened.Add(codeLasts))
}

// attempt is what a tablet shows.
type attempt struct {
	device       string
	request, mac []byte
	spkis        [][]byte // of the station's certificates that a connection may have seen
}

// fits tells whether an attempt was made with the code.
func (c *code) fits(a attempt) bool {
	fits := false
	for _, spki := range a.spkis {
		fits = hmac.Equal(macOf(c.Key, a.device, a.request, spki), a.mac) || fits
	}
	return fits
}

// usedBy tells whether an attempt is the one that used the code.
func (c *code) usedBy(a attempt) bool {
	sum := sha256.Sum256(a.request)
	return c.Certificate != nil && bytes.Equal(c.Request, sum[:])
}

// refuse says why an attempt is refused; nil when the code is good for it. It
// counts a wrong one: what is counted must be on disk before the answer is given.
func (c *code) refuse(a attempt, now time.Time) *fault.Fault {
	switch {
	case c == nil:
		return fault.New(fault.Unidentified, "ENROL_CODE_NONE", "no code is open for %q; run server enrol %s at the station", a.device, a.device)
	case c.over(now):
		return fault.New(fault.Unidentified, "ENROL_CODE_EXPIRED", "the code for %q is older than %d minutes; run server enrol %s again", a.device, int(codeLasts.Minutes()), a.device)
	case c.Tries >= codeTries:
		return fault.New(fault.Unidentified, "ENROL_CODE_SPENT", "%d wrong codes were tried for %q; run server enrol %s again, and find out who tried", codeTries, a.device, a.device)
	case !c.fits(a):
		c.Tries++
		return fault.New(fault.Unidentified, "ENROL_CODE_WRONG", "this is not the code for %q; %s", a.device, triesLeft(codeTries-c.Tries))
	case c.Certificate != nil && !c.usedBy(a):
		return fault.New(fault.Unidentified, "ENROL_CODE_USED", "the code for %q was used; run server enrol %s again. If this tablet did not use it, revoke the one that did", a.device, a.device)
	}
	return nil
}

func triesLeft(n int) string {
	switch n {
	case 0:
		return "no try is left: run server enrol again"
	case 1:
		return "1 try is left"
	}
	return fmt.Sprintf("%d tries are left", n)
}
