package journal

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
)

// benchEntry is what the figures are measured with: an event of 600 bytes and
// a row of 200.
func benchEntry(n int) Entry {
	event := fmt.Appendf(make([]byte, 0, 600), "event %d ", n)
	row := fmt.Appendf(make([]byte, 0, 200), "row %d ", n)
	return Entry{
		Events: [][]byte{event[:600]},
		Rows:   []Row{{Key: fmt.Sprintf("vehicle/%d", n%500), Value: row[:200]}},
	}
}

// BenchmarkFsync is the floor to compare BenchmarkAppend with: append 600
// bytes to a plain file and sync it.
func BenchmarkFsync(b *testing.B) {
	f, err := os.Create(filepath.Join(b.TempDir(), "floor"))
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	record := make([]byte, 600)
	for b.Loop() {
		if _, err := f.Write(record); err != nil {
			b.Fatal(err)
		}
		if err := f.Sync(); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "records/s")
}

// BenchmarkAppend appends one record an operation, by 1, 16 and 64 callers
// who each wait for their answer.
func BenchmarkAppend(b *testing.B) {
	for _, callers := range []int{1, 16, 64} {
		b.Run(fmt.Sprintf("callers=%d", callers), func(b *testing.B) {
			var batches atomic.Int64
			j, err := Open(context.Background(), Options{
				Dir: b.TempDir(), Origin: "bayround/bench", Committed: func(uint64) { batches.Add(1) },
			})
			if err != nil {
				b.Fatal(err)
			}
			defer j.Close()
			b.ResetTimer()
			appendMany(b, j, callers, b.N)
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "records/s")
			b.ReportMetric(float64(batches.Load())/float64(b.N), "commits/record")
		})
	}
}

func appendMany(tb testing.TB, j *Journal, callers, records int) {
	var taken atomic.Int64
	var wait sync.WaitGroup
	for range callers {
		wait.Go(func() {
			for {
				n := int(taken.Add(1))
				if n > records {
					return
				}
				_, err := j.Append(context.Background(), Command{ID: "command-" + strconv.Itoa(n)},
					func(uint64) (Entry, error) { return benchEntry(n), nil })
				if err != nil {
					tb.Error(err)
					return
				}
			}
		})
	}
	wait.Wait()
}

// grownJournal fills a journal with as many events as JOURNAL_BENCH_EVENTS
// says, 100,000 by default.
func grownJournal(b *testing.B) (dir string, events int) {
	events = 100_000
	if s := os.Getenv("JOURNAL_BENCH_EVENTS"); s != "" {
		var err error
		if events, err = strconv.Atoi(s); err != nil {
			b.Fatal(err)
		}
	}
	dir = b.TempDir()
	j, err := Open(context.Background(), Options{Dir: dir, Origin: origin})
	if err != nil {
		b.Fatal(err)
	}
	for n := 0; n < events; n += 500 {
		entry := Entry{}
		for k := n; k < min(n+500, events); k++ {
			one := benchEntry(k)
			entry.Events, entry.Rows = append(entry.Events, one.Events...), append(entry.Rows, one.Rows...)
		}
		if _, err := j.Append(context.Background(), Command{ID: strconv.Itoa(n)}, func(uint64) (Entry, error) { return entry, nil }); err != nil {
			b.Fatal(err)
		}
	}
	if err := j.Close(); err != nil {
		b.Fatal(err)
	}
	return dir, events
}

// benchUnclean opens what a process leaves behind that is killed after 5,000 more
// events: evidence is set aside, and the write-ahead logs are read.
func benchUnclean(b *testing.B, dir string) {
	left := filepath.Join(b.TempDir(), "left")
	copyAll(b, dir, left)
	victim{dir: left, task: "hammer", run: "bench"}.killAfter(b, 5000, acknowledgements{})
	for b.Loop() {
		b.StopTimer()
		again := filepath.Join(b.TempDir(), "again")
		copyAll(b, left, again)
		b.StartTimer()
		j, err := Open(context.Background(), Options{Dir: again})
		if err != nil {
			b.Fatal(err)
		}
		b.StopTimer()
		if err := j.Close(); err != nil {
			b.Fatal(err)
		}
		b.StartTimer()
	}
}

// BenchmarkGrown measures a journal of 100,000 events (JOURNAL_BENCH_EVENTS
// for another number): opening it, after a clean stop and after none, reading every event with its hash, and
// verifying everything.
func BenchmarkGrown(b *testing.B) {
	dir, events := grownJournal(b)
	b.Run("Open", func(b *testing.B) {
		for b.Loop() {
			j, err := Open(context.Background(), Options{Dir: dir})
			if err != nil {
				b.Fatal(err)
			}
			b.StopTimer()
			if err := j.Close(); err != nil {
				b.Fatal(err)
			}
			b.StartTimer()
		}
	})
	b.Run("OpenUnclean", func(b *testing.B) { benchUnclean(b, dir) })
	j, err := Open(context.Background(), Options{Dir: dir})
	if err != nil {
		b.Fatal(err)
	}
	defer j.Close()
	b.Run("Events", func(b *testing.B) {
		for b.Loop() {
			var seen int
			if err := j.Events(context.Background(), 1, func(uint64, []byte) error { seen++; return nil }); err != nil || seen != events {
				b.Fatalf("%d of %d events, %v", seen, events, err)
			}
		}
		b.ReportMetric(float64(b.N)*float64(events)/b.Elapsed().Seconds(), "events/s")
	})
	b.Run("Verify", func(b *testing.B) {
		for b.Loop() {
			if _, err := j.Verify(context.Background()); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(b.N)*float64(events)/b.Elapsed().Seconds(), "events/s")
	})
}
