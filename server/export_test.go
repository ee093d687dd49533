package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"bayround/internal/command"
)

func TestExport_ProvesItselfWithoutAStation(t *testing.T) {
	data, folder := t.TempDir(), t.TempDir()
	s := serving(t, data)
	must(t, "apply", county(t), "--server", s.address)
	must(t, "play", round(t, "09-t1-before-tow.yaml"), "--server", s.address)
	online, offline, newer := filepath.Join(folder, "online"), filepath.Join(folder, "offline"), filepath.Join(folder, "newer")
	requireIn(t, must(t, "export", online, "--server", s.address), "events 1 to ", ", root ")
	must(t, "export", newer, "--first", "80", "--server", s.address)
	if got := do(t, "export", online, "--server", s.address); got.code != command.ExitMisused {
		t.Errorf("a file that is there was written over: exit code %d", got.code)
	}
	beyond := filepath.Join(folder, "beyond")
	got := do(t, "export", beyond, "--first", "1000000", "--server", s.address)
	if _, err := os.Stat(beyond); got.code != command.ExitRefused || err == nil {
		t.Errorf("from beyond the end: exit code %d, a file is left: %v\n%s", got.code, err == nil, got.err)
	}
	s.stop()
	must(t, "export", offline, "--data", data)
	said := must(t, "verify-export", online)
	requireIn(t, said, "sound: journal ", "events 1 to ", "root ", "key bayround/station+", "\n\u2014 bayround/station ")
	if again := must(t, "verify-export", offline); again != said {
		t.Errorf("of the station that ran:\n%s\nof its folder:\n%s", said, again)
	}
	requireIn(t, must(t, "verify-export", newer), "events 80 to ")
	key := regexp.MustCompile(`key (\S+)`).FindStringSubmatch(said)[1]
	must(t, "verify-export", online, "--key", key)
	if got := do(t, "verify-export", online, "--key", strings.Replace(key, "station", "another", 1)); got.code != command.ExitDamaged {
		t.Errorf("of another key: exit code %d\n%s", got.code, got.err)
	}
}

func TestVerifyExport_SaysWhereItBreaks(t *testing.T) {
	data, folder := t.TempDir(), t.TempDir()
	serving(t, data).stop()
	whole := filepath.Join(folder, "whole")
	must(t, "export", whole, "--data", data)
	file, err := os.ReadFile(whole)
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		what, says string
		change     func([]byte) []byte
	}{
		{"cut", "cut off behind event", func(b []byte) []byte { return b[:len(b)-1] }},
		{"not one of ours", "no record file", func([]byte) []byte { return []byte("something else") }},
		{"something added", "behind its seal", func(b []byte) []byte { return append(b, 0) }},
		{"a bit flipped", "the record file ", func(b []byte) []byte {
			b[len(b)/2] ^= 1
			return b
		}},
	} {
		t.Run(tc.what, func(t *testing.T) {
			name := filepath.Join(t.TempDir(), "changed")
			writeFile(t, name, string(tc.change(append([]byte(nil), file...))))
			got := do(t, "verify-export", name)
			if got.code != command.ExitDamaged || got.out != "" {
				t.Errorf("exit code %d\n%s", got.code, got.out)
			}
			requireIn(t, got.err, tc.says)
		})
	}
	if got := do(t, "verify-export", filepath.Join(folder, "none")); got.code != command.ExitMisused {
		t.Errorf("no file: exit code %d", got.code)
	}
}
