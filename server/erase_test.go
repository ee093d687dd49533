package main

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"bayround/internal/command"
)

func TestErase_TakesTheNameAndSaysWhatIsLeft(t *testing.T) {
	data := t.TempDir()
	p := serving(t, data)
	t.Setenv("BAYROUND_SERVER", p.address)
	must(t, "apply", county(t))
	names := filepath.Join(t.TempDir(), "people.yaml")
	// Invented, like everybody of the county.
	if err := os.WriteFile(names, []byte("people:\n  - {name: people/leaving, title: Ottoline Quillfeather, roles: [ROLE_DRIVER]}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	must(t, "apply", names)
	if len(filesWith(t, data, "Quillfeather")) == 0 {
		t.Fatal("the name is in no file: this test would see nothing")
	}
	for _, tc := range []struct {
		why  string
		args []string
		code int
		says string
	}{
		{"nobody named", []string{"erase"}, command.ExitMisused, "name one person"},
		{"nobody to answer for it", []string{"erase", "leaving", "--reason", "left"}, command.ExitMisused, "--by"},
		{"no reason", []string{"erase", "leaving", "--by", "tolveck"}, command.ExitMisused, "--reason"},
		{"by oneself", []string{"erase", "tolveck", "--by", "tolveck", "--reason", "left"}, command.ExitRefused, "somebody else"},
		{"by a driver", []string{"erase", "leaving", "--by", "venholt", "--reason", "left"}, command.ExitRefused, "Isra Venholt is no administrator"},
		{"nobody of that name", []string{"erase", "nobody", "--by", "tolveck", "--reason", "left"}, command.ExitRefused, "people/nobody"},
	} {
		t.Run(tc.why, func(t *testing.T) {
			got := do(t, tc.args...)
			if got.code != tc.code {
				t.Errorf("exit code %d, want %d\n%s", got.code, tc.code, got.err)
			}
			requireIn(t, got.err, tc.says)
		})
	}
	requireIn(t, must(t, "erase", "leaving", "--by", "tolveck", "--reason", "left the service"),
		"people/leaving is erased, recorded as event ", "cannot be undone", "backups and exports")
	if in := filesWith(t, data, "Quillfeather"); len(in) > 0 {
		t.Errorf("while the station runs the name stands in %v", in)
	}
	got := do(t, "apply", names)
	if got.code != command.ExitRefused {
		t.Errorf("applied again: exit code %d\n%s", got.code, got.err)
	}
	requireIn(t, got.err, "people/leaving was erased")
	p.stop()
	if in := filesWith(t, data, "Quillfeather"); len(in) > 0 {
		t.Errorf("when the station has stopped the name stands in %v", in)
	}
	requireIn(t, must(t, "verify", "--data", data), "sound")
}

// filesWith names the files below a folder that hold a word.
func filesWith(t *testing.T, folder, word string) (holding []string) {
	t.Helper()
	err := filepath.WalkDir(folder, func(path string, entry fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil // a head or a table was replaced meanwhile
		}
		if err != nil || entry.IsDir() {
			return err
		}
		content, err := os.ReadFile(path)
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if bytes.Contains(content, []byte(word)) {
			holding = append(holding, path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return holding
}
