package merkle_test

import (
	"crypto/rand"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"pgregory.net/rapid"

	"bayround/internal/merkle"
)

const origin = "bayround/station/skarholm-quay"

// vectors are RFC 6962 test vectors as published with Google's
// certificate-transparency code; they stand, with their source, beside the journal.
type vectors struct {
	Leaves []string `json:"leaves_hex"`
	Roots  []struct {
		Size uint64 `json:"tree_size"`
		Root string `json:"root"`
	} `json:"roots_by_size"`
	Consistency []struct {
		First      uint64   `json:"first_size"`
		Second     uint64   `json:"second_size"`
		FirstRoot  string   `json:"first_root"`
		SecondRoot string   `json:"second_root"`
		Proof      []string `json:"proof"`
	} `json:"consistency_proofs"`
}

func readVectors(t *testing.T) (v vectors) {
	t.Helper()
	b, err := os.ReadFile("../journal/testdata/rfc6962-vectors.json")
	if err == nil {
		err = json.Unmarshal(b, &v)
	}
	if err != nil || len(v.Leaves) != 8 || len(v.Roots) != 9 || len(v.Consistency) != 36 {
		t.Fatalf("vectors: %d leaves, %d roots, %d proofs, %v", len(v.Leaves), len(v.Roots), len(v.Consistency), err)
	}
	return v
}

func fromHex(t *testing.T, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestEdge_HasTheRootsOfRFC6962(t *testing.T) {
	v := readVectors(t)
	var e merkle.Edge
	for n, want := range v.Roots {
		root, err := e.Root()
		if err != nil || e.Size() != want.Size || root != tlog.Hash(fromHex(t, want.Root)) {
			t.Errorf("%d leaves have root %v, %v; published is %s for %d", e.Size(), root, err, want.Root, want.Size)
		}
		if n < len(v.Leaves) {
			if _, err := e.Add(tlog.RecordHash(fromHex(t, v.Leaves[n]))); err != nil {
				t.Fatal(err)
			}
		}
	}
}

func TestGrown_HoldsTheProofsOfRFC6962(t *testing.T) {
	for _, tc := range readVectors(t).Consistency {
		older := merkle.Checkpoint{Size: tc.First, Root: tlog.Hash(fromHex(t, tc.FirstRoot))}
		newer := merkle.Checkpoint{Size: tc.Second, Root: tlog.Hash(fromHex(t, tc.SecondRoot))}
		var path []tlog.Hash
		for _, hash := range tc.Proof {
			path = append(path, tlog.Hash(fromHex(t, hash)))
		}
		if err := merkle.Grown(older, newer, path); err != nil {
			t.Errorf("%d to %d: %v", tc.First, tc.Second, err)
		}
		newer.Root[0] ^= 1
		if err := merkle.Grown(older, newer, path); !errors.Is(err, merkle.ErrNotProven) {
			t.Errorf("%d to another tree of %d: %v", tc.First, tc.Second, err)
		}
		newer.Root[0] ^= 1
		if tc.First < tc.Second {
			if err := merkle.Grown(newer, older, path); !errors.Is(err, merkle.ErrNotProven) {
				t.Errorf("%d shrunk to %d: %v", tc.Second, tc.First, err)
			}
		}
	}
}

// Grown refuses what the probes of transparency-dev/merkle (testdata/consistency,
// Apache-2.0) spoil. Two kinds of probe are left out: what is no hash cannot be put
// to it, and an equal size needs no proof here, so that a superfluous one is not
// looked at.
func TestGrown_ConsistencyProbes(t *testing.T) {
	path := filepath.Join("..", "..", "..", "shared", "reference", "merkle", "consistency-probes.json")
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) && os.Getenv("CI") == "" {
		t.Skipf("skipped: needs %s", path)
	}
	var probes []struct {
		First      uint64   `json:"size1"`
		Second     uint64   `json:"size2"`
		FirstRoot  string   `json:"root1"`
		SecondRoot string   `json:"root2"`
		Proof      []string `json:"proof"`
		File       string   `json:"file"`
		WantErr    bool     `json:"wantErr"`
	}
	if err := errors.Join(err, json.Unmarshal(b, &probes)); err != nil {
		t.Fatal(err)
	}
	held := 0
	for _, p := range probes {
		texts := append([]string{p.FirstRoot, p.SecondRoot}, p.Proof...)
		var read [][]byte
		for _, text := range texts {
			b, err := base64.StdEncoding.DecodeString(text)
			if err != nil {
				t.Fatalf("%s: %v", p.File, err)
			}
			read = append(read, b)
		}
		hashes, err := merkle.Hashes(read)
		if err != nil || p.First == 0 || p.First == p.Second {
			continue
		}
		held++
		err = merkle.Grown(merkle.Checkpoint{Size: p.First, Root: hashes[0]}, merkle.Checkpoint{Size: p.Second, Root: hashes[1]}, hashes[2:])
		if (err != nil) != p.WantErr {
			t.Errorf("%s: %v, want an error: %v", p.File, err, p.WantErr)
		}
	}
	if held < 50 {
		t.Errorf("only %d of %d probes were held", held, len(probes))
	}
}

func TestEdge_GoesOnFromItsSubtrees(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var whole merkle.Edge
		for n := range rapid.IntRange(0, 70).Draw(t, "before") {
			if _, err := whole.Add(tlog.RecordHash([]byte{byte(n)})); err != nil {
				t.Fatal(err)
			}
		}
		continued, err := merkle.EdgeOf(whole.Size(), whole.Subtrees())
		if err != nil || continued != whole {
			t.Fatalf("%d leaves: %v", whole.Size(), err)
		}
		if _, err := merkle.EdgeOf(whole.Size()+1<<62, whole.Subtrees()); err == nil {
			t.Error("a size that no tree has was taken")
		}
		if _, err := merkle.EdgeOf(whole.Size(), append(whole.Subtrees(), tlog.Hash{})); err == nil {
			t.Error("a subtree too many was taken")
		}
	})
}

func TestOpenCheckpoint_TellsForgedFromUnreadable(t *testing.T) {
	keys := func(name string) (note.Signer, note.Verifier) {
		secret, public, err := note.GenerateKey(rand.Reader, name)
		signer, err2 := note.NewSigner(secret)
		verifier, err3 := note.NewVerifier(public)
		if err := errors.Join(err, err2, err3); err != nil {
			t.Fatal(err)
		}
		return signer, verifier
	}
	signer, verifier := keys(origin)
	other, _ := keys(origin)
	want := merkle.Checkpoint{Origin: origin, Size: 7, Root: tlog.RecordHash([]byte("seven"))}
	sign := func(c merkle.Checkpoint, by note.Signer) []byte {
		signed, err := c.Sign(by)
		if err != nil {
			t.Fatal(err)
		}
		return signed
	}
	good := sign(want, signer)
	if got, err := merkle.OpenCheckpoint(good, verifier); got != want || err != nil {
		t.Errorf("%+v, %v; want %+v", got, err, want)
	}
	elsewhere := want
	elsewhere.Origin = "bayround/station/ferrow-bridge"
	for _, tc := range []struct {
		what   string
		signed []byte
		want   error
	}{
		{"another key of the name", sign(want, other), merkle.ErrForged},
		{"a changed size", []byte(strings.Replace(string(good), "\n7\n", "\n8\n", 1)), merkle.ErrForged},
		{"another origin by the same key", sign(elsewhere, signer), merkle.ErrForged},
		{"of no event", sign(merkle.Checkpoint{Origin: origin}, signer), merkle.ErrUnreadable},
		{"nothing", nil, merkle.ErrUnreadable},
		{"cut off", good[:len(good)-3], merkle.ErrUnreadable},
	} {
		if _, err := merkle.OpenCheckpoint(tc.signed, verifier); !errors.Is(err, tc.want) {
			t.Errorf("%s: %v, want %v", tc.what, err, tc.want)
		}
	}
}

func TestHashes_AreOf32Bytes(t *testing.T) {
	want := []tlog.Hash{{1}, {2}}
	if got, err := merkle.Hashes(merkle.Bytes(want)); !slices.Equal(got, want) || err != nil {
		t.Errorf("%v, %v", got, err)
	}
	if _, err := merkle.Hashes([][]byte{make([]byte, 31)}); err == nil {
		t.Error("31 bytes are taken for a hash")
	}
}
