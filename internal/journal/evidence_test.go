package journal

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"sync/atomic"
	"testing"
	"time"
)

// recorder counts what is logged.
type recorder struct{ lines atomic.Int32 }

func (r *recorder) listen(o *Options) {
	o.Logger = slog.New(slog.NewTextHandler(r, &slog.HandlerOptions{Level: slog.LevelWarn}))
}

func (r *recorder) Write(b []byte) (int, error) {
	r.lines.Add(1)
	return len(b), nil
}

// crashed returns a copy of an open journal's directory: what a process that is
// killed leaves behind.
func crashed(t *testing.T, events int) (dir string) {
	t.Helper()
	live := t.TempDir()
	j := open(t, live)
	written := make(chan struct{})
	j.heads.put = func(path string, head []byte) error {
		err := putHead(path, head)
		if c, _ := openCheckpoint(head, j.verifier); c.Size == uint64(events) {
			close(written)
		}
		return err
	}
	for n := range events {
		put(t, j, fmt.Sprint(n), []string{fmt.Sprint("event ", n)})
	}
	<-written
	dir = t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(live)); err != nil {
		t.Fatal(err)
	}
	mustClose(t, j)
	return dir
}

// evidence lists what was set aside, the oldest first.
func evidence(t *testing.T, dir string) (folders []string) {
	t.Helper()
	folders, err := filepath.Glob(filepath.Join(dir, evidenceDir, "*"))
	if err != nil {
		t.Fatal(err)
	}
	return folders
}

func TestOpen_CleanStopLeavesNoEvidence(t *testing.T) {
	dir := t.TempDir()
	for n := range 3 {
		log := &recorder{}
		j := open(t, dir, log.listen)
		put(t, j, fmt.Sprint(n), []string{"a"})
		if !slices.Contains(names(t, dir), openFile) {
			t.Error("nothing tells that the journal is open")
		}
		mustClose(t, j)
		if list := names(t, dir); slices.Contains(list, openFile) || slices.Contains(list, evidenceDir) || log.lines.Load() > 0 {
			t.Errorf("after a clean stop there is %v, %d warnings", list, log.lines.Load())
		}
	}
}

func TestOpen_SetsAsideWhatAnUncleanStopLeft(t *testing.T) {
	dir := crashed(t, 20)
	want := map[string][]byte{}
	for _, file := range []string{"badger/00001.mem", "badger/MANIFEST", "badger/KEYREGISTRY", headAFile, headBFile} {
		b, err := os.ReadFile(filepath.Join(dir, file))
		if err != nil {
			t.Fatal(err)
		}
		want[filepath.Base(file)] = b
	}
	log := &recorder{}
	j := open(t, dir, log.listen)
	if allEvents(t, j); j.Size() != 20 || log.lines.Load() == 0 {
		t.Errorf("%d events, %d warnings", j.Size(), log.lines.Load())
	}
	mustClose(t, j)
	folders := evidence(t, dir)
	if len(folders) != 1 {
		t.Fatalf("evidence %v, want one", folders)
	}
	for file, content := range want {
		b, err := os.ReadFile(filepath.Join(folders[0], file))
		if err != nil || string(b) != string(content) {
			t.Errorf("%s: %d bytes, %v, want the %d that were there", file, len(b), err, len(content))
		}
	}
	mustClose(t, open(t, dir))
	if after := evidence(t, dir); len(after) != 1 {
		t.Errorf("a clean stop later there is %v", after)
	}
}

// Nobody is kept from looking by evidence, nor from verifying.
func TestVerify_SetsAsideToo(t *testing.T) {
	dir := crashed(t, 3)
	if report, err := Verify(context.Background(), Options{Dir: dir}); err != nil || report.Events != 3 {
		t.Errorf("%v, %v", report, err)
	}
	if folders := evidence(t, dir); len(folders) != 1 {
		t.Errorf("evidence %v, want one", folders)
	}
}

func TestSetAside_KeepsTheNewestThree(t *testing.T) {
	dir := crashed(t, 3)
	if err := os.MkdirAll(filepath.Join(dir, evidenceDir, "20260101T000000.000000000Z"+unfinished), 0o700); err != nil {
		t.Fatal(err)
	}
	var want []string
	for day := 1; day <= 5; day++ {
		at := time.Date(2026, 3, day, 6, 0, 0, 0, time.UTC)
		if !setAside(dir, at, slog.New(slog.DiscardHandler)) {
			t.Fatal("nothing was set aside")
		}
		if day > 2 {
			want = append(want, filepath.Join(dir, evidenceDir, at.Format(evidenceForm)))
		}
	}
	wantEqual(t, "evidence", evidence(t, dir), want)
}

// Neither a place that cannot be written nor a file that cannot be read keeps a
// station from starting.
func TestOpen_StartsWithoutEvidenceToo(t *testing.T) {
	for name, spoil := range map[string]func(dir string) error{
		"no room for the folder": func(dir string) error { return os.WriteFile(filepath.Join(dir, evidenceDir), nil, 0o600) },
		"a folder for a log":     func(dir string) error { return os.Mkdir(filepath.Join(dir, headSeenFile), 0o700) },
	} {
		t.Run(name, func(t *testing.T) {
			dir := crashed(t, 3)
			if err := spoil(dir); err != nil {
				t.Fatal(err)
			}
			log := &recorder{}
			j := open(t, dir, log.listen)
			if j.Size() != 3 || log.lines.Load() == 0 {
				t.Errorf("%d events, %d warnings", j.Size(), log.lines.Load())
			}
			if name != "no room for the folder" && len(evidence(t, dir)) > 0 {
				t.Errorf("half of it was kept: %v", evidence(t, dir))
			}
		})
	}
}

func TestCopyData_IsTheFileAndAsSparse(t *testing.T) {
	dir := t.TempDir()
	from, to := filepath.Join(dir, "from"), filepath.Join(dir, "to")
	f, err := os.Create(from)
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range []int64{0, 3*evidenceBlock + 7, 40 << 20} {
		if _, err := f.WriteAt([]byte("data"), at); err != nil {
			t.Fatal(err)
		}
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	if err := copyData(from, to); err != nil {
		t.Fatal(err)
	}
	want, _ := os.ReadFile(from)
	got, err := os.ReadFile(to)
	if err != nil || string(got) != string(want) {
		t.Errorf("%d bytes, %v, want the %d of the original", len(got), err, len(want))
	}
	if err := haveRoom(dir, []string{from, to}); err != nil {
		t.Errorf("no room for a few blocks: %v", err)
	}
}

// A first start that was cut off before the journal was made has nothing to
// set aside.
func TestOpen_NoEvidenceOfAJournalThatWasNeverMade(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, openFile), []byte("process 1\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	put(t, open(t, dir), "1", []string{"a"})
	if folders := evidence(t, dir); len(folders) > 0 {
		t.Errorf("evidence %v", folders)
	}
}
