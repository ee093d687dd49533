package main

import (
	"os"
	"path/filepath"
	"testing"

	"bayround/internal/command"
)

// A repair asks for room before it writes; without it nothing is changed, and the station
// still serves what it has.
func TestRepair_WithoutRoomIsRefusedBeforeItWrites(t *testing.T) {
	const more = 1 << 43 // 8 TiB, more than is free anywhere; the file has a hole for it
	data, older, export, said := grownStation(t)
	for _, tc := range []struct {
		what  string
		large func(t *testing.T) string // what the disk would have to hold once more
	}{
		{"of a store", func(*testing.T) string { return filepath.Join(data, "badger", "large") }},
		{"of a copy", func(*testing.T) string { return export }},
	} {
		t.Run(tc.what, func(t *testing.T) {
			loseEnd(t, data, older)
			name := tc.large(t)
			was := sizeOf(name)
			grow(t, name, max(more, was))
			got := do(t, "repair", "--data", data, "--from", export)
			if got.code != command.ExitRefused {
				t.Errorf("exit code %d, want %d", got.code, command.ExitRefused)
			}
			requireIn(t, got.err, "the repair needs about 8388", "MiB are free there; nothing was changed: make room")
			for _, left := range []string{"repairing", "badger.new", "replacing"} {
				if _, err := os.Stat(filepath.Join(data, left)); err == nil {
					t.Errorf("%s is left", left)
				}
			}
			if was == 0 { // the store: the repair at the start needs the room, too
				s := serving(t, data)
				requireIn(t, must(t, "readiness", "t1", "--server", s.address), "lost its newest")
				requireIn(t, s.stop().err, "cannot repair itself", "the repair needs about 8388")
			}
			grow(t, name, was)
		})
	}
	requireIn(t, must(t, "repair", "--data", data, "--from", export), "repaired: ")
	wantSaid(t, data, said)
}

func sizeOf(name string) int64 {
	info, err := os.Stat(name)
	if err != nil {
		return 0
	}
	return info.Size()
}

// grow makes a file of a size, or removes it when that is nothing.
func grow(t *testing.T, name string, size int64) {
	t.Helper()
	if size == 0 {
		if err := os.Remove(name); err != nil {
			t.Fatal(err)
		}
		return
	}
	f, err := os.OpenFile(name, os.O_CREATE|os.O_WRONLY, 0o600)
	if err == nil {
		err = f.Truncate(size)
		_ = f.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
}
