package main

import (
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"bayround/internal/command"
)

// columns prints rows of cells in aligned columns, two spaces apart. The first
// row says what stands below it. What has several lines stands in one.
func (c *console) columns(rows [][]string) {
	aligned := tabwriter.NewWriter(trailing{c.Out}, 0, 0, 2, ' ', 0)
	for _, row := range rows {
		_, _ = io.WriteString(aligned, strings.Join(cells(row), "\t")+"\n")
	}
	_ = aligned.Flush()
}

// cells are what a row holds, each on one line.
func cells(row []string) []string {
	row = slices.Clone(row)
	for i, cell := range row {
		row[i] = onOneLine(cell)
	}
	return row
}

// onOneLine is a text without ends of lines and tabs, and without what a terminal obeys.
func onOneLine(text string) string {
	return command.Plain(strings.NewReplacer("\r\n", " ", "\n", " ", "\r", " ", "\t", " ").Replace(text))
}

// trailing takes away blanks at the ends of lines.
type trailing struct{ io.Writer }

// Write writes whole lines, as a tabwriter gives them.
func (t trailing) Write(p []byte) (int, error) {
	lines := strings.Split(string(p), "\n")
	for i, line := range lines[:len(lines)-1] {
		lines[i] = strings.TrimRight(line, " ")
	}
	_, err := io.WriteString(t.Writer, strings.Join(lines, "\n"))
	return len(p), err
}
