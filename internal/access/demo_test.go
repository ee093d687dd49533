package access

import (
	"os"
	"regexp"
	"testing"
)

// The PIN that the demo's own file names opens every hash in it.
func TestDemo_EveryHashIsOfThePINItNames(t *testing.T) {
	content, err := os.ReadFile("../../testdata/demo/people.yaml")
	if err != nil {
		t.Fatal(err)
	}
	named := regexp.MustCompile(`PIN is ([0-9]+)`).FindSubmatch(content)
	hashes := regexp.MustCompile(`pin_argon2id: "([^"]+)"`).FindAllSubmatch(content, -1)
	if named == nil || len(hashes) < 6 {
		t.Fatalf("the file names PIN %q and holds %d hashes", named, len(hashes))
	}
	seen := map[string]bool{}
	for _, h := range hashes {
		hash := string(h[1])
		if same, err := matches(string(named[1]), hash); !same || err != nil {
			t.Errorf("%s is not of PIN %s: %v", hash, named[1], err)
		}
		if seen[hash] || !contract.MatchString(hash) {
			t.Errorf("%s stands there twice, or is not as the contract says", hash)
		}
		seen[hash] = true
	}
}
