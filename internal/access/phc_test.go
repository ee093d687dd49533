package access

import (
	"encoding/hex"
	"testing"
)

// The encoded strings that Argon2's reference implementation holds itself to:
// P-H-C/phc-winner-argon2, src/test.c, the cases of Argon2id version 0x13. (The
// vector of RFC 9106, section 5.3, takes a secret and associated data, which a
// PHC string has not; golang.org/x/crypto/argon2 is held to it by its own test.)
func TestPHC_AgreesWithTheReferenceImplementation(t *testing.T) {
	for _, tc := range []struct{ source, password, hash, encoded string }{
		{
			"t=2 m=2^16 p=1", "password", "09316115d5cf24ed5a15a31a3ba326e5cf32edc24702987c02b6566f61913cf7",
			"$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
		},
		{
			"t=2 m=2^8 p=1", "password", "9dfeb910e80bad0311fee20f9c0e2b12c17987b4cac90c2ef54d5b3021c68bfe",
			"$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4",
		},
		{
			"t=2 m=2^8 p=2", "password", "6d093c501fd5999645e0ea3bf620d7b8be7fd2db59c20d9fff9539da2bf57037",
			"$argon2id$v=19$m=256,t=2,p=2$c29tZXNhbHQ$bQk8UB/VmZZF4Oo79iDXuL5/0ttZwg2f/5U52iv1cDc",
		},
		{
			"t=1 m=2^16 p=1", "password", "f6a5adc1ba723dddef9b5ac1d464e180fcd9dffc9d1cbf76cca2fed795d9ca98",
			"$argon2id$v=19$m=65536,t=1,p=1$c29tZXNhbHQ$9qWtwbpyPd3vm1rB1GThgPzZ3/ydHL92zKL+15XZypg",
		},
		{
			"another password", "differentpassword", "0b84d652cf6b0c4beaef0dfe278ba6a80df6696281d7e0d2891b817d8c458fde",
			"$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$C4TWUs9rDEvq7w3+J4umqA32aWKB1+DSiRuBfYxFj94",
		},
	} {
		t.Run(tc.source, func(t *testing.T) {
			h, err := parsePHC(tc.encoded)
			if err != nil {
				t.Fatal(err)
			}
			if got := h.String(); got != tc.encoded {
				t.Errorf("read and written again it is %s", got)
			}
			if got := hex.EncodeToString(h.of(tc.password)); got != tc.hash {
				t.Errorf("the hash is %s, want %s", got, tc.hash)
			}
			if same, err := matches(tc.password, tc.encoded); !same || err != nil {
				t.Errorf("the password does not match: %v", err)
			}
			if same, _ := matches(tc.password+"x", tc.encoded); same {
				t.Error("another password matches")
			}
		})
	}
}

func TestPHC_RefusesWhatATabletMustNotWorkOut(t *testing.T) {
	const salt, hash = "$c29tZXNhbHQ", "$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4"
	for why, text := range map[string]string{
		"nothing":               "",
		"another function":      "$argon2i$v=19$m=256,t=2,p=1" + salt + hash,
		"an older version":      "$argon2id$v=16$m=256,t=2,p=1" + salt + hash,
		"more memory":           "$argon2id$v=19$m=65537,t=2,p=1" + salt + hash,
		"no pass":               "$argon2id$v=19$m=256,t=0,p=1" + salt + hash,
		"too many passes":       "$argon2id$v=19$m=256,t=11,p=1" + salt + hash,
		"no lane":               "$argon2id$v=19$m=256,t=2,p=0" + salt + hash,
		"too many lanes":        "$argon2id$v=19$m=256,t=2,p=5" + salt + hash,
		"too little for a lane": "$argon2id$v=19$m=31,t=2,p=4" + salt + hash,
		"no salt":               "$argon2id$v=19$m=256,t=2,p=1$" + hash,
		"bits left over":        "$argon2id$v=19$m=256,t=2,p=1" + salt + "$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/5",
		"something behind":      "$argon2id$v=19$m=256,t=2,p=1" + salt + hash + "\n",
	} {
		if h, err := parsePHC(text); err == nil {
			t.Errorf("%s: %q was taken as %v", why, text, h.cost)
		}
	}
}

func FuzzPHC(f *testing.F) {
	f.Add("$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4")
	f.Add("$argon2id$v=19$m=0000256,t=002,p=001$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4")
	f.Add("$argon2id$$")
	f.Fuzz(func(t *testing.T, text string) {
		h, err := parsePHC(text)
		if err != nil {
			return
		}
		again, err := parsePHC(h.String())
		if err != nil || again.String() != h.String() {
			t.Errorf("%q was read as %s, which reads as %s (%v)", text, h, again, err)
		}
		if h.memoryKiB > mostMemoryKiB || h.passes > mostPasses || h.lanes > mostLanes {
			t.Errorf("%q takes more than a tablet has", text)
		}
	})
}
