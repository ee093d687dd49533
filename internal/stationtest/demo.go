package stationtest

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"testing/fstest"

	"bayround/internal/catalogue"
	"bayround/internal/station"
)

// Demo returns the files that come with Bayround and those of the invented
// county: a station of true size. The test's package must lie in internal.
func Demo(t testing.TB) []catalogue.File {
	t.Helper()
	files, err := demoFiles()
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func demoFiles() ([]catalogue.File, error) {
	files := catalogue.Defaults()
	for _, pattern := range []string{"*.yaml", filepath.Join("vehicles", "*.yaml")} {
		names, err := filepath.Glob(filepath.Join("..", "..", "testdata", "demo", pattern))
		if err != nil {
			return nil, fmt.Errorf("looking for the demo county: %w", err)
		}
		for _, name := range names {
			content, err := os.ReadFile(name)
			if err != nil {
				return nil, fmt.Errorf("reading the demo county: %w", err)
			}
			files = append(files, catalogue.File{Name: filepath.Base(name), Content: content})
		}
	}
	return files, nil
}

// OpenDemo opens a station of the invented county in a directory of its own,
// by the computer's clock; it is closed when the test ends.
func OpenDemo(t testing.TB) *Kit {
	t.Helper()
	return OpenWith(t, nil, station.Options{Dir: t.TempDir(), Defaults: Demo(t)})
}

// OpenDemoInMorning opens one by a clock that stands at Morning. Its record is a copy of
// one that is made once, since to read and put in force all its files takes seconds under the
// race detector: a test may have only one station of this kind, as two would
// be one journal.
func OpenDemoInMorning(t testing.TB, clock *Clock) *Kit {
	t.Helper()
	if now := clock.Now(); !now.Equal(Morning) {
		t.Fatalf("the clock stands at %v, the record begins at %v", now, Morning)
	}
	first, err := demoInMorning()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := os.CopyFS(dir, first.record); err != nil {
		t.Fatalf("copying the record of the demo county: %v", err)
	}
	return OpenWith(t, clock, station.Options{Dir: dir, Now: clock.Now, Defaults: Demo(t), Like: first.station})
}

// filled is a station that was closed again, and its record.
type filled struct {
	station *station.Station
	record  fstest.MapFS
}

// demoInMorning is a station of the invented county that was opened at Morning; made
// once, never changed.
var demoInMorning = sync.OnceValues(func() (first *filled, err error) {
	files, err := demoFiles()
	if err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "bayround-demo-record-")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	st, err := station.Open(context.Background(), station.Options{Dir: dir, Now: NewClock().Now, Defaults: files})
	if err != nil {
		return nil, fmt.Errorf("opening a station of the demo county: %w", err)
	}
	if err := st.Close(); err != nil {
		return nil, fmt.Errorf("closing it: %w", err)
	}
	record, err := inMemory(os.DirFS(dir))
	return &filled{station: st, record: record}, err
})

// inMemory reads a folder.
func inMemory(from fs.FS) (fstest.MapFS, error) {
	files := fstest.MapFS{}
	err := fs.WalkDir(from, ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		content, err := fs.ReadFile(from, name)
		files[name] = &fstest.MapFile{Data: content, Mode: 0o600}
		return err
	})
	return files, err
}
