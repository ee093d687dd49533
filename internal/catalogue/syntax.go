package catalogue

import (
	"bytes"
	"regexp"
	"sort"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// syntaxLine finds the line in the reader's message.
var syntaxLine = regexp.MustCompile(`line (\d+)(?:: )?`)

// syntaxProblem says a syntax error of the YAML reader in plain words.
func syntaxProblem(f File, err error) *Problem {
	text := strings.TrimPrefix(err.Error(), "yaml: ")
	p := &Problem{File: f.Name, Line: 1, Column: 1}
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
	lines := bytes.SplitAfter(f.Content, []byte("\n"))
	if line := firstBad(lines); line > 0 {
		p.Line = line
	}
	if p.Line <= len(lines) {
		line := lines[p.Line-1]
		p.Column = 1 + len(line) - len(bytes.TrimLeft(line, " "))
	}
	return p
}

// maxSearchedLines bounds the search for the line that breaks a file: it reads
// the file over and over.
const maxSearchedLines = 5000

// firstBad finds the line that breaks the file. The reader often names the line
// on which the broken block began; the one that counts is the last of the fewest
// lines that cannot be read. 0 when the whole is only left unfinished, or too
// long to search.
func firstBad(lines [][]byte) int {
	if len(lines) > maxSearchedLines {
		return 0
	}
	broken := func(n int) bool {
		var node yaml.Node
		err := yaml.Unmarshal(bytes.Join(lines[:n], nil), &node)
		return err != nil && !unfinished(err.Error())
	}
	if n := sort.Search(len(lines), func(i int) bool { return broken(i + 1) }); n < len(lines) {
		return n + 1
	}
	return 0
}

// unfinished tells errors that further lines might mend.
func unfinished(text string) bool {
	return strings.Contains(text, "unexpected end of stream") || strings.Contains(text, "did not find expected ','")
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
	{"unknown anchor", "an alias (*) stands here", "take it away: aliases are not used; put text that begins with * in quotes"},
	{"control characters are not allowed", "a control character stands in the file", "take it out"},
}
