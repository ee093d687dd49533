//go:build !faultpoints

package faultpoint

import (
	"os"
	"os/exec"
	"testing"
)

// The tests of what the points do when they do something are built with the tag.
func TestHit_WithTheTag(t *testing.T) {
	child := exec.Command("go", "test", "-count=1", "-tags", Tag, ".")
	child.Env = os.Environ()
	if out, err := child.CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}
