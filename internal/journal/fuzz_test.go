package journal

import (
	"bytes"
	"context"
	"testing"

	"golang.org/x/mod/sumdb/note"
)

func FuzzReceipt(f *testing.F) {
	f.Add(storedReceipt{}.encode())
	f.Add(storedReceipt{digest: [32]byte{1}, first: 3, last: 7, body: []byte("body")}.encode())
	f.Add(storedReceipt{first: 7, last: 3}.encode())
	f.Add([]byte{receiptLayout})
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := decodeReceipt(b)
		if err != nil {
			return
		}
		if !bytes.Equal(r.encode(), b) {
			t.Errorf("%x decodes to %+v, which encodes to %x", b, r, r.encode())
		}
		if r.first > r.last || (r.first == 0) != (r.last == 0) {
			t.Errorf("accepted events %d to %d", r.first, r.last)
		}
	})
}

func FuzzRowKey(f *testing.F) {
	f.Add([]byte("p/a\x00\xff\xff\xff\xff\xff\xff\xff\xfe"))
	f.Add([]byte("p/\x00\x00\x00\x00\x00\x00\x00\x00\x00"))
	f.Add([]byte("p/a\x00b\x00\xff\xff\xff\xff\xff\xff\xff\xfe"))
	f.Add([]byte("e/12345678"))
	f.Add(rowKey("vehicle/skarholm-1/\xff", 1<<40))
	f.Fuzz(func(t *testing.T, b []byte) {
		key, seq, err := splitRowKey(b)
		if err != nil {
			return
		}
		if !bytes.Equal(rowKey(key, seq), b) {
			t.Errorf("%q splits to %q, %d, which joins to %q", b, key, seq, rowKey(key, seq))
		}
		if key == "" || bytes.IndexByte([]byte(key), 0) >= 0 || bytes.Compare(b, pastRow(key)) >= 0 {
			t.Errorf("accepted row %q, which sorts before %q", b, pastRow(key))
		}
	})
}

func FuzzRowValue(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte{rowGone})
	f.Add([]byte{rowPresent})
	f.Add([]byte{rowPresent, 0, 1})
	f.Add([]byte{rowGone, 1})
	f.Fuzz(func(t *testing.T, b []byte) {
		value, err := decodeRowValue(b)
		if err == nil && !bytes.Equal(Row{Value: value}.encode(), b) {
			t.Errorf("%x decodes to %x (nil: %v), which encodes to %x", b, value, value == nil, Row{Value: value}.encode())
		}
	})
}

// FuzzHead changes a head that is really signed: none but the original may be
// accepted, or one with the signatures of others added.
func FuzzHead(f *testing.F) {
	j, err := Open(context.Background(), Options{Dir: f.TempDir(), Origin: origin})
	if err != nil {
		f.Fatal(err)
	}
	if _, err := j.Append(context.Background(), Command{ID: "1"}, always(Entry{Events: [][]byte{[]byte("a")}})); err != nil {
		f.Fatal(err)
	}
	head, verifier := j.Checkpoint(), j.verifier
	if err := j.Close(); err != nil {
		f.Fatal(err)
	}
	f.Add(uint16(0), []byte{})
	f.Add(uint16(len(origin)+1), []byte("2"))
	f.Add(uint16(len(head)-4), []byte("B"))
	f.Add(uint16(len(head)), []byte("\u2014 someone/else AAAAAAAA\n"))
	f.Fuzz(func(t *testing.T, at uint16, with []byte) {
		changed := bytes.Clone(head[:min(int(at), len(head))])
		changed = append(changed, with...)
		if len(changed) < len(head) {
			changed = append(changed, head[len(changed):]...)
		}
		c, err := openCheckpoint(changed, verifier)
		if err != nil || bytes.Equal(changed, head) {
			return
		}
		n, err := note.Open(changed, note.VerifierList(verifier))
		if err != nil || n.Text != c.Text() || !bytes.HasPrefix(head, []byte(n.Text)) || len(n.UnverifiedSigs) == 0 {
			t.Errorf("accepted %q", changed)
		}
	})
}

func FuzzIdentity(f *testing.F) {
	_, verifierKey, err := note.GenerateKey(bytes.NewReader(make([]byte, 64)), origin)
	if err != nil {
		f.Fatal(err)
	}
	whole := newIdentity(verifierKey).encode()
	f.Add(whole)
	f.Add(whole[:len(whole)-1])
	f.Add(bytes.Replace(whole, []byte("journal 1"), []byte("journal 01"), 1))
	f.Add([]byte("bayround journal 2\n"))
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, b []byte) {
		i, err := parseIdentity("here", b)
		if err == nil && !bytes.Equal(i.encode(), b) {
			t.Errorf("%q parses to %+v", b, i)
		}
	})
}
