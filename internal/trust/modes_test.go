package trust

import (
	"os"
	"path/filepath"
	"slices"
	"testing"

	"bayround/internal/fault"
)

// The modes are those of chmod(1p) of POSIX.1-2017: the last two octal digits are what
// group and others may.
func TestCloseToOthers_LeavesTheOwnerAlone(t *testing.T) {
	r := open(t)
	key, inside := filepath.Join(r.folder, authorityKeyFile), filepath.Join(r.AdministratorFolder(), keyFile)
	if open, err := CloseToOthers(r.folder); err != nil || len(open) > 0 {
		t.Fatalf("as the station made it: %v, %v", open, err)
	}
	for name, mode := range map[string]os.FileMode{r.folder: 0o755, key: 0o640, inside: 0o604} {
		if err := os.Chmod(name, mode); err != nil {
			t.Fatal(err)
		}
	}
	open, err := CloseToOthers(r.folder)
	slices.Sort(open)
	want := []string{r.folder, inside, key}
	slices.Sort(want)
	if err != nil || !slices.Equal(open, want) {
		t.Errorf("closed %v, want %v; %v", open, want, err)
	}
	for name, mode := range map[string]os.FileMode{r.folder: 0o700, key: 0o600, inside: 0o600} {
		if info, err := os.Stat(name); err != nil || info.Mode().Perm() != mode {
			t.Errorf("%s has mode %v, want %v; %v", name, info.Mode(), mode, err)
		}
	}
	r.reopen() // the owner gets in as before
}

func TestCloseToOthers_NothingIsThereYet(t *testing.T) {
	if open, err := CloseToOthers(filepath.Join(t.TempDir(), "trust")); err != nil || len(open) > 0 {
		t.Errorf("%v, %v", open, err)
	}
}

// Linux lets nobody change the mode of what lies in /proc/self, not even root
// (proc_setattr in its fs/proc/base.c).
func TestCloseToOthers_RefusesWhatItCannotClose(t *testing.T) {
	folder := t.TempDir()
	if err := os.Chmod(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("/proc/self/status", filepath.Join(folder, keyFile)); err != nil {
		t.Fatal(err)
	}
	if _, err := CloseToOthers(folder); !fault.Is(err, fault.Precondition) {
		t.Errorf("a key that everybody may read: %v", err)
	}
}

// Who may not search a folder resolves no path through it: Pathname Resolution, section 4.13 of
// the Base Definitions of POSIX.1-2017.
func TestCloseAlone_LeavesWhatLiesInAFolder(t *testing.T) {
	folder := t.TempDir()
	inside, gone := filepath.Join(folder, "inside"), filepath.Join(folder, "gone")
	must(t, os.WriteFile(inside, nil, 0o600))
	must(t, os.Chmod(inside, 0o644))
	must(t, os.Chmod(folder, 0o750))
	for _, want := range [][]string{{folder}, nil} { // once, and then there is nothing to close
		if open, err := CloseAlone(gone, folder); err != nil || !slices.Equal(open, want) {
			t.Errorf("closed %v, want %v; %v", open, want, err)
		}
	}
	for name, mode := range map[string]os.FileMode{folder: 0o700, inside: 0o644} {
		if info, err := os.Stat(name); err != nil || info.Mode().Perm() != mode {
			t.Errorf("%s has mode %v, want %v; %v", name, info.Mode(), mode, err)
		}
	}
	if _, err := CloseAlone("/proc/self/status"); !fault.Is(err, fault.Precondition) {
		t.Errorf("what everybody may read: %v", err)
	}
}
