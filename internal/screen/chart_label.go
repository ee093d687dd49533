package screen

import (
	"slices"
	"strings"
	"unicode"
)

const (
	// chartType is the size of type in a chart, in millimetres.
	chartType = 3.6
	// rowHeight is from one row of labels to the next.
	rowHeight = 4.4
)

// widthOf is the room that a label takes in a broad sans, so that it stays clear
// whichever the browser has.
func widthOf(text string) float64 {
	ems := 0.0
	for _, c := range text {
		ems += breadth(c)
	}
	return ems * chartType
}

// breadth is how broad a character is, in its own size.
func breadth(c rune) float64 {
	switch {
	case strings.ContainsRune("iljtfr.,:|-' /()", c):
		return 0.42
	case strings.ContainsRune("mwMW+→%", c):
		return 1
	case unicode.IsUpper(c):
		return 0.78
	}
	return 0.64
}

// boxOf is where a label lies whose baseline is y.
func boxOf(anchor string, x, y float64, text string) chartBox {
	width := widthOf(text)
	switch anchor {
	case "middle":
		x -= width / 2
	case "end":
		x -= width
	}
	return chartBox{x, y - 0.8*chartType, x + width, y + 0.25*chartType}
}

// label writes a word and keeps its place.
func (c *chart) label(anchor string, x, y float64, text string) {
	c.boxes = append(c.boxes, boxOf(anchor, x, y, text))
	c.put(`<text class="ch-word" x="%v" y="%v" text-anchor="%s">%s</text>`, x, y, anchor, escape(text))
}

// rowsAbove is how many rows of labels there are above the frame.
func (c *chart) rowsAbove() int { return int((c.upper-1.6-0.8*chartType)/rowHeight) + 1 }

// labelAbove names an upright rule in one of the rows above the frame, the first of
// rows that has room, and draws the rule up to there. Where there is none the rule
// stays without a word: what it is stands below the chart.
func (c *chart) labelAbove(class string, x float64, text string, rows ...int) {
	for _, row := range rows {
		y := c.upper - 1.6 - float64(row)*rowHeight
		for _, anchor := range []string{"start", "end"} {
			away := 0.8
			if anchor == "end" {
				away = -0.8
			}
			box, rule := boxOf(anchor, x+away, y, text), chartBox{x - 0.3, y - 0.7*chartType, x + 0.3, c.upper}
			if box.x1 < 0 || box.x2 > c.width || c.isTaken(box) || c.isTaken(rule) {
				continue
			}
			c.label(anchor, x+away, y, text)
			c.boxes = append(c.boxes, rule)
			c.put(`<path class="%s" d="M%v %vV%v"/>`, class, x, rule.y1, c.lower)
			return
		}
	}
	c.put(`<path class="%s" d="M%v %vV%v"/>`, class, x, c.upper, c.lower)
}

// labelBand names the forecast in the uppermost row, as near to an upright as the sheet
// lets it; with few rows the unit stands at the left of it.
func (c *chart) labelBand(x float64, text string) {
	rows, least := c.rowsAbove(), 0.0
	if rows < 3 {
		least = c.left
	}
	y, end := c.upper-1.6-float64(rows-1)*rowHeight, min(max(x-0.8, least+widthOf(text)), c.width)
	if end-widthOf(text) < least {
		return
	}
	c.label("end", end, y, text)
	rule := chartBox{x - 0.3, y + 0.3*chartType, x + 0.3, c.upper}
	c.boxes = append(c.boxes, rule)
	c.put(`<path class="ch-edge" d="M%v %vV%v"/>`, x, rule.y1, c.upper)
}

func (c *chart) isTaken(box chartBox) bool {
	return slices.ContainsFunc(c.boxes, box.meets)
}
