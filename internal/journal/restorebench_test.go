package journal

import (
	"bytes"
	"context"
	"crypto/rand"
	"fmt"
	"iter"
	"testing"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/merkle"
)

// results is how many a busy station has in its fifteen months.
const results = 270_000

// manyCommands are made one by one, as a file is read.
func manyCommands(commands int) iter.Seq2[Stored, error] {
	return func(yield func(Stored, error) bool) {
		for n := range commands {
			record := bytes.Repeat(fmt.Appendf(nil, "%08d", n), 50) // 400 bytes
			c := Stored{
				Command: Command{ID: fmt.Sprintf("command-%08d", n), Digest: [32]byte{1}}, Receipt: record[:40], First: uint64(n + 1),
				Events: []StoredEvent{{Record: record}},
			}
			if !yield(c, nil) {
				return
			}
		}
	}
}

// BenchmarkRestore restores 270,000 results of 400 bytes.
func BenchmarkRestore(b *testing.B) {
	secret, public, err := note.GenerateKey(rand.Reader, origin)
	if err != nil {
		b.Fatal(err)
	}
	signer, err := note.NewSigner(secret)
	if err != nil {
		b.Fatal(err)
	}
	var tree merkle.Edge
	for c := range manyCommands(results) {
		if _, err := tree.Add(tlog.RecordHash(c.Events[0].Record)); err != nil {
			b.Fatal(err)
		}
	}
	root, err := tree.Root()
	if err != nil {
		b.Fatal(err)
	}
	head, err := merkle.Checkpoint{Origin: origin, Size: results, Root: root}.Sign(signer)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		o := RestoreOptions{Dir: b.TempDir(), ID: newIdentity(public).id, Verifier: public, Signer: []byte(secret + "\n"), Head: head}
		if _, err := Restore(context.Background(), o, manyCommands(results)); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(results/(b.Elapsed().Seconds()/float64(b.N)), "results/s")
}
