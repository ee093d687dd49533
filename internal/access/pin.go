package access

import (
	"crypto/subtle"
	"fmt"
	"io"
	"strings"

	"bayround/internal/fault"
)

// A PIN has this many digits.
const (
	leastDigits = 4
	mostDigits  = 8
)

// Hash makes the PHC string of a PIN, with a salt read from rand. It refuses
// what is not four to eight digits, and what everybody tries first.
func Hash(pin string, rand io.Reader) (string, error) {
	if err := checkPIN(pin); err != nil {
		return "", err
	}
	if why := trivial(pin); why != "" {
		return "", fault.New(fault.Invalid, "PIN_TRIVIAL", "%s is tried first by everybody; choose another PIN", why)
	}
	h := phc{cost: usual, salt: make([]byte, saltLength), hash: make([]byte, hashLength)}
	if _, err := io.ReadFull(rand, h.salt); err != nil {
		return "", fmt.Errorf("draw a salt: %w", err)
	}
	h.hash = h.of(pin)
	return h.String(), nil
}

// checkPIN refuses what is no PIN at all.
func checkPIN(pin string) error {
	if len(pin) < leastDigits || len(pin) > mostDigits || strings.Trim(pin, "0123456789") != "" {
		return fault.New(fault.Invalid, "PIN_MALFORMED", "a PIN is %d to %d digits", leastDigits, mostDigits)
	}
	return nil
}

// trivial says what makes a PIN one of the first that anybody tries: one digit,
// a run up or down, or two digits in turn, and a year of somebody's birth. Empty
// when it is none of these.
func trivial(pin string) string {
	switch {
	case steady(pin, 0):
		return "one digit over and over"
	case steady(pin, 1), steady(pin, -1):
		return "a run of digits"
	case len(pin)%2 == 0 && strings.Repeat(pin[:2], len(pin)/2) == pin:
		return "two digits in turn"
	case len(pin) == 4 && (pin[:2] == "19" || pin[:2] == "20"):
		return "a year"
	}
	return ""
}

// steady tells that each digit follows the one before by the same step; after 9
// comes 0.
func steady(pin string, step int) bool {
	for i := 1; i < len(pin); i++ {
		if (int(pin[i-1]-'0')+step+10)%10 != int(pin[i]-'0') {
			return false
		}
	}
	return true
}

// matches tells whether a PIN is the one that was hashed. It takes the time of
// one hash in any case: where there is no usable hash, that of a stand-in. The
// error says why a hash that is there cannot be used; nothing matches it.
func matches(pin, hash string) (same bool, unusable error) {
	h, err := parsePHC(hash)
	if err != nil {
		h = phc{cost: usual, salt: make([]byte, saltLength), hash: make([]byte, hashLength)}
	}
	same = subtle.ConstantTimeCompare(h.of(pin), h.hash) == 1 && err == nil
	if hash == "" {
		return false, nil
	}
	return same, err
}
