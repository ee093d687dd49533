package roundproof_test

import (
	"bufio"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"bayround/internal/merkle"
	"bayround/internal/roundproof"
)

// included is RFC 9162, section 2.1.3.2, word for word and without the library that
// the package uses; its tree is that of RFC 6962.
func included(leaf [32]byte, index, size uint64, path [][]byte, root []byte) bool {
	if index >= size {
		return false
	}
	fn, sn, r := index, size-1, leaf[:]
	node := func(left, right []byte) []byte {
		sum := sha256.Sum256(append(append([]byte{1}, left...), right...))
		return sum[:]
	}
	for _, p := range path {
		if sn == 0 {
			return false
		}
		if fn&1 == 1 || fn == sn {
			r = node(p, r)
			for fn&1 == 0 && fn != 0 {
				fn, sn = fn>>1, sn>>1
			}
		} else {
			r = node(r, p)
		}
		fn, sn = fn>>1, sn>>1
	}
	return sn == 0 && string(r) == string(root)
}

// The file is as its description says: whoever has nothing but that and RFC 9162 finds the same.
func TestFile_IsReadByWhoeverHasTheRFCAlone(t *testing.T) {
	signer, public := keys(t, 0)
	file := tell(t, true).file(signer, public).Bytes()
	head, checkpoint, _ := strings.Cut(string(file), "\ncheckpoint\n")
	signed := strings.Split(checkpoint, "\n")
	size, err := strconv.ParseUint(signed[1], 10, 64)
	root, err2 := base64.StdEncoding.DecodeString(signed[2])
	if err := errors.Join(err, err2); err != nil {
		t.Fatal(err)
	}
	var number uint64
	var leaf [32]byte
	proven := 0
	for lines := bufio.NewScanner(strings.NewReader(head)); lines.Scan(); {
		words := strings.Split(lines.Text(), " ")
		switch words[0] {
		case "event":
			record, err := base64.StdEncoding.DecodeString(words[2])
			if err != nil {
				t.Fatal(err)
			}
			if number, err = strconv.ParseUint(words[1], 10, 64); err != nil {
				t.Fatal(err)
			}
			leaf = sha256.Sum256(append([]byte{0}, record...))
		case "path":
			var path [][]byte
			for _, word := range words[1:] {
				hash, err := base64.StdEncoding.DecodeString(word)
				if err != nil {
					t.Fatal(err)
				}
				path = append(path, hash)
			}
			if !included(leaf, number-1, size, path, root) {
				t.Errorf("event %d is not in the tree", number)
			}
			proven++
		}
	}
	if proven != 5 {
		t.Errorf("%d events are proven, want 5", proven)
	}
}

// An event that was dropped is held to its path as the probes of transparency-dev/merkle
// (testdata/inclusion, Apache-2.0) say; what is no hash cannot be put to it.
func TestCheck_InclusionProbes(t *testing.T) {
	name := filepath.Join("..", "..", "..", "shared", "reference", "merkle", "inclusion-probes.json")
	b, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) && os.Getenv("CI") == "" {
		t.Skipf("skipped: needs %s", name)
	}
	var probes []struct {
		Index   uint64   `json:"leafIdx"`
		Size    uint64   `json:"treeSize"`
		Root    []byte   `json:"root"`
		Leaf    []byte   `json:"leafHash"`
		Proof   [][]byte `json:"proof"`
		WantErr bool     `json:"wantErr"`
		File    string   `json:"file"`
	}
	if err := errors.Join(err, json.Unmarshal(b, &probes)); err != nil {
		t.Fatal(err)
	}
	signer, public := keys(t, 0)
	held := 0
	for _, p := range probes {
		hashes, err := merkle.Hashes(append([][]byte{p.Root, p.Leaf}, p.Proof...))
		if err != nil || p.Size == 0 || p.Size>>62 != 0 || p.Index>>62 != 0 {
			continue // no hash, or no tree that a checkpoint can be of
		}
		held++
		checkpoint, err := merkle.Checkpoint{Origin: signer.Name(), Size: p.Size, Root: hashes[0]}.Sign(signer)
		if err != nil {
			t.Fatal(err)
		}
		f := &roundproof.File{Round: theRound, Key: public, Checkpoint: string(checkpoint), Events: []roundproof.Event{
			{Number: int64(p.Index) + 1, Leaf: hashes[1], Path: hashes[2:]},
		}}
		_, err = f.Check(public)
		outside := strings.Contains(err.Error(), "is not in the tree") // it always errs: no opening is there
		if outside != p.WantErr {
			t.Errorf("%s: %v, want it outside the tree: %v", p.File, err, p.WantErr)
		}
		if included([32]byte(hashes[1]), p.Index, p.Size, p.Proof, p.Root) == p.WantErr {
			t.Errorf("%s: the RFC, word for word, says otherwise", p.File)
		}
	}
	if held < 60 {
		t.Errorf("only %d of %d probes were held", held, len(probes))
	}
}
