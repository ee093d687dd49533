package catalogue

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// Limits of what is read. They lie far above any station's files and bound what
// a hostile file can cost.
const (
	maxFiles        = 2000
	maxFileBytes    = 1 << 20
	maxTotalBytes   = 8 << 20
	maxDepth        = 32
	maxFileProblems = 500
)

// readable says what keeps the bytes of a file from being read as text, if
// anything does.
func readable(f File) *Problem {
	at := func(offset int, wrong, right string) *Problem {
		line := 1 + bytes.Count(f.Content[:offset], []byte("\n"))
		column := offset - bytes.LastIndexByte(f.Content[:offset], '\n')
		return &Problem{File: f.Name, Line: line, Column: column, Wrong: wrong, Right: right}
	}
	if len(f.Content) > maxFileBytes {
		return at(0, fmt.Sprintf("the file holds %d bytes", len(f.Content)), fmt.Sprintf("at most %d; spread it over several files", maxFileBytes))
	}
	if !utf8.Valid(f.Content) {
		offset := 0
		for offset < len(f.Content) {
			r, size := utf8.DecodeRune(f.Content[offset:])
			if r == utf8.RuneError && size == 1 {
				break
			}
			offset += size
		}
		return at(offset, "a byte here is no UTF-8 text", "save the file as UTF-8")
	}
	if odd := oddLineBreak(f.Content); odd >= 0 {
		return at(odd, "a line ends in an unusual character here", "end lines with a plain line feed")
	}
	return nil
}

// oddLineBreak finds a character at which YAML starts a new line but people and
// editors do not, so that line numbers would not be theirs; -1 when there is none.
func oddLineBreak(content []byte) int {
	for i := 0; ; i++ {
		next := bytes.IndexByte(content[i:], '\r')
		if next < 0 {
			break
		}
		if i += next; i+1 == len(content) || content[i+1] != '\n' {
			return i
		}
	}
	for _, odd := range []string{"\u0085", "\u2028", "\u2029"} {
		if i := bytes.Index(content, []byte(odd)); i >= 0 {
			return i
		}
	}
	return -1
}

// secondDocument says where a file begins a second document, if it does. Only
// the first would be read.
func secondDocument(f File) *Problem {
	if !bytes.Contains(f.Content, []byte("\n---")) && !bytes.Contains(f.Content, []byte("\n...")) {
		return nil // nothing can end a document: spare the second reading
	}
	decoder := yaml.NewDecoder(bytes.NewReader(f.Content))
	var first, second yaml.Node
	if err := decoder.Decode(&first); err != nil {
		return nil // told by whoever reads the first
	}
	switch err := decoder.Decode(&second); {
	case errors.Is(err, io.EOF):
		return nil
	case err != nil:
		return syntaxProblem(f, err)
	}
	return &Problem{File: f.Name, Line: second.Line, Column: second.Column, Wrong: "a second document begins here", Right: "put it into a file of its own"}
}

// plain walks a document and complains about what the files do without:
// anchors, aliases, tags, and nesting that no message has.
func plain(c *complaints, node *yaml.Node, depth int) {
	switch {
	case c.full:
		return
	case depth > maxDepth:
		c.add(node, "", "values are nested more than "+strconv.Itoa(maxDepth)+" deep", "no message goes that deep")
		return
	case node.Kind == yaml.AliasNode:
		c.add(node, "", "an alias (*) stands here", "write the value out: what applies must be readable where it stands")
		return
	case node.Anchor != "":
		c.add(node, "", "an anchor (&) stands here", "take it away: aliases are not used")
	case node.Style&yaml.TaggedStyle != 0:
		c.add(node, "", "a tag (!) stands here", "take it away: the field says what kind of value it holds")
	}
	for _, child := range node.Content {
		plain(c, child, depth+1)
	}
}
