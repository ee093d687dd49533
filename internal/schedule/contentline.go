package schedule

import (
	"strings"
	"unicode/utf8"
)

const longestLine = 75 // octets of a content line without its end, RFC 5545, section 3.1

// contentLines is an iCalendar object in the making. It is this little that we write
// ourselves: of the libraries for it one folds nothing and the other lets carriage returns
// and control characters through. Both read it in the tests.
type contentLines struct{ b strings.Builder }

// add appends one content line: folded so that no line is longer than 75 octets and no
// character is cut, and ended by CRLF. The value is written as it is.
func (l *contentLines) add(name, value string) {
	room := longestLine
	for _, character := range name + ":" + value {
		if room < utf8.RuneLen(character) {
			l.b.WriteString("\r\n ")
			room = longestLine - 1 // the space counts
		}
		l.b.WriteRune(character)
		room -= utf8.RuneLen(character)
	}
	l.b.WriteString("\r\n")
}

// addText appends a content line whose value is text, RFC 5545, section 3.3.11.
func (l *contentLines) addText(name, text string) { l.add(name, escaper.Replace(Writable(text))) }

var escaper = strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\n", `\n`)

// Writable returns text as a calendar can carry it: every kind of line end is one line feed,
// and what RFC 5545 allows in no text, control characters but the tab and what is not UTF-8,
// stands as U+FFFD, so that nothing vanishes unseen.
func Writable(text string) string {
	text = strings.ReplaceAll(text, "\r\n", "\n")
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\r':
			return '\n'
		case r < ' ' && r != '\n' && r != '\t', r == 0x7f:
			return utf8.RuneError
		}
		return r // invalid bytes arrive as U+FFFD
	}, text)
}
