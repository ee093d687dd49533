package journal

import (
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/fault"
)

// vectors is testdata/rfc6962-vectors.json: RFC 6962 (Certificate
// Transparency) test vectors as published with Google's
// certificate-transparency code and held in transparency-dev/merkle; each
// entry's status says whether it was seen there or follows from RFC 6962
// section 2.1.
type vectors struct {
	Source string   `json:"source"`
	Leaves []string `json:"leaves_hex"`
	Roots  []struct {
		Size uint64 `json:"tree_size"`
		Root string `json:"root"`
	} `json:"roots_by_size"`
	Inclusion []struct {
		Leaf  uint64   `json:"leaf_index_zero_based"`
		Size  uint64   `json:"tree_size"`
		Hash  string   `json:"leaf_hash"`
		Root  string   `json:"root"`
		Proof []string `json:"proof"`
	} `json:"inclusion_proofs"`
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
	b, err := os.ReadFile("testdata/rfc6962-vectors.json")
	if err == nil {
		err = json.Unmarshal(b, &v)
	}
	if err != nil || len(v.Leaves) != 8 || len(v.Roots) != 9 || len(v.Inclusion) != 36 || len(v.Consistency) != 36 {
		t.Fatalf("vectors: %d leaves, %d roots, %d and %d proofs, %v",
			len(v.Leaves), len(v.Roots), len(v.Inclusion), len(v.Consistency), err)
	}
	return v
}

func fromHex(t *testing.T, s string) tlog.Hash {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil || len(b) != tlog.HashSize {
		t.Fatalf("%q is not a hash: %v", s, err)
	}
	return tlog.Hash(b)
}

// signedRoot returns what the newest checkpoint of j says.
func signedRoot(t *testing.T, j *Journal) (size uint64, root tlog.Hash) {
	t.Helper()
	if j.Checkpoint() == nil {
		empty, err := tlog.TreeHash(0, nil)
		if err != nil {
			t.Fatal(err)
		}
		return 0, empty
	}
	c, err := openCheckpoint(j.Checkpoint(), j.verifier)
	if err != nil {
		t.Fatal(err)
	}
	return c.Size, c.Root
}

func wantProof(t *testing.T, what string, got []tlog.Hash, want []string) {
	t.Helper()
	var text []string
	for _, hash := range got {
		text = append(text, hex.EncodeToString(hash[:]))
	}
	wantEqual(t, what, text, want)
}

func TestMerkle_RootsAndProofsOfRFC6962(t *testing.T) {
	v := readVectors(t)
	j := open(t, t.TempDir())
	for n := range v.Roots {
		size, root := signedRoot(t, j)
		if want := fromHex(t, v.Roots[n].Root); size != v.Roots[n].Size || root != want {
			t.Errorf("root of %d events %v, want of %d %v", size, root, v.Roots[n].Size, want)
		}
		if n < len(v.Leaves) {
			leaf, err := hex.DecodeString(v.Leaves[n])
			if err != nil {
				t.Fatal(err)
			}
			put(t, j, fmt.Sprint(n), []string{string(leaf)})
		}
	}
	for _, tc := range v.Inclusion {
		what := fmt.Sprintf("leaf %d in %d", tc.Leaf, tc.Size)
		proof, err := j.Prove(tc.Leaf+1, tc.Size)
		if err != nil {
			t.Errorf("%s: %v", what, err)
		}
		wantProof(t, what, proof, tc.Proof)
		if err := tlog.CheckRecord(proof, int64(tc.Size), fromHex(t, tc.Root), int64(tc.Leaf), fromHex(t, tc.Hash)); err != nil {
			t.Errorf("%s: %v", what, err)
		}
	}
	for _, tc := range v.Consistency {
		what := fmt.Sprintf("tree %d in %d", tc.First, tc.Second)
		proof, err := j.ProveTree(tc.First, tc.Second)
		if err != nil {
			t.Errorf("%s: %v", what, err)
		}
		wantProof(t, what, proof, tc.Proof)
		if err := tlog.CheckTree(proof, int64(tc.Second), fromHex(t, tc.SecondRoot), int64(tc.First), fromHex(t, tc.FirstRoot)); err != nil {
			t.Errorf("%s: %v", what, err)
		}
	}
}

func TestProve_OutsideTheJournal(t *testing.T) {
	j := open(t, t.TempDir())
	put(t, j, "1", []string{"a", "b"})
	for _, tc := range []struct {
		seq, size uint64
		reason    string
	}{{0, 2, "EVENT_UNKNOWN"}, {2, 1, "EVENT_UNKNOWN"}, {1, 3, "TREE_UNKNOWN"}, {1, 1 << 63, "TREE_UNKNOWN"}} {
		_, err := j.Prove(tc.seq, tc.size)
		wantFault(t, err, fault.NotFound, tc.reason)
	}
	_, err := j.ProveTree(1, 3)
	wantFault(t, err, fault.NotFound, "TREE_UNKNOWN")
	for _, old := range []uint64{0, 3} {
		_, err := j.ProveTree(old, 2)
		wantFault(t, err, fault.Invalid, "TREE_SIZE_INVALID")
	}
}

// referenceFile reads a published file that is kept beside the repository and
// never in it.
func referenceFile(t *testing.T, name string) []byte {
	t.Helper()
	path := filepath.Join("..", "..", "..", "shared", "reference", name)
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		if os.Getenv("CI") != "" {
			t.Fatalf("needs %s", path)
		}
		t.Skipf("skipped: needs %s", path)
	}
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// bytesHash decodes the probes' base64; what is no hash cannot reach the
// checker at all and counts as refused.
func bytesHash(s string) (tlog.Hash, error) {
	b, err := base64.StdEncoding.DecodeString(s)
	if err != nil || len(b) != tlog.HashSize {
		return tlog.Hash{}, fmt.Errorf("%q is not a hash", s)
	}
	return tlog.Hash(b), nil
}

func bytesHashes(list []string) (hashes []tlog.Hash, err error) {
	for _, s := range list {
		hash, err := bytesHash(s)
		if err != nil {
			return nil, err
		}
		hashes = append(hashes, hash)
	}
	return hashes, nil
}

// The checker we send our proofs' readers to must refuse what the probes of
// transparency-dev/merkle (testdata/inclusion, Apache-2.0) spoil.
func TestCheckRecord_InclusionProbes(t *testing.T) {
	var probes []struct {
		Leaf    uint64   `json:"leafIdx"`
		Size    uint64   `json:"treeSize"`
		Root    string   `json:"root"`
		Hash    string   `json:"leafHash"`
		Proof   []string `json:"proof"`
		File    string   `json:"file"`
		WantErr bool     `json:"wantErr"`
	}
	if err := json.Unmarshal(referenceFile(t, "merkle/inclusion-probes.json"), &probes); err != nil {
		t.Fatal(err)
	}
	good := 0
	for _, p := range probes {
		root, err1 := bytesHash(p.Root)
		hash, err2 := bytesHash(p.Hash)
		proof, err3 := bytesHashes(p.Proof)
		err := errors.Join(err1, err2, err3)
		if err == nil {
			err = tlog.CheckRecord(proof, int64(p.Size), root, int64(p.Leaf), hash)
		}
		if (err != nil) != p.WantErr {
			t.Errorf("%s: %v, want an error: %v", p.File, err, p.WantErr)
		}
		if err == nil {
			good++
		}
	}
	if len(probes) != 98 || good != 6 {
		t.Errorf("%d probes, %d accepted, want 98 and 6", len(probes), good)
	}
}

// The same for transparency-dev/merkle testdata/consistency (Apache-2.0). One
// good probe has roots that are no hashes at all; it cannot be put to a
// checker with typed hashes and is left out.
func TestCheckTree_ConsistencyProbes(t *testing.T) {
	var probes []struct {
		First      uint64   `json:"size1"`
		Second     uint64   `json:"size2"`
		FirstRoot  string   `json:"root1"`
		SecondRoot string   `json:"root2"`
		Proof      []string `json:"proof"`
		File       string   `json:"file"`
		WantErr    bool     `json:"wantErr"`
	}
	if err := json.Unmarshal(referenceFile(t, "merkle/consistency-probes.json"), &probes); err != nil {
		t.Fatal(err)
	}
	good, left := 0, 0
	for _, p := range probes {
		first, err1 := bytesHash(p.FirstRoot)
		second, err2 := bytesHash(p.SecondRoot)
		proof, err3 := bytesHashes(p.Proof)
		if !p.WantErr && err1 != nil && err2 != nil {
			left++
			continue
		}
		err := errors.Join(err1, err2, err3)
		if err == nil {
			err = tlog.CheckTree(proof, int64(p.Second), second, int64(p.First), first)
		}
		if (err != nil) != p.WantErr {
			t.Errorf("%s: %v, want an error: %v", p.File, err, p.WantErr)
		}
		if err == nil {
			good++
		}
	}
	if len(probes) != 98 || good != 5 || left != 1 {
		t.Errorf("%d probes, %d accepted, %d left out, want 98, 5, 1", len(probes), good, left)
	}
}

// C2SP tlog-checkpoint: origin, decimal size, base64 root, each on a line;
// then an empty line and a signature line that names the key. C2SP
// signed-note: the signature line begins with an em dash and a space.
func TestCheckpoint_HasTheC2SPForm(t *testing.T) {
	j := open(t, t.TempDir())
	put(t, j, "1", []string{"\x00"}) // leaf hash of 0x00: vectors, leaf 1
	lines := strings.Split(string(j.Checkpoint()), "\n")
	root := fromHex(t, "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7")
	if len(lines) != 6 || lines[0] != origin || lines[1] != "1" || lines[2] != root.String() || lines[3] != "" || lines[5] != "" {
		t.Fatalf("checkpoint %q", lines)
	}
	b64, found := strings.CutPrefix(lines[4], "\u2014 "+origin+" ")
	signature, err := base64.StdEncoding.DecodeString(b64)
	if !found || err != nil || len(signature) != 4+64 {
		t.Errorf("signature line %q: %d bytes, %v", lines[4], len(signature), err)
	}
}
