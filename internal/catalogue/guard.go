package catalogue

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// Limits of what is read. They lie far above any station's files and bound what
// a hostile file can cost.
const (
	maxFiles        = 2000
	maxFileBytes    = 1 << 20
	maxTotalBytes   = 32 << 20
	maxDepth        = 32
	maxFileProblems = 500
)

// oddLineBreaks are characters at which YAML starts a new line but people and
// editors do not: line numbers would not be theirs.
var oddLineBreaks = regexp.MustCompile("\r[^\n]|\r$|\u0085|\u2028|\u2029")

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
	if odd := oddLineBreaks.FindIndex(f.Content); odd != nil {
		return at(odd[0], "a line ends in an unusual character here", "end lines with a plain line feed")
	}
	return nil
}

// tree parses the one YAML document of a file. The node is nil when the file
// holds nothing but comments.
func tree(f File) (root *yaml.Node, problem *Problem) {
	defer func() {
		// The parser is not ours; on bytes it cannot stand it must not take the station with it.
		if thrown := recover(); thrown != nil {
			root, problem = nil, &Problem{File: f.Name, Line: 1, Column: 1, Wrong: "the YAML reader gave up on this file", Right: "write it in the plain block style of the other files"}
		}
	}()
	decoder := yaml.NewDecoder(bytes.NewReader(f.Content))
	var document, second yaml.Node
	switch err := decoder.Decode(&document); {
	case errors.Is(err, io.EOF):
		return nil, nil
	case err != nil:
		return nil, syntaxProblem(f.Name, err)
	}
	switch err := decoder.Decode(&second); {
	case err == nil:
		return nil, &Problem{File: f.Name, Line: second.Line, Column: second.Column, Wrong: "a second document begins here", Right: "put it into a file of its own"}
	case !errors.Is(err, io.EOF):
		return nil, syntaxProblem(f.Name, err)
	}
	if document.Kind != yaml.DocumentNode || len(document.Content) != 1 {
		return nil, nil
	}
	return document.Content[0], nil
}

// syntaxLine finds the line in the reader's message.
var syntaxLine = regexp.MustCompile(`line (\d+)(?:: )?`)

// syntaxProblem says a syntax error of the YAML reader in plain words. The
// reader tells the line only.
func syntaxProblem(file string, err error) *Problem {
	text := strings.TrimPrefix(err.Error(), "yaml: ")
	p := &Problem{File: file, Line: 1, Column: 1}
	if m := syntaxLine.FindStringSubmatchIndex(text); m != nil {
		p.Line, _ = strconv.Atoi(text[m[2]:m[3]])
		text = text[:m[0]] + text[m[1]:]
	}
	p.Wrong, p.Right = "the YAML cannot be read: "+text, "look at indentation, quotes and colons here and on the line above"
	for _, known := range syntaxWords {
		if strings.Contains(text, known.part) {
			p.Wrong, p.Right = known.wrong, known.right
			break
		}
	}
	return p
}

// syntaxWords are the slips that happen most, by what the reader says of them.
var syntaxWords = []struct{ part, wrong, right string }{
	{"mapping values are not allowed", "a colon stands where none can", "put text that holds \": \" in quotes, and indent the line like its neighbours"},
	{"did not find expected key", "the line does not fit its neighbours", "indent it like the other fields beside it"},
	{"did not find expected '-' indicator", "the line does not fit the list it stands in", "begin it with \"- \" like the others, or indent it further"},
	{"could not find expected ':'", "a field has no colon", "write it as \"name: value\""},
	{"found character that cannot start any token", "a character stands here that cannot begin a value", "indent with spaces, not tabs, and put such text in quotes"},
	{"found a tab character", "a tab stands here", "indent with spaces"},
	{"found unexpected end of stream", "a quote or bracket is never closed", "close it"},
	{"found unknown escape character", "a backslash inside double quotes means something else", "double the backslash, or use single quotes"},
	{"control characters are not allowed", "a control character stands in the file", "take it out"},
}

// plain walks a document and complains about what the files do without:
// anchors, aliases, tags, and nesting that no message has.
func plain(c *complaints, node *yaml.Node, depth int) {
	switch {
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
