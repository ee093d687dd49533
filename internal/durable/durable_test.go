package durable_test

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"pgregory.net/rapid"

	"bayround/internal/durable"
)

const (
	oldContent = "the old content\n"
	newContent = "the new content, which is longer than the old one\n"
)

// holds says what is in a directory, a file's content by its name.
func holds(t testing.TB, dir string) map[string]string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]string{}
	for _, e := range entries {
		if !e.Type().IsRegular() {
			found[e.Name()] = e.Type().String() // a FIFO would keep its reader waiting
			continue
		}
		b, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		found[e.Name()] = string(b)
	}
	return found
}

// hasOnly makes sure that a directory holds one file and nothing beside it.
func hasOnly(t testing.TB, dir, content string) {
	t.Helper()
	if found := holds(t, dir); len(found) != 1 || found["file"] != content {
		t.Errorf("the directory holds %q, want file with %q alone", found, content)
	}
}

func write(t testing.TB, path, content string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestReplace_LastContentStands(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		dir := filepath.Join(t.TempDir(), "d")
		if err := os.Mkdir(dir, 0o700); err != nil {
			rt.Fatal(err)
		}
		for _, content := range rapid.SliceOfN(rapid.SliceOf(rapid.Byte()), 1, 5).Draw(rt, "contents") {
			if err := durable.Replace(filepath.Join(dir, "file"), content); err != nil {
				rt.Fatal(err)
			}
			if found := holds(t, dir); len(found) != 1 || found["file"] != string(content) {
				rt.Fatalf("the directory holds %q, want %q", found, content)
			}
		}
	})
}

func TestReplace_OnlyTheOwnerMayRead(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	if err := durable.Replace(path, []byte(newContent)); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(path)
	if err != nil || info.Mode() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
}

// What a kill left beside the file is written over, however long it was.
func TestReplace_WritesOverWhatAKillLeft(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "file")
	write(t, path, oldContent)
	write(t, path+durable.Unfinished, strings.Repeat("half of something", 1000))
	if err := durable.Replace(path, []byte(newContent)); err != nil {
		t.Fatal(err)
	}
	hasOnly(t, dir, newContent)
}

// The kernel's own refusals: /dev/full takes no byte (full(4)), a FIFO cannot be
// flushed (fsync(2): EINVAL).
func TestReplace_LeavesTheOldFileWhenTheDiskRefuses(t *testing.T) {
	for _, tc := range []struct {
		refuses string
		lay     func(draft string) error
		want    error
	}{
		{"to write", func(draft string) error { return os.Symlink("/dev/full", draft) }, syscall.ENOSPC},
		{"to flush", func(draft string) error {
			if err := syscall.Mkfifo(draft, 0o600); err != nil {
				return err
			}
			reader, err := os.OpenFile(draft, os.O_RDWR, 0) // without a reader the writer would wait for one
			t.Cleanup(func() { reader.Close() })
			return err
		}, syscall.EINVAL},
	} {
		t.Run(tc.refuses, func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, "file")
			write(t, path, oldContent)
			if err := tc.lay(path + durable.Unfinished); err != nil {
				t.Fatal(err)
			}
			if err := durable.Replace(path, []byte(newContent)); !errors.Is(err, tc.want) {
				t.Errorf("%v, want %v", err, tc.want)
			}
			hasOnly(t, dir, oldContent)
		})
	}
}

func TestReplace_LeavesWhatItCannotReplace(t *testing.T) {
	t.Run("a directory in the place", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "file")
		if err := os.MkdirAll(filepath.Join(path, "inside"), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := durable.Replace(path, []byte(newContent)); err == nil {
			t.Error("no error")
		}
		if _, err := os.Stat(path + durable.Unfinished); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("the draft is still there: %v", err)
		}
	})
	t.Run("a directory in the draft's way", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "file")
		write(t, path, oldContent)
		if err := os.Mkdir(path+durable.Unfinished, 0o700); err != nil {
			t.Fatal(err)
		}
		if err := durable.Replace(path, []byte(newContent)); !errors.Is(err, syscall.EISDIR) {
			t.Errorf("%v", err)
		}
		if b, err := os.ReadFile(path); string(b) != oldContent || err != nil {
			t.Errorf("%q, %v", b, err)
		}
		if _, err := os.Stat(path + durable.Unfinished); err != nil {
			t.Errorf("what was not ours is gone: %v", err)
		}
	})
	t.Run("no such directory", func(t *testing.T) {
		if err := durable.Replace(filepath.Join(t.TempDir(), "gone", "file"), nil); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%v", err)
		}
	})
}

func TestDraft_IsNothingUntilItIsPlaced(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "file")
	write(t, path, oldContent)
	d, err := durable.Begin(path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := d.Write([]byte(newContent)); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(d.Seal(), d.Seal()); err != nil {
		t.Fatal(err)
	}
	if _, err := d.Write([]byte("more")); !errors.Is(err, fs.ErrClosed) {
		t.Errorf("written to after the seal: %v", err)
	}
	if b, _ := os.ReadFile(path); string(b) != oldContent {
		t.Errorf("sealed only, and the file holds %q", b)
	}
	if err := errors.Join(d.Place(), d.Discard(), d.Discard()); err != nil {
		t.Fatal(err)
	}
	hasOnly(t, dir, newContent)
}

func TestDraft_DiscardLeavesNothing(t *testing.T) {
	for _, seal := range []bool{false, true} {
		dir := t.TempDir()
		path := filepath.Join(dir, "file")
		write(t, path, oldContent)
		d, err := durable.Begin(path)
		if err != nil {
			t.Fatal(err)
		}
		_, err = d.Write([]byte(newContent))
		if seal {
			err = errors.Join(err, d.Seal())
		}
		if err := errors.Join(err, d.Discard()); err != nil {
			t.Fatal(err)
		}
		hasOnly(t, dir, oldContent)
	}
}

func TestRename_AndRemove(t *testing.T) {
	dir := t.TempDir()
	from, to := filepath.Join(dir, "draft"), filepath.Join(dir, "file")
	write(t, from, newContent)
	write(t, to, oldContent)
	if err := durable.Rename(from, to); err != nil {
		t.Fatal(err)
	}
	hasOnly(t, dir, newContent)
	if err := durable.Rename(from, to); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("what is not there was renamed: %v", err)
	}
	if err := errors.Join(durable.Remove(to), durable.Remove(to)); err != nil {
		t.Error(err)
	}
	if found := holds(t, dir); len(found) != 0 {
		t.Errorf("left: %v", found)
	}
	if err := os.MkdirAll(filepath.Join(to, "inside"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := durable.Remove(to); err == nil {
		t.Error("a full directory was removed")
	}
}

// procfs(5) has no directory that can be flushed.
func TestSyncDir_TellsWhenItCannot(t *testing.T) {
	for dir, want := range map[string]error{"/proc/self": syscall.EINVAL, filepath.Join(t.TempDir(), "gone"): fs.ErrNotExist} {
		if err := durable.SyncDir(dir); !errors.Is(err, want) {
			t.Errorf("%s: %v, want %v", dir, err, want)
		}
	}
}
