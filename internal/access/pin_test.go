package access

import (
	"bytes"
	"crypto/rand"
	"errors"
	"regexp"
	"strings"
	"testing"
	"testing/iotest"

	"bayround/internal/fault"
)

// contract is the pattern of Person.pin_argon2id.
var contract = regexp.MustCompile(`^(\$argon2id\$v=19\$m=[0-9]{1,7},t=[0-9]{1,3},p=[0-9]{1,3}\$[A-Za-z0-9+/]{11,86}\$[A-Za-z0-9+/]{22,86})?$`)

func TestHash_IsWhatTheContractAndTheCostSay(t *testing.T) {
	first, err := Hash("2468", rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	second, err := Hash("2468", rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	if !contract.MatchString(first) || !strings.HasPrefix(first, "$argon2id$v=19$m=19456,t=2,p=1$") {
		t.Errorf("the hash reads %s", first)
	}
	if first == second {
		t.Error("two hashes of one PIN are alike: the salt does not come from the random source")
	}
	for pin, want := range map[string]bool{"2468": true, "2469": false, "24680": false, "": false} {
		if same, err := matches(pin, first); same != want || err != nil {
			t.Errorf("PIN %q matches: %t (%v), want %t", pin, same, err, want)
		}
	}
}

func TestHash_RefusesTrivialAndMalformedPINs(t *testing.T) {
	for _, tc := range []struct{ pin, reason string }{
		{"0000", "PIN_TRIVIAL"},
		{"77777777", "PIN_TRIVIAL"},
		{"1234", "PIN_TRIVIAL"},
		{"123456", "PIN_TRIVIAL"},
		{"7890", "PIN_TRIVIAL"},
		{"4321", "PIN_TRIVIAL"},
		{"0987", "PIN_TRIVIAL"},
		{"1212", "PIN_TRIVIAL"},
		{"69696969", "PIN_TRIVIAL"},
		{"1987", "PIN_TRIVIAL"},
		{"2001", "PIN_TRIVIAL"},
		{"246", "PIN_MALFORMED"},
		{"246813579", "PIN_MALFORMED"},
		{"24a8", "PIN_MALFORMED"},
		{"２468", "PIN_MALFORMED"},
		{"", "PIN_MALFORMED"},
		{"2468", ""},
		{"198701", ""},
		{"121213", ""},
		{"90210", ""},
	} {
		_, err := Hash(tc.pin, bytes.NewReader(make([]byte, saltLength)))
		var f *fault.Fault
		if got := errors.As(err, &f); got != (tc.reason != "") || got && f.Reason != tc.reason {
			t.Errorf("PIN %q: %v, want reason %q", tc.pin, err, tc.reason)
		}
	}
}

func TestHash_TellsWhenThereIsNoRandomness(t *testing.T) {
	dry := errors.New("dry")
	if _, err := Hash("2468", iotest.ErrReader(dry)); !errors.Is(err, dry) {
		t.Errorf("got %v", err)
	}
	if _, err := Hash("2468", strings.NewReader("short")); err == nil {
		t.Error("half a salt was taken")
	}
}

func TestMatches_AnUnusableHashMatchesNothing(t *testing.T) {
	// The stand-in's hash is all zeroes; nothing that can be typed has it, and no
	// broken hash may fall back to it.
	for _, hash := range []string{"", "$argon2id$broken", "$argon2id$v=19$m=9999999,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4"} {
		same, err := matches("2468", hash)
		if same || (err == nil) != (hash == "") {
			t.Errorf("hash %q: matches %t, %v", hash, same, err)
		}
	}
}
