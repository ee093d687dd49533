package journal

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// trace is what strace saw of a child: for each answer the number of syncs of
// Badger's write-ahead log that were completed since the answer before; how many
// syncs there were of the store and of the heads beside it; and how many heads
// were put in place, with and without a sync before.
type trace struct {
	walSyncs   []int
	storeSyncs int
	headSyncs  int
	heads      int
	unsynced   int
}

// traceChild runs a child under strace.
func traceChild(t *testing.T, task string) trace {
	t.Helper()
	strace, err := exec.LookPath("strace")
	if err != nil {
		t.Skip("skipped: needs strace")
	}
	dir, out := t.TempDir(), filepath.Join(t.TempDir(), "trace")
	child := exec.Command(strace, "-f", "-qq", "-y", "-e", "trace=mmap,msync,fsync,fdatasync,write,rename,renameat,renameat2", "-o", out, os.Args[0])
	child.Env = append(os.Environ(), childTask+"="+task, childDir+"="+dir)
	if b, err := child.CombinedOutput(); err != nil {
		if strings.Contains(string(b), "ptrace") {
			t.Skipf("skipped: needs strace that may trace: %s", b)
		}
		t.Fatalf("%v: %s", err, b)
	}
	b, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	return readTrace(t, string(b))
}

// readTrace counts. A call that another thread's calls cut in two is put
// together again and counts when it returns.
func readTrace(t *testing.T, text string) (tr trace) {
	t.Helper()
	mapped := regexp.MustCompile(`^mmap\(.*<[^>]*\.mem>, .* = (0x[0-9a-f]+)$`)
	synced := regexp.MustCompile(`^(?:msync\((0x[0-9a-f]+),|fsync\(|fdatasync\().* = 0$`)
	head := regexp.MustCompile(`^fsync\(\d+<[^>]*/(head-[ab])\.new>\)`)
	folder := regexp.MustCompile(`^fsync\(\d+<[^>]*/\d+>\)`) // t.TempDir ends in a number
	placed := regexp.MustCompile(`^rename.*/(head-[ab])\.new".* = 0$`)
	written := map[string]bool{} // heads synced and not put in place yet
	wal := map[string]bool{}     // addresses at which a .mem file is mapped
	begun := map[string]string{} // by thread
	syncs, ready := 0, false
	for line := range strings.Lines(text) {
		thread, call, _ := strings.Cut(strings.TrimSpace(line), " ")
		call = strings.TrimSpace(call)
		if start, cut := strings.CutSuffix(call, " <unfinished ...>"); cut {
			begun[thread] = start
			continue
		}
		if _, rest, resumed := strings.Cut(call, " resumed>"); resumed {
			call = begun[thread] + rest
		}
		if m := mapped.FindStringSubmatch(call); m != nil {
			wal[m[1]] = true
		}
		if m := synced.FindStringSubmatch(call); m != nil && ready {
			h := head.FindStringSubmatch(call)
			switch {
			case h != nil:
				tr.headSyncs++
				written[h[1]] = true
			case folder.MatchString(call):
				tr.headSyncs++
			default:
				tr.storeSyncs++
			}
			if wal[m[1]] {
				syncs++
			}
		}
		if m := placed.FindStringSubmatch(call); m != nil {
			tr.heads++
			if !written[m[1]] {
				tr.unsynced++
			}
			delete(written, m[1])
		}
		switch {
		case strings.Contains(call, `"ready\n"`):
			ready = true
		case strings.Contains(call, `"ack alone/`):
			tr.walSyncs = append(tr.walSyncs, syncs)
			syncs = 0
		}
	}
	if !ready || len(tr.walSyncs) != aloneRecords || len(wal) == 0 {
		t.Fatalf("trace of %d answers, %d mappings of the log", len(tr.walSyncs), len(wal))
	}
	return tr
}

// A killed process leaves its writes with the kernel, so a kill cannot tell
// whether Append syncs; its system calls can.
func TestAppend_SyncsBeforeItAnswers(t *testing.T) {
	tr := traceChild(t, "alone, synced")
	for n, syncs := range tr.walSyncs {
		if syncs < 1 {
			t.Errorf("answer %d was given without a sync of the write-ahead log", n)
		}
	}
	t.Logf("%.2f syncs a record, %d records by one caller", float64(tr.storeSyncs)/aloneRecords, aloneRecords)
	if tr.storeSyncs > 2*aloneRecords+aloneRecords/10 {
		t.Errorf("%d syncs for %d records, want 2 each", tr.storeSyncs, aloneRecords)
	}
	t.Logf("%d heads put in place with %d syncs", tr.heads, tr.headSyncs)
	if tr.heads == 0 || tr.unsynced > 0 || tr.heads > aloneRecords || tr.headSyncs > 2*tr.heads+2 {
		t.Errorf("%d heads with %d syncs, %d of them put in place unsynced; want at most one a record, and two syncs each", tr.heads, tr.headSyncs, tr.unsynced)
	}
}

// The test above must be able to fail: without SyncWrites it would.
func TestAppend_WithoutSyncWritesTheTraceShowsIt(t *testing.T) {
	tr := traceChild(t, "alone, unsynced")
	for n, syncs := range tr.walSyncs {
		if syncs > 0 {
			t.Errorf("answer %d: %d syncs of the write-ahead log though SyncWrites is off", n, syncs)
		}
	}
}
