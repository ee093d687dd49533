package stationtest

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"

	"bayround/internal/faultpoint"
)

// Breakable is the test binary of the package whose tests run, built with fault
// points when one of them asks for it first. The zero value is ready.
type Breakable struct {
	once   sync.Once
	folder string
	err    error
}

// Path builds the binary, once, and returns its path.
func (b *Breakable) Path(t testing.TB) string {
	t.Helper()
	b.once.Do(func() {
		if b.folder, b.err = os.MkdirTemp("", "bayround-breakable-"); b.err != nil {
			return
		}
		build := exec.Command("go", "test", "-c", "-tags", faultpoint.Tag, "-buildvcs=false", "-o", b.binary(), ".")
		if out, err := build.CombinedOutput(); err != nil {
			b.err = fmt.Errorf("%w\n%s", err, out)
		}
	})
	if b.err != nil {
		t.Fatalf("building this test with fault points: %v", b.err)
	}
	return b.binary()
}

func (b *Breakable) binary() string { return filepath.Join(b.folder, "breakable.test") }

// Remove takes the binary away at the end of the run, if it was built.
func (b *Breakable) Remove() {
	if b.folder != "" {
		_ = os.RemoveAll(b.folder)
	}
}
