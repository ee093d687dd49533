package access

import (
	"bytes"
	"encoding/hex"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bayround/internal/fault"
)

func TestMAC_PublishedVectors(t *testing.T) {
	for _, tc := range []struct{ source, key, text, want string }{
		{"RFC 4231, test case 1", strings.Repeat("\x0b", 20), "Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"},
		{"RFC 4231, test case 2", "Jefe", "what do ya want for nothing?", "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"},
	} {
		if got := hex.EncodeToString(mac([]byte(tc.key), tc.text)); got != tc.want {
			t.Errorf("%s: %s, want %s", tc.source, got, tc.want)
		}
	}
}

func openBadges(t *testing.T, file string) *Badges {
	t.Helper()
	b, err := OpenBadges(file)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func refusedBadge(t *testing.T, b *Badges, badge, reason string) {
	t.Helper()
	_, err := b.Of(badge)
	var f *fault.Fault
	if !errors.As(err, &f) || f.Reason != reason {
		t.Errorf("%q: %v, want %s", badge, err, reason)
	}
	if badge != "" && err != nil && strings.Contains(err.Error(), badge) {
		t.Errorf("the refusal tells the badge: %v", err)
	}
}

// A key is drawn once, lies in a file of its owner's alone, and a tablet hashes by its
// station's.
func TestBadges_AreHashedByOneKey(t *testing.T) {
	file := filepath.Join(t.TempDir(), "badge.key")
	b := openBadges(t, file)
	refusedBadge(t, b, "WN-0012345", "BADGE_NO_KEY")
	if err := b.Draw(bytes.NewReader(bytes.Repeat([]byte{7}, badgeKeyLength))); err != nil {
		t.Fatal(err)
	}
	if err := b.Draw(strings.NewReader("")); err != nil {
		t.Errorf("drawn again: %v", err)
	}
	info, err := os.Stat(file)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v", info.Mode(), err)
	}
	want, err := b.Of("WN-0012345")
	if err != nil {
		t.Fatal(err)
	}
	tablet := openBadges(t, filepath.Join(t.TempDir(), "badge.key"))
	for _, wrong := range [][]byte{nil, []byte("short")} {
		if err := tablet.Take(wrong); err != nil || tablet.Key() != nil {
			t.Errorf("took %q: %v", wrong, err)
		}
	}
	if err := tablet.Take(b.Key()); err != nil {
		t.Fatal(err)
	}
	for name, again := range map[string]*Badges{"opened again": openBadges(t, file), "the tablet": openBadges(t, tablet.file)} {
		if got, err := again.Of("WN-0012345"); err != nil || got != want {
			t.Errorf("%s: %s, %v, want %s", name, got, err, want)
		}
	}
	if other, err := b.Of("WN-0012346"); err != nil || other == want {
		t.Errorf("another badge: %s, %v", other, err)
	}
}

func TestBadges_WhatIsNone(t *testing.T) {
	b := &Badges{key: make([]byte, badgeKeyLength)}
	for _, badge := range []string{"", "A1234", strings.Repeat("A", 65), "WN 00123", "WN-0012\x00", "WN-00é12", "2468", "246813", "12345678"} {
		refusedBadge(t, b, badge, "BADGE_MALFORMED")
	}
	for _, badge := range []string{"A12345", "123456789", strings.Repeat("A", 64), "a.b_c:d-9"} {
		if _, err := b.Of(badge); err != nil {
			t.Errorf("%q: %v", badge, err)
		}
	}
}

func TestOpenBadges_RefusesASpoiltKey(t *testing.T) {
	for _, content := range []string{"", "00\n", strings.Repeat("g", 64) + "\n", strings.Repeat("0", 66) + "\n"} {
		file := filepath.Join(t.TempDir(), "badge.key")
		if err := os.WriteFile(file, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := OpenBadges(file); !fault.Is(err, fault.Lost) {
			t.Errorf("%q: %v", content, err)
		}
	}
}
