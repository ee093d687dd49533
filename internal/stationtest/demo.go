package stationtest

import (
	"os"
	"path/filepath"
	"testing"

	"bayround/internal/catalogue"
	"bayround/internal/station"
)

// Demo returns the files that come with Bayround and those of the invented
// county: a station of true size. The test's package must lie in internal.
func Demo(t testing.TB) []catalogue.File {
	t.Helper()
	files := catalogue.Defaults()
	for _, pattern := range []string{"*.yaml", filepath.Join("vehicles", "*.yaml")} {
		names, err := filepath.Glob(filepath.Join("..", "..", "testdata", "demo", pattern))
		if err != nil {
			t.Fatalf("looking for the demo county: %v", err)
		}
		for _, name := range names {
			content, err := os.ReadFile(name)
			if err != nil {
				t.Fatalf("reading the demo county: %v", err)
			}
			files = append(files, catalogue.File{Name: filepath.Base(name), Content: content})
		}
	}
	return files
}

// OpenDemo opens a station of the invented county in a directory of its own,
// by the computer's clock; it is closed when the test ends.
func OpenDemo(t testing.TB) *Kit {
	t.Helper()
	return OpenWith(t, nil, station.Options{Dir: t.TempDir(), Defaults: Demo(t)})
}
