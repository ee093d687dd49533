package main

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"bayround/internal/command"
	"bayround/internal/spoil"
)

// Whatever happens to a file of a backup, or to an export: it is refused, and nothing is
// restored from it.
func TestDamage_OfABackupAndAnExportIsRefused(t *testing.T) {
	data, folder := t.TempDir(), t.TempDir()
	s := serving(t, data)
	must(t, "apply", county(t), "--server", s.address)
	older, sound := filepath.Join(folder, "older"), filepath.Join(folder, "sound")
	must(t, "backup", "--to", older, "--data", data, "--server", s.address)
	recordPhotos(t, s.address)
	must(t, "backup", "--to", sound, "--data", data, "--server", s.address)
	s.stop()

	seed := rand.Uint64()
	if text := os.Getenv("BAYROUND_SEED"); text != "" {
		seed, _ = strconv.ParseUint(text, 10, 64)
	}
	t.Logf("BAYROUND_SEED=%d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	kinds, files := spoil.Kinds(), filesIn(t, sound)
	counted := map[string]int{}
	for n := range damages(t, 30) {
		copied := filepath.Join(t.TempDir(), "backup")
		if err := os.CopyFS(copied, os.DirFS(sound)); err != nil {
			t.Fatal(err)
		}
		kind, file := kinds[r.IntN(len(kinds))], files[r.IntN(len(files))]
		said, err := spoil.File(r, kind, filepath.Join(copied, file), older)
		if err != nil {
			t.Fatal(err)
		}
		if said == "" {
			continue
		}
		counted[kind]++
		lines := [][]string{{"backup", "verify", copied}, {"restore", "--from", copied, "--data", filepath.Join(folder, "restored")}}
		if file == recordName && kind != spoil.Removed && kind != spoil.Older { // an older export is a sound one
			lines = append(lines, []string{"verify-export", filepath.Join(copied, file)})
		}
		for _, line := range lines {
			if got := do(t, line...); got.code != command.ExitDamaged && got.code != command.ExitRefused && got.code != command.ExitMisused || got.err == "" {
				t.Errorf("damage %d, %s: %q: exit code %d\n%s%s", n, said, line, got.code, got.out, got.err)
			}
		}
		if _, err := os.Stat(filepath.Join(folder, "restored", "JOURNAL")); err == nil {
			t.Fatalf("damage %d, %s: something was restored", n, said)
		}
	}
	t.Logf("refused: %v", counted)
}

// damages is how many to do; BAYROUND_DAMAGES says it to who has more time.
func damages(t *testing.T, otherwise int) int {
	t.Helper()
	text := os.Getenv("BAYROUND_DAMAGES")
	if text == "" {
		return otherwise
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		t.Fatalf("BAYROUND_DAMAGES=%q, want a number from 1", text)
	}
	return n
}
