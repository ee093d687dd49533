package merkle

import (
	"errors"
	"testing"

	"golang.org/x/mod/sumdb/tlog"
)

// What is read is exactly what would be written.
func FuzzCheckpointText(f *testing.F) {
	f.Add("bayround/station/skarholm-quay" + "\n1\nbjQLnP+zepicpUTmu3gKLHiQHT+zNzh2hRGjBhevoB0=\n")
	f.Add("bayround/station/skarholm-quay" + "\n01\nbjQLnP+zepicpUTmu3gKLHiQHT+zNzh2hRGjBhevoB0=\n")
	f.Add("bayround/station/skarholm-quay" + "\n1\nbjQLnP+zepicpUTmu3gKLHiQHT+zNzh2hRGjBhevoB1=\n")
	f.Add("bayround/station/skarholm-quay" + "\n0\nbjQLnP+zepicpUTmu3gKLHiQHT+zNzh2hRGjBhevoB0=\n")
	f.Add("bayround/station/skarholm-quay" + "\n1\nbjQLnP+zepicpUTmu3gKLHiQHT+zNzh2hRGjBhevoB0=\nextension\n")
	f.Add("\n\n\n")
	f.Fuzz(func(t *testing.T, text string) {
		c, err := parseCheckpoint(text)
		if err == nil && (c.Text() != text || c.Size == 0 || c.Origin == "") {
			t.Errorf("%q parses to %+v", text, c)
		}
	})
}

func TestEdge_KnowsOnlyItsCompleteSubtrees(t *testing.T) {
	var e Edge
	for size := range int64(300) {
		for level := range 9 {
			for n := range size>>level + 2 {
				_, err := e.ReadHashes([]int64{tlog.StoredHashIndex(level, n)})
				if edge := size>>level&1 == 1 && n == size>>level-1; errors.Is(err, errNotOnEdge) == edge {
					t.Fatalf("hash %d of level %d of a tree of %d: %v", n, level, size, err)
				}
			}
		}
		if _, err := e.Add(tlog.Hash{byte(size)}); err != nil {
			t.Fatal(err)
		}
	}
}
