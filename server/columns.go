package main

import (
	"io"
	"strings"
	"text/tabwriter"
)

// columns prints rows of cells in aligned columns, two spaces apart. The first
// row says what stands below it.
func (c *console) columns(rows [][]string) {
	aligned := tabwriter.NewWriter(trailing{c.Out}, 0, 0, 2, ' ', 0)
	for _, row := range rows {
		_, _ = io.WriteString(aligned, strings.Join(row, "\t")+"\n")
	}
	_ = aligned.Flush()
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
