package journal

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"bayround/internal/fault"
)

// G10: a disk of 40 MB that the journal fills as far as it takes, twice, and that is full to its last byte when
// the journal is to be opened. No crash, a clear refusal, and nothing that was acknowledged is lost.
func TestSpace_FullDiskOf40MB(t *testing.T) {
	d := newDiskOf(t, 40<<20)
	if err := os.WriteFile(filepath.Join(d.mount, "spare"), make([]byte, 8<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	child := exec.Command(os.Args[0], "-test.run=^$")
	child.Env = append(os.Environ(), childTask+"="+crampedTask, childDir+"="+d.dir())
	var said, complained bytes.Buffer
	child.Stdout, child.Stderr = &said, &complained
	if err := child.Run(); err != nil || !strings.HasSuffix(said.String(), "closed\n") {
		t.Fatalf("the child on the full disk: %v\n%s", err, complained.String())
	}

	if err := fillDisk(filepath.Join(d.mount, "last"), 0); err != nil {
		t.Fatal(err)
	}
	_, err := Open(context.Background(), Options{Dir: d.dir(), Space: cramped, tune: smallStore})
	if !fault.Is(err, fault.Exhausted) {
		t.Fatalf("opened on a full disk: %v", err)
	}
	for _, name := range []string{"filler2", "last"} {
		if err := os.Remove(filepath.Join(d.mount, name)); err != nil {
			t.Fatal(err)
		}
	}
	// The child filled the journal to its limit; a little less must do to read it.
	smaller := cramped
	smaller.FullBytes = 1
	j := open(t, d.dir(), wanting(smaller), func(o *Options) { o.tune = smallStore })
	acked := 0
	for line := range strings.Lines(said.String()) {
		var id string
		var first, last uint64
		if _, err := fmt.Sscanf(line, "ack %s %d %d", &id, &first, &last); err != nil {
			continue
		}
		acked++
		r, err := j.Append(context.Background(), Command{ID: id}, nil)
		if err != nil || !r.Repeated || r.First != first || r.Last != last {
			t.Fatalf("%s was acknowledged as %d to %d; now %+v, %v", id, first, last, r, err)
		}
	}
	if acked < 100 {
		t.Errorf("only %d commands were acknowledged before the disk was full", acked)
	}
	if err := readAll(j); err != nil {
		t.Error(err)
	}
}
