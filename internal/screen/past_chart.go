package screen

import (
	"cmp"
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"strings"
	"time"

	"bayround/internal/round"
	"bayround/internal/rules"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// pastStep is one step of a vehicle with its past, as the templates ask for it.
type pastStep struct {
	round.Past
	Vehicle string // as in addresses
	now     time.Time
	zone    *time.Location
}

// Title is the step in words: the plan's, or the station's where no plan has it now.
func (p pastStep) Title() string { return cmp.Or(p.Step.GetTitle(), p.History.GetTitle()) }

// Newest is the newest point; nil when nothing was measured.
func (p pastStep) Newest() *pb.SeriesPoint {
	points := p.History.GetPoints()
	if len(points) == 0 {
		return nil
	}
	return points[len(points)-1]
}

// Value is a number of the history with its unit.
func (p pastStep) Value(v float64) string {
	return strings.TrimSpace(shortNumber(p.Shown(v)) + " " + p.Unit())
}

// NewestWords are the newest value and when it was read.
func (p pastStep) NewestWords() string {
	if p.Newest() == nil {
		return "not measured yet"
	}
	return p.Value(p.Newest().GetValue())
}

// NewestAt is when it was read.
func (p pastStep) NewestAt() string {
	at := instant(p.Newest().GetLookedAt())
	if words := clockWords(at, p.now, p.zone); !strings.Contains(words, " ") {
		return "today " + words
	}
	return dayWords(at, p.now, p.zone)
}

// normal is a point's value at the reference temperature, where that is known.
func (p pastStep) normal(i int) float64 {
	if all := p.History.GetNormalised(); i < len(all) {
		return all[i]
	}
	return p.History.GetPoints()[i].GetValue()
}

// HasNormal tells that some values are brought to the reference temperature.
func (p pastStep) HasNormal() bool {
	for i, point := range p.History.GetPoints() {
		if p.normal(i) != point.GetValue() {
			return true
		}
	}
	return false
}

// chart is the step as a chart shows it.
func (p pastStep) chart() chartIn {
	h := p.History
	in := chartIn{name: p.Title(), unit: p.Unit(), now: p.now, zone: p.zone}
	for i, point := range h.GetPoints() {
		in.points = append(in.points, chartPoint{
			at: instant(point.GetLookedAt()), read: p.Shown(point.GetValue()), normal: p.Shown(p.normal(i)),
			added: p.ShownAdded(point), toppedUp: point.GetAdded() != 0, reset: point.GetReset_(),
		})
	}
	for _, l := range h.GetLimits() {
		in.limits = append(in.limits, p.limit(l))
	}
	if h.Target != nil {
		target := p.Shown(h.GetTarget())
		in.target = &target
	}
	if t := h.GetTrend(); t.GetHasSlope() {
		in.trend = &chartTrend{level: p.Shown(t.GetLevel()), perDay: p.ShownChange(t.GetSlopePerWeek()) / 7, days: t.GetDays()}
	}
	if f := h.GetForecast(); f.GetEarliest() != nil {
		in.outlook = &chartOutlook{
			bound: p.Shown(f.GetLimit().GetBound()), earliest: instant(f.GetEarliest()), likely: instant(f.GetLikely()), latest: instant(f.GetLatest()),
		}
	}
	return in
}

// effectShort is what a bound takes away, in words that fit beside a chart.
func effectShort(e pb.Effect) string {
	switch e {
	case pb.Effect_EFFECT_NOTHING:
		return "noted"
	case pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT:
		return "with limits"
	case pb.Effect_EFFECT_RESPONDING:
		return "not to respond"
	case pb.Effect_EFFECT_MOVING:
		return "do not move"
	}
	return "not known"
}

func (p pastStep) limit(l *pb.LimitLine) chartLimit {
	return chartLimit{
		bound: p.Shown(l.GetBound()), side: l.GetSide(), effect: effectShort(l.GetEffect()), text: l.GetText(),
		verdict: verdict.OfEffect(l.GetEffect()),
	}
}

// Charts are the drawings, one for each way up of the glass.
func (p pastStep) Charts() []template.HTML { return drawChart(p.chart(), p.says()) }

// says is the chart in words, for whoever does not see it.
func (p pastStep) says() string {
	var words []string
	points := p.History.GetPoints()
	if len(points) > 0 {
		words = append(words, fmt.Sprintf("%s from %s to %s; the newest is %s.", counted(len(points), "reading"),
			p.day(points[0]), p.day(p.Newest()), p.NewestWords()))
	} else {
		words = append(words, "Nothing was measured here yet.")
	}
	words = append(words, p.SlopeWords()+".")
	for _, l := range p.Limits() {
		words = append(words, "Limit: "+l.Words+", else "+l.Effect+".")
	}
	if h := p.History; h.Target != nil {
		words = append(words, "Aimed at: "+p.Value(h.GetTarget())+".")
	}
	if f := p.History.GetForecast(); f != nil {
		words = append(words, "Forecast: "+f.GetText()+".")
	}
	return strings.Join(words, " ")
}

func (p pastStep) day(point *pb.SeriesPoint) string {
	return instant(point.GetLookedAt()).In(p.station()).Format("2 Jan 2006")
}

func (p pastStep) station() *time.Location {
	if p.zone == nil {
		return time.UTC
	}
	return p.zone
}

// limitLine is one bound in words.
type limitLine struct {
	Words, Effect, Text string
	Verdict             pb.Verdict
}

// Limits are the bounds that apply, those that take away most first.
func (p pastStep) Limits() (lines []limitLine) {
	limits := slices.Clone(p.History.GetLimits())
	slices.SortStableFunc(limits, func(a, b *pb.LimitLine) int { return int(b.GetEffect()) - int(a.GetEffect()) })
	for _, l := range limits {
		drawn := p.limit(l)
		lines = append(lines, limitLine{
			Words:  rules.SideWords(l.GetSide()) + " " + p.Value(l.GetBound()),
			Effect: effectWords(l.GetEffect()), Text: l.GetText(), Verdict: drawn.verdict,
		})
	}
	return lines
}

// pastRow is one line of the table below a chart.
type pastRow struct{ At, Read, Normal, Air, Added, Gauge, Note string }

// mostRows is how many of the newest points the table has.
const mostPastRows = 12

// Rows are the newest points, newest first.
func (p pastStep) Rows() (rows []pastRow) {
	points := p.History.GetPoints()
	for i := len(points) - 1; i >= max(0, len(points)-mostPastRows); i-- {
		point := points[i]
		row := pastRow{At: instant(point.GetLookedAt()).In(p.station()).Format("2 Jan 2006 15:04"), Read: p.Value(point.GetValue()), Gauge: strings.ToUpper(lastPart(point.GetGauge()))}
		if n := p.normal(i); n != point.GetValue() {
			row.Normal = p.Value(n)
		}
		if point.AirCelsius != nil {
			row.Air = plainNumber(point.GetAirCelsius(), 1) + " °C"
		}
		row.Added = p.addedWords(point)
		if point.GetReset_() {
			row.Note = "repaired or changed before"
		}
		rows = append(rows, row)
	}
	return rows
}

// addedWords say what was put in before a point.
func (p pastStep) addedWords(point *pb.SeriesPoint) string {
	switch {
	case point.GetAdded() == 0:
		return ""
	case p.Step.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_LEVEL:
		return "+" + plainNumber(point.GetAdded(), 2) + " L"
	}
	return "+" + plainNumber(p.ShownChange(point.GetAdded()), 2) + " " + p.Unit()
}

// lastPart is the last part of a resource name.
func lastPart(name string) string { return name[strings.LastIndex(name, "/")+1:] }

// plainNumber is a number with so many digits after the point at most, and none that
// says nothing.
func plainNumber(v float64, digits int) string {
	text := strconv.FormatFloat(v, 'f', digits, 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	if text == "-0" {
		return "0"
	}
	return text
}
