package journal

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/options"

	"bayround/internal/fault"
)

// Without SyncWrites a power cut loses everything since the last flush of the
// memtable, and no test with a killed process would notice.
func TestOpen_StoreSyncsEveryWrite(t *testing.T) {
	got := open(t, t.TempDir()).db.Opts()
	if !got.SyncWrites {
		t.Fatal("SyncWrites is off")
	}
	if got.BypassLockGuard || got.ReadOnly || got.InMemory {
		t.Errorf("lock guard bypassed %v, read-only %v, in memory %v", got.BypassLockGuard, got.ReadOnly, got.InMemory)
	}
	// OnTableRead is the only mode in which a flipped bit is an error.
	if got.ChecksumVerificationMode != options.OnTableRead || !got.VerifyValueChecksum {
		t.Errorf("checksum mode %v, value checksums %v", got.ChecksumVerificationMode, got.VerifyValueChecksum)
	}
	// Badger only logs a failed sync of its value log: no value may go there.
	if got.ValueThreshold <= maxValueBytes+receiptHeadBytes {
		t.Errorf("values of %d bytes go to the value log", got.ValueThreshold)
	}
	if limit := got.MemTableSize * 15 / 100; limit <= fullBatchBytes+maxEntryBytes+2*maxOriginBytes+1024 {
		t.Errorf("the biggest batch does not fit into a transaction of %d bytes", limit)
	}
}

func TestOpen_KeyIsKeptFromOthers(t *testing.T) {
	dir := t.TempDir()
	open(t, dir)
	info, err := os.Stat(filepath.Join(dir, signerFile))
	if err != nil || info.Mode() != 0o600 {
		t.Errorf("mode of the signing key: %v, %v, want 0600", info.Mode(), err)
	}
}

func TestOpen_SecondOpenIsRefused(t *testing.T) {
	dir := t.TempDir()
	j := open(t, dir)
	_, err := tryOpen(dir)
	wantFault(t, err, fault.Unavailable, "JOURNAL_LOCKED")
	_, err = Verify(context.Background(), Options{Dir: dir})
	wantFault(t, err, fault.Unavailable, "JOURNAL_LOCKED")
	put(t, j, "1", []string{"the first one goes on"})
	mustClose(t, j)
	open(t, dir)
}

func TestOpen_RefusesADirectoryOfSomethingElse(t *testing.T) {
	for _, tc := range []struct {
		name   string
		fill   func(dir string) error
		reason string
	}{
		{"a file", func(dir string) error { return os.WriteFile(dir+"/notes.txt", nil, 0o600) }, "DIRECTORY_FOREIGN"},
		{"a directory", func(dir string) error { return os.Mkdir(dir+"/pictures", 0o700) }, "DIRECTORY_FOREIGN"},
		{"a Badger store", func(dir string) error { return foreignBadger(dir) }, "DIRECTORY_FOREIGN"},
		{"a Badger store in our place", func(dir string) error { return foreignBadger(filepath.Join(dir, badgerDir)) }, "DIRECTORY_FOREIGN"},
		{"another JOURNAL", func(dir string) error {
			return os.WriteFile(filepath.Join(dir, journalFile), []byte("Dear diary\n"), 0o600)
		}, "FORMAT_UNREADABLE"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			dir := t.TempDir()
			if err := tc.fill(dir); err != nil {
				t.Fatal(err)
			}
			before := names(t, dir)
			_, err := tryOpen(dir)
			if !hasReason(err, tc.reason) {
				t.Errorf("Open = %v, want %s", err, tc.reason)
			}
			wantEqual(t, "names in the directory afterwards", names(t, dir), before)
		})
	}
}

func names(t testing.TB, dir string) (list []string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, entry := range entries {
		list = append(list, entry.Name())
	}
	return list
}

func foreignBadger(dir string) error {
	db, err := badger.Open(badger.DefaultOptions(dir).WithLogger(nil))
	if err != nil {
		return err
	}
	err = db.Update(func(txn *badger.Txn) error { return txn.Set([]byte("somebody's"), []byte("data")) })
	return errors.Join(err, db.Close())
}

func TestOpen_LeavesAloneWhatMayStandBesideIt(t *testing.T) {
	for _, name := range []string{"lost+found", "photos"} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			inside := filepath.Join(dir, name, "kept")
			if err := errors.Join(os.Mkdir(filepath.Dir(inside), 0o700), os.WriteFile(inside, []byte("as it was"), 0o600)); err != nil {
				t.Fatal(err)
			}
			mustClose(t, open(t, dir))
			if _, err := Verify(t.Context(), Options{Dir: dir}); err != nil {
				t.Errorf("Verify beside %s = %v", name, err)
			}
			if got, err := os.ReadFile(inside); err != nil || string(got) != "as it was" {
				t.Errorf("what lay in %s is now %q, %v", name, got, err)
			}
		})
	}
}

func TestOpen_PathThatIsNoDirectory(t *testing.T) {
	file := t.TempDir() + "/file"
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, dir := range []string{file, file + "/journal"} {
		_, err := tryOpen(dir)
		wantFault(t, err, fault.Precondition, "DIRECTORY_UNUSABLE")
	}
}

// refuseWriting makes a directory one that even this user cannot write.
func refuseWriting(t *testing.T, dir string) {
	t.Helper()
	if os.Geteuid() != 0 {
		if err := os.Chmod(dir, 0o500); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { os.Chmod(dir, 0o700) })
		return
	}
	// The superuser writes wherever the file system lets him.
	if out, err := exec.Command("chattr", "+i", dir).CombinedOutput(); err != nil {
		t.Skipf("skipped: needs chattr to refuse root: %v %s", err, out)
	}
	t.Cleanup(func() {
		if out, err := exec.Command("chattr", "-i", dir).CombinedOutput(); err != nil {
			t.Errorf("chattr -i %s: %v %s", dir, err, out)
		}
	})
}

func TestOpen_ReadOnlyDirectory(t *testing.T) {
	empty, made := t.TempDir(), t.TempDir()
	mustClose(t, open(t, made))
	refuseWriting(t, empty)
	refuseWriting(t, filepath.Join(made, badgerDir))
	for _, dir := range []string{empty, empty + "/journal", made} {
		_, err := tryOpen(dir)
		wantFault(t, err, fault.Precondition, "DIRECTORY_UNUSABLE")
	}
}

func TestOpen_OriginThatCannotBeSigned(t *testing.T) {
	for _, origin := range []string{"", "two words", "a+b", "line\n", "bell\a", "\xff", strings.Repeat("x", 257)} {
		_, err := Open(context.Background(), Options{Dir: t.TempDir(), Origin: origin})
		if !fault.Is(err, fault.Invalid) || !hasReason(err, "ORIGIN_INVALID") {
			t.Errorf("origin %q: %v", origin, err)
		}
	}
}

// A first start that breaks off at any point is made again.
func TestOpen_FinishesAFirstStartThatBrokeOff(t *testing.T) {
	write := func(dir, name string) error { return os.WriteFile(filepath.Join(dir, name), []byte("half"), 0o600) }
	for name, prepare := range map[string]func(dir string) error{
		"empty badger directory": func(dir string) error { return os.Mkdir(filepath.Join(dir, badgerDir), 0o700) },
		"half a key":             func(dir string) error { return write(dir, signerFile+unfinished) },
		"key, empty store": func(dir string) error {
			_, err := makeSigner(dir, "some/other/origin")
			return err
		},
		"key, store without format": func(dir string) error {
			_, err := makeSigner(dir, origin)
			db, openErr := badger.Open(Options{Dir: dir}.badger())
			return errors.Join(err, openErr, db.Close())
		},
		"no JOURNAL file": func(dir string) error {
			j, err := tryOpen(dir)
			return errors.Join(err, j.Close(), os.Remove(filepath.Join(dir, journalFile)))
		},
		"half a JOURNAL file": func(dir string) error {
			j, err := tryOpen(dir)
			return errors.Join(err, j.Close(), os.Remove(filepath.Join(dir, journalFile)), write(dir, journalFile+unfinished))
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			if err := prepare(dir); err != nil {
				t.Fatal(err)
			}
			j := open(t, dir)
			put(t, j, "1", []string{"a"})
			mustClose(t, j)
			wantEqual(t, "names", names(t, dir), []string{journalFile, badgerDir, headAFile, signerFile})
			wantEqual(t, "events", allEvents(t, open(t, dir)), []string{"a"})
		})
	}
}

// spoiled makes a journal of one event, closes it, and changes something.
func TestOpen_RefusesASpoiledDirectory(t *testing.T) {
	at := func(dir, name string) string { return filepath.Join(dir, name) }
	newer := []byte("bayround journal 2\nwhatever a later version writes\n")
	for _, tc := range []struct {
		name   string
		spoil  func(dir string) error
		kind   fault.Kind
		reason string
	}{
		{"newer format", func(dir string) error { return os.WriteFile(at(dir, journalFile), newer, 0o600) }, fault.Precondition, "FORMAT_NEWER"},
		{"newer format in the store", func(dir string) error { return setInStore(dir, formatKey, newer) }, fault.Precondition, "FORMAT_NEWER"},
		{"format record spoiled", func(dir string) error { return setInStore(dir, formatKey, []byte("bayround journal 1\n")) }, fault.Lost, "FORMAT_UNREADABLE"},
		{"store removed", func(dir string) error { return os.RemoveAll(at(dir, badgerDir)) }, fault.Lost, "RECORD_LOST"},
		{"store of another journal", func(dir string) error { return swapIn(dir, badgerDir) }, fault.Lost, "JOURNAL_MISMATCH"},
		{"key removed", func(dir string) error { return os.Remove(at(dir, signerFile)) }, fault.Precondition, "KEY_MISSING"},
		{"key spoiled", func(dir string) error { return os.WriteFile(at(dir, signerFile), []byte("key"), 0o600) }, fault.Precondition, "KEY_UNREADABLE"},
		{"key of another journal", func(dir string) error { return swapIn(dir, signerFile) }, fault.Precondition, "KEY_MISMATCH"},
		{"manifest spoiled", func(dir string) error {
			return os.WriteFile(filepath.Join(dir, badgerDir, "MANIFEST"), []byte("not a manifest"), 0o600)
		}, fault.Lost, "STORE_DAMAGED"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			dir := t.TempDir()
			j := open(t, dir)
			put(t, j, "1", []string{"a"})
			mustClose(t, j)
			if err := tc.spoil(dir); err != nil {
				t.Fatal(err)
			}
			_, err := tryOpen(dir)
			wantFault(t, err, tc.kind, tc.reason)
			t.Log(err)
		})
	}
}

func setInStore(dir, key string, value []byte) error {
	db, err := badger.Open(Options{Dir: dir}.badger())
	if err != nil {
		return err
	}
	err = db.Update(func(txn *badger.Txn) error { return txn.Set([]byte(key), value) })
	return errors.Join(err, db.Close())
}

// swapIn replaces a part of the journal in dir by the same part of another
// journal of the same origin.
func swapIn(dir, name string) error {
	other := dir + "-other"
	defer os.RemoveAll(other)
	j, err := tryOpen(other)
	if err != nil {
		return err
	}
	return errors.Join(j.Close(), os.RemoveAll(filepath.Join(dir, name)),
		os.Rename(filepath.Join(other, name), filepath.Join(dir, name)))
}

func TestOpen_AnotherOrigin(t *testing.T) {
	dir := t.TempDir()
	mustClose(t, open(t, dir))
	_, err := Open(context.Background(), Options{Dir: dir, Origin: "bayround/station/elsewhere"})
	wantFault(t, err, fault.Precondition, "ORIGIN_MISMATCH")
}

// Verify is for the desk of someone who was given the record, not the key.
func TestVerify_NeedsNoSigningKey(t *testing.T) {
	dir := t.TempDir()
	j := open(t, dir)
	put(t, j, "1", []string{"a"})
	mustClose(t, j)
	if err := os.Remove(filepath.Join(dir, signerFile)); err != nil {
		t.Fatal(err)
	}
	if report, err := Verify(context.Background(), Options{Dir: dir}); err != nil || report.Events != 1 {
		t.Errorf("Verify = %v, %v", report, err)
	}
}

func TestBadgerLog_PassesWarningsAndWorse(t *testing.T) {
	var out bytes.Buffer
	l := badgerLog{Options{Logger: slog.New(slog.NewTextHandler(&out, nil))}.logger()}
	l.Debugf("debug %d", 1)
	l.Infof("info %d", 2)
	l.Warningf("warning %d\n", 3)
	l.Errorf("error %d", 4)
	got := out.String()
	if strings.Contains(got, "debug") || strings.Contains(got, "info 2") ||
		!strings.Contains(got, `level=WARN msg="badger: warning 3"`) || !strings.Contains(got, `level=ERROR msg="badger: error 4"`) {
		t.Errorf("log: %s", got)
	}
	badgerLog{Options{}.logger()}.Errorf("into the void")
}
