package screen

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// drawBand hatches the days between the earliest and the latest of the forecast.
func (c *chart) drawBand() {
	o := c.outlook
	if o == nil || c.x(o.earliest) >= c.right {
		return
	}
	left, right := max(c.x(o.earliest), c.left), c.right
	if !o.latest.IsZero() {
		right = min(max(c.x(o.latest), left+1.2), c.right)
	}
	c.put(`<rect class="ch-band" x="%v" y="%v" width="%v" height="%v"/>`, left, c.upper, right-left, c.lower-c.upper)
	c.put(`<path class="ch-hatch" d="%s"/>`, hatch(chartBox{left, c.upper, right, c.lower}))
}

// hatch is lines that rise to the right, through a box.
func hatch(b chartBox) string {
	const apart = 2.2
	var d strings.Builder
	height := b.y2 - b.y1
	for x := b.x1 - height + apart/2; x < b.x2; x += apart {
		x1, x2 := max(x, b.x1), min(x+height, b.x2)
		fmt.Fprintf(&d, "M%.2f %.2fL%.2f %.2f", x1, b.y2-(x1-x), x2, b.y2-(x2-x))
	}
	return d.String()
}

// limitLabel is a line across the frame and the words beside it.
type limitLabel struct {
	value   float64
	class   string
	lines   []string
	verdict pb.Verdict // its mark; unspecified for a target
	y       float64    // of the middle of the words
}

// markRoom is what a bound's leader and mark take of the margin.
const markRoom = 8.8

// labelHeight is what a bound's two lines of words take.
const labelHeight = 2*rowHeight + 0.6

// drawLimits draws bounds and target with their words in the margin, each as near
// its line as the others leave room.
func (c *chart) drawLimits() {
	labels := c.limitLabels()
	for _, l := range labels {
		c.put(`<path class="%s" d="M%v %vH%v"/>`, l.class, c.left, c.y(l.value), c.right)
		c.put(`<path class="ch-lead" d="M%v %vL%v %v"/>`, c.right, c.y(l.value), c.right+2.6, l.y)
		x, y := c.right+3.2, l.y+0.35*chartType
		if l.verdict != pb.Verdict_VERDICT_UNSPECIFIED {
			class, body := foundShape(l.verdict)
			c.put(`<g class="ch-mark %s" transform="translate(%v %v) scale(0.19)">%s</g>`, class, x, l.y-2.28, body)
			x += 5.6
		}
		if len(l.lines) == 2 {
			c.label("start", x, y-rowHeight/2, l.lines[0])
			c.label("start", x, y+rowHeight/2, l.lines[1])
		} else {
			c.label("start", x, y, l.lines[0])
		}
	}
}

// limitLabels are the labels that fit beside the frame, from above to below: those
// that take away most before others, bounds that are the same as one.
func (c *chart) limitLabels() []limitLabel {
	var all []limitLabel
	if c.target != nil {
		all = append(all, limitLabel{value: *c.target, class: "ch-target", lines: []string{c.fitting("target "+c.number(*c.target), "target")}})
	}
	limits := slices.Clone(c.limits)
	slices.SortStableFunc(limits, func(a, b chartLimit) int { return cmp.Compare(gravity(b.verdict), gravity(a.verdict)) })
	for _, l := range limits {
		one := limitLabel{value: l.bound, class: "ch-limit ch-" + limitClass(l.verdict), verdict: l.verdict}
		one.lines = []string{c.fitting(rules.SideWords(l.side)+" "+c.number(l.bound), rules.SideWords(l.side)+" "+shortNumber(l.bound), rules.SideWords(l.side)), l.effect}
		if !slices.ContainsFunc(all, func(o limitLabel) bool { return slices.Equal(o.lines, one.lines) }) {
			all = append(all, one)
		}
	}
	all = all[:min(len(all), int((c.lower-c.upper+4)/labelHeight))]
	slices.SortStableFunc(all, func(a, b limitLabel) int { return cmp.Compare(b.value, a.value) })
	least := c.upper + labelHeight/2 - 2
	for i := range all {
		all[i].y = max(c.y(all[i].value), least)
		least = all[i].y + labelHeight
	}
	most := c.lower - labelHeight/2 + 2
	for i := range slices.Backward(all) {
		all[i].y = min(all[i].y, most)
		most = all[i].y - labelHeight
	}
	return all
}

// fitting is the first of words that has room beside the frame, or the last.
func (c *chart) fitting(words ...string) string {
	i := slices.IndexFunc(words, func(text string) bool { return widthOf(text) <= c.width-c.right-markRoom })
	if i < 0 {
		i = len(words) - 1
	}
	return words[i]
}

// gravity orders verdicts by what a bound takes away.
func gravity(v pb.Verdict) int {
	return slices.Index([]pb.Verdict{
		pb.Verdict_VERDICT_FIT, pb.Verdict_VERDICT_UNPROVEN, pb.Verdict_VERDICT_RESTRICTED, pb.Verdict_VERDICT_MOVE_ONLY, pb.Verdict_VERDICT_UNFIT,
	}, v)
}

// limitClass names the dashes of a bound's line.
func limitClass(v pb.Verdict) string {
	switch v {
	case pb.Verdict_VERDICT_UNFIT:
		return "unfit"
	case pb.Verdict_VERDICT_MOVE_ONLY:
		return "move"
	case pb.Verdict_VERDICT_RESTRICTED:
		return "restricted"
	}
	return "noted"
}

// number is a value with its unit.
func (c *chart) number(v float64) string { return strings.TrimSpace(shortNumber(v) + " " + c.unit) }

// drawRules draws what happened on one day: when the forecast begins and ends, today,
// and where something was repaired, the newest first where words have no room. The
// forecast has the uppermost row to itself, where its length is in nobody's way.
func (c *chart) drawRules() {
	if o := c.outlook; o != nil {
		words := c.number(o.bound) + ": " + outlookDays(o, c.zone)
		if c.x(o.earliest) >= c.right {
			words += " →"
		}
		c.labelBand(min(max(c.x(o.earliest), c.left), c.right), words)
		for _, at := range []time.Time{o.earliest, o.latest} {
			if x := c.x(at); !at.IsZero() && x < c.right {
				c.put(`<path class="ch-edge" d="M%v %vV%v"/>`, max(x, c.left), c.upper, c.lower)
			}
		}
	}
	c.labelAbove("ch-today", c.x(c.now), "today", 0)
	for _, p := range slices.Backward(c.points) {
		if p.reset {
			c.labelAbove("ch-reset", c.x(p.at), "repaired", 0, 1)
		}
	}
}

// drawTrend draws the line through the points that it rests on, and where it leads.
// What was put in later is taken off again, so that the line runs through the points
// as they were read.
func (c *chart) drawTrend() {
	if c.trend == nil || len(c.points) == 0 {
		return
	}
	newest := c.points[len(c.points)-1]
	now, value := secondOf(newest.at), c.trend.level
	put := 0.0
	for i := len(c.points) - 2; i >= 0 && !c.points[i+1].reset; i-- {
		if put += c.points[i+1].added; c.points[i+1].toppedUp && c.points[i+1].added == 0 {
			break // nobody knows how far that raised it
		}
		next, at := secondOf(c.points[i+1].at), secondOf(c.points[i].at)
		if (now-at)/daySeconds > c.trend.days+0.001 {
			break
		}
		fitted := func(second float64) float64 { return c.trend.level + c.trend.perDay*(second-now)/daySeconds - put }
		c.stroke("ch-line", next, fitted(next), at, fitted(at))
	}
	end := c.to
	if o := c.outlook; o != nil && !o.likely.IsZero() {
		end = min(end, secondOf(o.likely))
	}
	if end > now {
		c.stroke("ch-ahead", now, value, end, value+c.trend.perDay*(end-now)/daySeconds)
	}
}

// stroke draws a line between two spots as far as it lies inside the frame.
func (c *chart) stroke(class string, second1, value1, second2, value2 float64) {
	x1, y1, x2, y2 := c.xAt(second1), c.y(value1), c.xAt(second2), c.y(value2)
	from, to := 0.0, 1.0 // shares of the way that lie inside
	for _, edge := range [][2]float64{{x1 - x2, x1 - c.left}, {x2 - x1, c.right - x1}, {y1 - y2, y1 - c.upper}, {y2 - y1, c.lower - y1}} {
		switch speed, room := edge[0], edge[1]; {
		case speed == 0 && room < 0:
			return
		case speed < 0:
			from = max(from, room/speed)
		case speed > 0:
			to = min(to, room/speed)
		}
	}
	if from < to && drawable(from, to) {
		c.put(`<path class="%s" d="M%v %vL%v %v"/>`, class, x1+from*(x2-x1), y1+from*(y2-y1), x1+to*(x2-x1), y1+to*(y2-y1))
	}
}

// drawPoints draws each measurement as it was read, hollow, as it is at the reference
// temperature, filled, and a small arrow up where something was put in.
func (c *chart) drawPoints() {
	size := 1.0
	if len(c.points) > 120 {
		size = 0.65
	}
	for _, p := range c.points {
		x := c.x(p.at)
		c.put(`<circle class="ch-read" cx="%v" cy="%v" r="%v"/>`, x, c.y(p.read), size)
		if p.brought() {
			c.put(`<circle class="ch-normal" cx="%v" cy="%v" r="%v"/>`, x, c.y(p.normal), size)
		}
		if p.toppedUp {
			c.put(`<path class="ch-added" d="M%v %vv-3.4m-1 1.2l1 -1.2l1 1.2"/>`, x, c.lower-0.6)
		}
	}
}

// outlookDays says when a bound is reached, short enough for a chart.
func outlookDays(o *chartOutlook, zone *time.Location) string {
	if zone == nil {
		zone = time.UTC
	}
	from, to := o.earliest.In(zone), o.latest.In(zone)
	switch {
	case o.latest.IsZero():
		return "from " + from.Format("2 Jan 2006")
	case from.YearDay() == to.YearDay() && from.Year() == to.Year():
		return to.Format("2 Jan 2006")
	case from.Year() == to.Year() && from.Month() == to.Month():
		return from.Format("2") + "–" + to.Format("2 Jan 2006")
	case from.Year() == to.Year():
		return from.Format("2 Jan") + " – " + to.Format("2 Jan 2006")
	}
	return from.Format("2 Jan 2006") + " – " + to.Format("2 Jan 2006")
}

// shortNumber is a number with as many digits as are read on a gauge.
func shortNumber(v float64) string {
	digits := 2
	if math.Abs(v) >= 100 {
		digits = 0
	} else if math.Abs(v) >= 20 {
		digits = 1
	}
	return plainNumber(v, digits)
}
