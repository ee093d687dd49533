package rules

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/types"
)

// notKnown stands in a text for a part that could not be worked out. The rule
// was met all the same, so its finding keeps its effect.
const notKnown = "(not known)"

// template is a text with expressions in it. It never changes.
type template struct {
	// Pieces in order: plain words, or an expression.
	pieces []piece
}

type piece struct {
	words string
	value *expression // nil for plain words
}

// compileText checks a text and its expressions.
func (w view) compileText(text string) (*template, []complaint) {
	switch {
	case len(text) > longestText:
		return nil, []complaint{{wrong: fmt.Sprintf("it is %d bytes long", len(text)), right: fmt.Sprintf("at most %d", longestText)}}
	case !utf8.ValidString(text):
		return nil, []complaint{{wrong: "it is not UTF-8", right: "save the file as UTF-8"}}
	}
	t := &template{}
	var complaints []complaint
	for i := 0; i < len(text); {
		end, wrong := w.readPiece(t, text, i)
		complaints = append(complaints, wrong...)
		i = end
	}
	if len(complaints) > 0 {
		return nil, complaints
	}
	return t, nil
}

// readPiece reads one piece of a text, from byte i on, and gives where the next begins.
func (w view) readPiece(t *template, text string, i int) (end int, wrong []complaint) {
	c := text[i]
	switch {
	case c != '{' && c != '}':
		end = len(text)
		if n := strings.IndexAny(text[i:], "{}"); n >= 0 {
			end = i + n
		}
		t.say(text[i:end])
		return end, nil
	case strings.HasPrefix(text[i+1:], string(c)):
		t.say(string(c))
		return i + 2, nil
	case c == '}':
		return i + 1, []complaint{within(text, i, complaint{wrong: "a } closes nothing", right: "write }} for a brace"})}
	}
	if end = closing(text, i+1); end < 0 {
		return len(text), []complaint{within(text, i, complaint{wrong: "a { is not closed", right: "close it with }, or write {{ for a brace"})}
	}
	x, wrong := w.compilePart(text[i+1 : end])
	for n := range wrong {
		wrong[n] = within(text, i+1, wrong[n])
	}
	t.pieces = append(t.pieces, piece{value: x})
	return end + 1, wrong
}

// say adds plain words, to the piece before where that is plain too.
func (t *template) say(words string) {
	if last := len(t.pieces) - 1; last >= 0 && t.pieces[last].value == nil {
		t.pieces[last].words += words
		return
	}
	t.pieces = append(t.pieces, piece{words: words})
}

// compilePart checks one expression of a text: it must give a number or words.
func (w view) compilePart(source string) (*expression, []complaint) {
	if strings.TrimSpace(source) == "" {
		return nil, []complaint{{line: 1, column: 1, wrong: "there is nothing between the braces", right: "write an expression, or {{ for a brace"}}
	}
	x, complaints := w.compile(source, nil)
	if len(complaints) > 0 {
		return nil, complaints
	}
	for _, kind := range []*cel.Type{cel.StringType, cel.IntType, cel.UintType, cel.DoubleType} {
		if x.kind.IsExactType(kind) {
			return x, nil
		}
	}
	return nil, []complaint{{
		line: 1, column: 1,
		wrong: fmt.Sprintf("it gives %s, which cannot stand in a text", x.kind),
		right: "give a number or a string",
	}}
}

// within moves a complaint from inside an expression to inside the text that holds
// it, where the expression begins at byte start.
func within(text string, start int, c complaint) complaint {
	before := text[:start]
	column := utf8.RuneCountInString(before[strings.LastIndexByte(before, '\n')+1:])
	if c.line == 0 {
		c.line, c.column = 1, 1
	}
	if c.line == 1 {
		c.column += column
	}
	c.line += strings.Count(before, "\n")
	return c
}

// closing finds the brace that ends the expression beginning at start, past
// braces and strings inside it; −1 when there is none.
func closing(text string, start int) int {
	depth := 0
	for i := start; i < len(text); {
		switch text[i] {
		case '{':
			depth++
		case '}':
			if depth == 0 {
				return i
			}
			depth--
		case '"', '\'':
			i = pastString(text, i, rawBefore(text, start, i))
			continue
		}
		i++
	}
	return -1
}

// rawBefore tells whether the string at i is raw: a backslash in it means itself.
func rawBefore(text string, start, i int) bool {
	for n := 0; n < 2 && i-1-n >= start; n++ {
		switch text[i-1-n] {
		case 'r', 'R':
			return true
		case 'b', 'B':
		default:
			return false
		}
	}
	return false
}

// pastString gives the position after the string literal that begins at i, in
// one or three quotes; the end of the text when it is not closed.
func pastString(text string, i int, raw bool) int {
	quote := text[i : i+1]
	if strings.HasPrefix(text[i:], strings.Repeat(quote, 3)) {
		quote = strings.Repeat(quote, 3)
	}
	for i += len(quote); i < len(text); i++ {
		if text[i] == '\\' && !raw {
			i++
			continue
		}
		if strings.HasPrefix(text[i:], quote) {
			return i + len(quote)
		}
	}
	return len(text)
}

// fill gives the text with its values.
func (t *template) fill(s *scene) string {
	if len(t.pieces) == 1 && t.pieces[0].value == nil {
		return t.pieces[0].words
	}
	var b strings.Builder
	for _, p := range t.pieces {
		if p.value == nil {
			b.WriteString(p.words)
			continue
		}
		b.WriteString(words(p.value, s))
	}
	return b.String()
}

func words(x *expression, s *scene) string {
	v, err := x.value(s)
	if err != nil {
		return notKnown
	}
	switch v := v.(type) {
	case types.String:
		return string(v)
	case types.Int:
		return strconv.FormatInt(int64(v), 10)
	case types.Uint:
		return strconv.FormatUint(uint64(v), 10)
	case types.Double:
		return number(float64(v))
	}
	return notKnown
}

// number writes a number with at most two decimals and no zeros at the end.
func number(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return notKnown
	}
	s := strings.TrimRight(strconv.FormatFloat(x, 'f', 2, 64), "0")
	s = strings.TrimSuffix(s, ".")
	if s == "-0" {
		return "0"
	}
	return s
}
