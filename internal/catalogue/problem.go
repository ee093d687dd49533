package catalogue

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Problem is one thing that is wrong in a file.
type Problem struct {
	// File is the name it was given to Load under; empty when no file is to blame.
	File string
	// Line and Column count from 1; 0 when unknown.
	Line, Column int
	// Path says where in the message, for instance "catalogue.items[3].title".
	Path string
	// Wrong says what is wrong, Right what would be right.
	Wrong, Right string
}

// String is one line: "file:line:column: what is wrong; what would be right".
func (p Problem) String() string {
	text := fmt.Sprintf("%s:%d:%d: %s", p.File, p.Line, p.Column, p.Wrong)
	if p.Right != "" {
		text += "; " + p.Right
	}
	return text
}

// Problems is everything that is wrong, sorted by file, line and column. As an
// error it prints one line for each.
type Problems []Problem

// Error gives one line for each problem.
func (ps Problems) Error() string {
	lines := make([]string, len(ps))
	for i, p := range ps {
		lines[i] = p.String()
	}
	return strings.Join(lines, "\n")
}

// sorted brings problems into the order people mend them in, without repeats.
func (ps Problems) sorted() Problems {
	slices.SortStableFunc(ps, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return slices.Compact(ps)
}

// asError keeps an empty list from becoming an error that is not nil.
func (ps Problems) asError() error {
	if len(ps) == 0 {
		return nil
	}
	return ps
}

// shown is text from a file as it stands in a message: short, and in quotes
// that show what cannot be seen.
func shown(text string) string {
	const most = 60
	if runes := []rune(text); len(runes) > most {
		text = string(runes[:most]) + "…"
	}
	return fmt.Sprintf("%q", text)
}
