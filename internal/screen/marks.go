package screen

import (
	"html/template"
	"strconv"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// The outlines of the five verdicts in a box of 24 by 24, made of circles,
// rectangles and straight-edged paths alone. Classes after ISO 3864: upright
// rectangle, triangle, disc; what is not proven has no body, only a dashed edge.
// The disc of UNFIT is cut in two by its bar, and the arrow of MOVE ONLY breaks
// out of its disc, so that no two outlines are alike where colours cannot be told apart.
//
// The page's style sheet gives .mark-… its colour, .mark-on the ground's and
// .mark-edge and .mark-bar the ink's.
const (
	markFit = `<rect fill="currentColor" x="4" y="1" width="16" height="22"/>` +
		`<path class="mark-on" d="M12 4 L18 11 L14 11 L14 20 L10 20 L10 11 L6 11 Z"/>`
	markTriangle = `<path class="mark-edge" fill="currentColor" d="M12 1.5 L23 22 L1 22 Z"/>`
	markMoveOnly = `<circle fill="currentColor" cx="9.9" cy="12" r="9.5"/>` +
		`<path fill="currentColor" d="M16.3 5 L24 12 L16.3 19 Z"/>` +
		`<path class="mark-on" d="M2.8 9.8 L10.5 9.8 L10.5 5.5 L18 12 L10.5 18.5 L10.5 14.2 L2.8 14.2 Z"/>`
	markUnfit = `<circle fill="currentColor" cx="12" cy="12" r="11.5"/>` +
		`<rect class="mark-on" x="0" y="9" width="24" height="6"/>`
	markUnproven = `<path fill="none" stroke="currentColor" stroke-width="2.2" stroke-dasharray="4.4 3" d="M2 2 L22 2 L22 22 L2 22 Z"/>` +
		`<path fill="currentColor" d="M7.5 9.5 L7.5 6.5 L9.5 4.8 L14.5 4.8 L16.5 6.5 L16.5 10.5 L13.3 13 L13.3 15 L10.7 15 L10.7 11.8 L13.9 9.4 L13.9 7.4 L10.1 7.4 L10.1 9.5 Z"/>` +
		`<rect fill="currentColor" x="10.7" y="16.6" width="2.6" height="2.6"/>`
)

// mark is the sign of a verdict as an SVG element that fills its box.
func mark(v pb.Verdict) template.HTML {
	return markWithLimits(v, 1)
}

// foundMark is the sign of what something found leads to. What takes nothing away
// has the plain diamond of the plan and not the sign of FIT: a fault is never green.
func foundMark(v pb.Verdict) template.HTML { return markOf(foundShape(v)) }

// markWithLimits is the sign of a verdict; a restricted one carries a bar for
// each of its limits, three at most.
func markWithLimits(v pb.Verdict, limits int) template.HTML { return markOf(shapeOf(v, limits)) }

// markOf is a sign as an SVG element.
func markOf(class, body string) template.HTML {
	return template.HTML(`<svg class="mark ` + class + `" viewBox="0 0 24 24" aria-hidden="true" focusable="false">` + body + `</svg>`)
}

// foundShape is the class and the outlines of what foundMark draws.
func foundShape(v pb.Verdict) (class, body string) {
	if v == pb.Verdict_VERDICT_FIT {
		return "mark-noted", `<path fill="none" stroke="currentColor" stroke-width="2.4" d="M12 2 L22 12 L12 22 L2 12 Z"/>`
	}
	return shapeOf(v, 1)
}

// shapeOf is the class and the outlines of what markWithLimits draws.
func shapeOf(v pb.Verdict, limits int) (class, body string) {
	switch v {
	case pb.Verdict_VERDICT_FIT:
		return "mark-fit", markFit
	case pb.Verdict_VERDICT_RESTRICTED:
		return "mark-restricted", markTriangle + limitBars(limits)
	case pb.Verdict_VERDICT_MOVE_ONLY:
		return "mark-move", markMoveOnly
	case pb.Verdict_VERDICT_UNFIT:
		return "mark-unfit", markUnfit
	}
	return "mark-unproven", markUnproven
}

// limitBars draws upright bars inside the triangle.
func limitBars(limits int) string {
	const width, gap = 2.0, 1.6
	limits = min(max(limits, 1), 3)
	x := 12 - (float64(limits)*width+float64(limits-1)*gap)/2
	var bars strings.Builder
	for range limits {
		bars.WriteString(`<rect class="mark-bar" x="` + strconv.FormatFloat(x, 'g', 4, 64) + `" y="11.5" width="2" height="8"/>`)
		x += width + gap
	}
	return bars.String()
}
