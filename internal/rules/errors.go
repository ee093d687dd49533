package rules

import (
	"fmt"
	"strings"
)

// Error is one thing that is wrong with a rule.
type Error struct {
	// Pack, packs/{pack}.
	Pack string
	// RuleIndex counts the pack's rules from 0; -1 when it is about the whole pack.
	RuleIndex int
	// Rule is the rule's id.
	Rule string
	// Field of the rule, for instance "when"; empty when it is about several.
	Field string
	// Line and Column inside the expression or text, from 1; 0 when unknown.
	Line, Column int
	// Wrong says what is wrong.
	Wrong string
	// Right says what would be right.
	Right string
}

// Error says where, what is wrong, and what would be right, in one line.
func (e Error) Error() string {
	var b strings.Builder
	b.WriteString(e.Pack)
	if e.RuleIndex >= 0 {
		fmt.Fprintf(&b, " rules[%d] %q", e.RuleIndex, e.Rule)
	}
	if e.Field != "" {
		b.WriteString(" " + e.Field)
	}
	if e.Line > 0 {
		fmt.Fprintf(&b, " %d:%d", e.Line, e.Column)
	}
	b.WriteString(": " + e.Wrong)
	if e.Right != "" {
		b.WriteString("; " + e.Right)
	}
	return b.String()
}

// Errors is everything that is wrong with the rules, in the order of packs and rules.
type Errors []Error

// Error gives one line for each.
func (es Errors) Error() string {
	lines := make([]string, len(es))
	for i, e := range es {
		lines[i] = e.Error()
	}
	return strings.Join(lines, "\n")
}

// asError keeps an empty list from becoming an error that is not nil.
func (es Errors) asError() error {
	if len(es) == 0 {
		return nil
	}
	return es
}

// complaint is what is wrong inside one field, before it is known whose field it is.
type complaint struct {
	field        string
	line, column int
	wrong, right string
}
