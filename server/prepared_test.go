package main

import (
	"os"
	"sync"
	"testing"
)

// scratch is a folder for what all tests of this run share; TestMain removes it.
var scratch = sync.OnceValues(func() (string, error) { return os.MkdirTemp("", "bayround-server-") })

// prepared is a record that is made once and copied for every test that begins with
// it: filling a station anew each time was most of what these tests took.
type prepared struct {
	from *prepared // the record it begins with; nil for an empty one
	fill func(t *testing.T, address string)

	once   sync.Once
	folder string // set within once; "" when it could not be made
}

// The records that tests begin with.
var (
	// ofCounty knows the county.
	ofCounty = &prepared{fill: func(t *testing.T, address string) {
		must(t, "apply", county(t), "--server", address)
	}}
	// ofCheckedWN21 knows that WN21 was checked, its inner tyre found nearly flat,
	// and WN11 found sound.
	ofCheckedWN21 = &prepared{from: ofCounty, fill: func(t *testing.T, address string) {
		must(t, "play", "--server", address, round(t, "05-wn21-shift.yaml"), round(t, "06-wn21-weekly.yaml"))
		must(t, "play", "--server", address, round(t, "01-wn11-shift.yaml"), round(t, "02-wn11-weekly.yaml"))
	}}
)

// copy gives the test a folder of its own with the record in it.
func (p *prepared) copy(t *testing.T) string {
	t.Helper()
	p.once.Do(func() { p.make(t) })
	if p.folder == "" {
		t.Fatal("the record this test begins with could not be made; the first test that wanted it says why")
	}
	folder := t.TempDir()
	copyFolder(t, folder, p.folder)
	return folder
}

// make makes the record and keeps it until the end of the run.
func (p *prepared) make(t *testing.T) {
	t.Helper()
	top, err := scratch()
	if err != nil {
		t.Fatal(err)
	}
	folder, err := os.MkdirTemp(top, "record-")
	if err != nil {
		t.Fatal(err)
	}
	if p.from != nil {
		copyFolder(t, folder, p.from.copy(t))
	}
	s := serving(t, folder)
	p.fill(t, s.address)
	if last := s.stop(); last.code != 0 {
		t.Fatalf("the station that was filled ended with %d\n%s", last.code, last.err)
	}
	p.folder = folder
}

func copyFolder(t *testing.T, to, from string) {
	t.Helper()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatalf("copying a record: %v", err)
	}
}
