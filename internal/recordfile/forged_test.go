package recordfile_test

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"io"
	"testing"

	"google.golang.org/protobuf/encoding/protodelim"

	"bayround/internal/recordfile"
	pb "bayround/proto/bayround/v1"
)

// forged writes a file that no writer would write, with a right SHA-256.
func forged(t testing.TB, c *content, checkpoint string) []byte {
	t.Helper()
	b := bytes.NewBufferString("bayround record\n")
	part := func(p *pb.RecordPart) {
		t.Helper()
		_, err := protodelim.MarshalTo(b, p)
		must(t, err)
	}
	part(&pb.RecordPart{Part: &pb.RecordPart_Head{Head: c.head}})
	for _, cmd := range c.commands {
		part(&pb.RecordPart{Part: &pb.RecordPart_Command{Command: cmd}})
	}
	sum := sha256.Sum256(b.Bytes())
	part(&pb.RecordPart{Part: &pb.RecordPart_Seal{Seal: &pb.RecordSeal{Checkpoint: checkpoint, Sha256: sum[:]}}})
	return b.Bytes()
}

// Whatever the bytes are: no crash, no more memory than a part needs, and what
// is taken for good can be written again and is the same.
func FuzzReader(f *testing.F) {
	k := newKeys(f)
	for _, c := range []*content{contentOf(f, k, 0), contentOf(f, k, 0, 1, 2, 1, 3), contentOf(f, k, 2, 3, 1, 1, 1)} {
		file := c.file(f)
		f.Add(file)
		f.Add(file[:len(file)/2])
		f.Add(forged(f, c, "none"))
	}
	f.Add([]byte("bayround record\n\xff\xff\xff\xff\xff\xff\xff\xff\xff\x01"))
	f.Add([]byte("bayround record\n\xff\xff\x3f"))
	f.Fuzz(func(t *testing.T, file []byte) {
		r, commands, err := read(file)
		if err == nil {
			t.Fatal("reading ended without an end")
		}
		if r == nil {
			return
		}
		if r.Whole() > int64(len(file)) || r.Last() < uint64(r.Head().GetFirstSequence()-1) {
			t.Fatalf("%d good bytes of %d, up to event %d from %d", r.Whole(), len(file), r.Last(), r.Head().GetFirstSequence())
		}
		w, werr := recordfile.NewWriter(io.Discard, r.Head())
		must(t, werr)
		for _, cmd := range commands {
			must(t, w.Command(cmd))
		}
		if errors.Is(err, io.EOF) {
			must(t, w.Seal(r.Seal().GetCheckpoint()))
		}
	})
}
