package screen

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"
	"time"

	pb "bayround/proto/bayround/v1"
)

// chartIn is what a chart shows, in the unit in which the station shows it.
type chartIn struct {
	name, unit string
	now        time.Time
	zone       *time.Location
	points     []chartPoint // oldest first
	limits     []chartLimit
	target     *float64
	trend      *chartTrend
	outlook    *chartOutlook
}

// chartPoint is one measurement.
type chartPoint struct {
	at           time.Time
	read, normal float64 // the same where nothing was brought to the reference temperature
	added        float64 // put in since the point before, in the unit of the value
	toppedUp     bool    // something was put in, however much
	reset        bool
}

// brought tells that a value differs from what was read.
func (p chartPoint) brought() bool { return p.read != p.normal }

// chartLimit is one bound.
type chartLimit struct {
	bound   float64
	side    pb.LimitSide
	verdict pb.Verdict // what not keeping it alone would give
	effect  string     // the same in words
	text    string     // the rule's own
}

// chartTrend is the line through the points of the newest days, as many as it rests on.
type chartTrend struct{ level, perDay, days float64 }

// chartOutlook is when a bound is reached.
type chartOutlook struct {
	bound                    float64
	earliest, likely, latest time.Time // latest is zero when it may never come
}

// chartSize is the sheet of a chart in millimetres on the glass of the smallest
// tablet; the frame lies inside its margins, labels in them.
type chartSize struct {
	sheet                                      string
	width, height                              float64
	leftMargin, rightMargin, topMargin, bottom float64
}

// The two sheets: for a glass that lies and for one that stands.
var chartSizes = [...]chartSize{
	{"wide", 205, 73, 15, 48, 9.4, 11},
	{"tall", 127, 110, 15, 43, 13.8, 11},
}

// chart is one drawing.
type chart struct {
	chartIn
	chartSize
	left, right, upper, lower float64 // the frame
	from, to                  float64 // in seconds since 1970
	low, high, step           float64 // of the value axis, and between its lines
	out                       strings.Builder
	boxes                     []chartBox // what labels must keep clear of
}

// chartBox is a part of the sheet.
type chartBox struct{ x1, y1, x2, y2 float64 }

func (b chartBox) meets(o chartBox) bool {
	return b.x1 < o.x2 && o.x1 < b.x2 && b.y1 < o.y2 && o.y1 < b.y2
}

// largestDrawn is the largest number that is taken for a measurement.
const largestDrawn = 1e9

func drawable(values ...float64) bool {
	for _, v := range values {
		if !(math.Abs(v) <= largestDrawn) {
			return false
		}
	}
	return true
}

// newChart lays what is to be shown on a sheet. What is no number is left out.
func newChart(in chartIn, size chartSize) *chart {
	c := &chart{chartIn: in, chartSize: size}
	c.points = slices.DeleteFunc(slices.Clone(in.points), func(p chartPoint) bool { return !drawable(p.read, p.normal, p.added) })
	c.limits = slices.DeleteFunc(slices.Clone(in.limits), func(l chartLimit) bool { return !drawable(l.bound) })
	if in.target != nil && !drawable(*in.target) {
		c.target = nil
	}
	if t := in.trend; t != nil && !drawable(t.level, t.perDay) {
		c.trend = nil
	}
	if o := in.outlook; o != nil && !drawable(o.bound) {
		c.outlook = nil
	}
	c.left, c.right, c.upper, c.lower = size.leftMargin, size.width-size.rightMargin, size.topMargin, size.height-size.bottom
	c.spanTime()
	c.spanValues()
	return c
}

// The axis of time spans two weeks at least, and looks ahead as far as it looks back,
// a quarter of a year at least.
const (
	daySeconds   = 24 * 3600.0
	leastSpan    = 14 * daySeconds
	leastOutlook = 91 * daySeconds
)

func (c *chart) spanTime() {
	now := secondOf(c.now)
	c.from, c.to = now, now
	for _, p := range c.points {
		c.from, c.to = min(c.from, secondOf(p.at)), max(c.to, secondOf(p.at))
	}
	if o := c.outlook; o != nil {
		ahead := c.to + max(c.to-c.from, leastOutlook)
		if end := secondOf(o.end()); end <= ahead {
			c.to = max(c.to, end)
		} else {
			c.to = ahead
		}
	}
	if short := leastSpan - (c.to - c.from); short > 0 {
		c.from -= short
	}
	room := 0.02 * (c.to - c.from)
	c.from, c.to = c.from-room, c.to+room
}

// end is the last day that a chart should show of a forecast.
func (o *chartOutlook) end() time.Time {
	if o.latest.IsZero() {
		return o.likely
	}
	return o.latest
}

func secondOf(t time.Time) float64 { return float64(t.Unix()) }

// leastValues is how much of the value axis is shown at least: no gauge of a station
// shows less than a hundredth of the units that people read.
const leastValues = 0.05

func (c *chart) spanValues() {
	c.low, c.high = math.Inf(1), math.Inf(-1)
	take := func(v float64) { c.low, c.high = min(c.low, v), max(c.high, v) }
	for _, p := range c.points {
		take(p.read)
		take(p.normal)
	}
	for _, l := range c.limits {
		take(l.bound)
	}
	if c.target != nil {
		take(*c.target)
	}
	if c.low > c.high {
		c.low, c.high = 0, 1
	}
	if c.high-c.low < 1e-6*max(math.Abs(c.high), 1) { // all the same
		room := max(math.Abs(c.high)*0.05, 0.05)
		c.low, c.high = c.low-room, c.high+room
	}
	if c.high-c.low < leastValues {
		c.low, c.high = c.low-leastValues/2, c.high+leastValues/2
	}
	room := 0.07 * (c.high - c.low)
	c.low, c.high = c.low-room, c.high+room
	c.step = roundStep((c.high - c.low) / 6)
}

// roundStep is the next of 1, 2, 5, 10, 20, … that is not smaller.
func roundStep(least float64) float64 {
	ten := math.Pow(10, math.Floor(math.Log10(least)))
	for _, n := range []float64{1, 2, 5} {
		if n*ten >= least*(1-1e-9) {
			return n * ten
		}
	}
	return 10 * ten
}

func (c *chart) x(at time.Time) float64 { return c.xAt(secondOf(at)) }

func (c *chart) xAt(second float64) float64 {
	return c.left + (second-c.from)/(c.to-c.from)*(c.right-c.left)
}

func (c *chart) y(value float64) float64 {
	return c.lower - (value-c.low)/(c.high-c.low)*(c.lower-c.upper)
}

// put writes an element; numbers are rounded to a hundredth of a millimetre.
func (c *chart) put(format string, values ...any) {
	for i, v := range values {
		if n, ok := v.(float64); ok {
			values[i] = math.Round(n*100)/100 + 0 // no −0
		}
	}
	fmt.Fprintf(&c.out, format, values...)
}

// drawChart draws a chart for each sheet; a page shows the one that suits its glass.
func drawChart(in chartIn, says string) (drawings []template.HTML) {
	for _, size := range chartSizes {
		drawings = append(drawings, newChart(in, size).draw(says))
	}
	return drawings
}

// draw draws the chart from what lies below to what lies above.
func (c *chart) draw(says string) template.HTML {
	id := "chart-" + c.sheet
	c.put(`<svg class="chart %s" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %v %v" role="img" aria-label="%s" aria-describedby="%s">`,
		c.sheet, c.width, c.height, escape("Chart: "+c.name), id)
	c.put(`<title>%s</title><desc id="%s">%s</desc>`, escape(c.name), id, escape(says))
	c.put(`<rect class="ch-sheet" x="%v" y="%v" width="%v" height="%v"/>`, c.left, c.upper, c.right-c.left, c.lower-c.upper)
	c.drawValues()
	c.drawTimes()
	c.drawBand()
	c.drawLimits()
	c.drawRules()
	c.drawPoints()
	c.drawTrend()
	c.put(`<path class="ch-frame" d="M%v %vV%vH%v"/></svg>`, c.left, c.upper, c.lower, c.right)
	return template.HTML(c.out.String())
}
