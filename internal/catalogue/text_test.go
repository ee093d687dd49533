package catalogue

import (
	"bytes"
	"strings"
	"sync"
	"testing"
)

// defaultLines are the lines of the default files, cut once for all tests.
var defaultLines = sync.OnceValue(func() map[string][][]byte {
	lines := map[string][][]byte{}
	for _, f := range Defaults() {
		lines[f.Name] = bytes.Split(f.Content, []byte("\n"))
	}
	return lines
})

// textAt is the plain or quoted value that stands at a place of a default file,
// to the end of its line.
func textAt(t *testing.T, file string, line, column int) string {
	t.Helper()
	lines := defaultLines()[file]
	if line < 1 || line > len(lines) || column < 1 || column > len(lines[line-1]) {
		t.Fatalf("%s:%d:%d lies outside the files", file, line, column)
	}
	text := string(lines[line-1][column-1:])
	if end := strings.IndexAny(text, ",}"); end >= 0 {
		text = text[:end]
	}
	return strings.Trim(strings.TrimSpace(text), `"'`)
}
