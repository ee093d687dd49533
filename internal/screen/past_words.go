package screen

import (
	"fmt"
	"html/template"
	"math"
	"strings"
	"time"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// SlopeWords say what the trend says, in one sentence without its full stop.
func (p pastStep) SlopeWords() string { return p.slopeWords(true) }

// slopeWords say it with the interval of the slope or without.
func (p pastStep) slopeWords(interval bool) string {
	t := p.History.GetTrend()
	switch {
	case p.Newest() == nil:
		return "Nothing measured yet"
	case !t.GetHasSlope():
		return "Too few readings to speak of a trend"
	}
	slope, low, high := p.ShownChange(t.GetSlopePerWeek()), p.ShownChange(t.GetSlopeLowPerWeek()), p.ShownChange(t.GetSlopeHighPerWeek())
	if low <= 0 && high >= 0 {
		return "No clear change"
	}
	per, times := "a week", 1.0
	if math.Abs(slope) < 0.02 {
		per, times = "a year", 365.0/7
	}
	word, least, most := "Rises", low, high
	if slope < 0 {
		word, least, most = "Falls", -high, -low
	}
	words := fmt.Sprintf("%s %s %s", word, p.amount(math.Abs(slope)*times), per)
	if interval {
		words += fmt.Sprintf(" (%s to %s)", roundNumber(least*times), roundNumber(most*times))
	}
	if n := t.GetTimesFaster(); n >= 1.5 {
		words += fmt.Sprintf(", %s times faster than before", plainNumber(n, 1))
	}
	return words
}

// amount is a difference with its unit.
func (p pastStep) amount(change float64) string {
	return strings.TrimSpace(roundNumber(change) + " " + p.Unit())
}

// roundNumber is a number in two figures: no slope is known better.
func roundNumber(v float64) string {
	if v == 0 || !drawable(v) {
		return "0"
	}
	digits := max(0, 1-int(math.Floor(math.Log10(math.Abs(v)))))
	return plainNumber(v, min(digits, 6))
}

// MoreWords are what else the history says, one sentence each.
func (p pastStep) MoreWords() (all []string) {
	t := p.History.GetTrend()
	if peers := p.History.GetPeers(); peers.GetHasLoss() && peers.GetLossLowKpaPerWeek() > 0 {
		all = append(all, fmt.Sprintf("Loses %s a week against the other wheels.", p.amount(p.ShownChange(peers.GetLossKpaPerWeek()))))
	}
	if t.GetUsedLPer_1000Km() > 0 {
		all = append(all, fmt.Sprintf("Uses %s L in 1000 km.", roundNumber(t.GetUsedLPer_1000Km())))
	}
	if t.GetUsedLPer_100H() > 0 {
		all = append(all, fmt.Sprintf("Uses %s L in 100 engine hours.", roundNumber(t.GetUsedLPer_100H())))
	}
	if t.GetUseRisen() {
		all = append(all, "Uses more than it used to.")
	}
	if n := t.GetSameInARow(); n >= 3 {
		all = append(all, fmt.Sprintf("The same number %d times in a row.", n))
	}
	if n := t.GetIgnored(); n > 0 {
		all = append(all, counted(int(n), "reading")+" left out that cannot belong to the rest.")
	}
	return all
}

// ForecastWords say when a bound is reached; empty when none is in sight.
func (p pastStep) ForecastWords() string { return capital(p.History.GetForecast().GetText()) }

// ListWords are the slope in a few words.
func (p pastStep) ListWords() string { return p.slopeWords(false) }

// ListForecast is when a bound is reached, in a few words; empty when none is in sight.
func (p pastStep) ListForecast() string {
	in := p.chart()
	if in.outlook == nil {
		return ""
	}
	return p.Value(p.History.GetForecast().GetLimit().GetBound()) + ": " + outlookDays(in.outlook, p.zone)
}

// capital begins a text with a capital letter.
func capital(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

// sourceWords say who answered.
func sourceWords(s round.Source) string {
	if s == round.SourceTablet {
		return "From this tablet: 64 readings at most, fewer of older days. The station was not reached or does not know it yet."
	}
	return "From the station: everything that was recorded there."
}

// defectSourceWords say how far what is told of defects can be known.
func defectSourceWords(s round.Source) string {
	if s == round.SourceTablet {
		return "From this tablet: what is open, and what was closed in the last 60 days, as far as it has heard. The station was not reached or does not know it yet."
	}
	return sourceWords(s)
}

// aheadWords say how far ahead an instant lies.
func aheadWords(at, now time.Time) string {
	days := int(math.Round(at.Sub(now).Hours() / 24))
	switch {
	case days < 1:
		return "any day now"
	case days < 14:
		return "in about " + counted(days, "day")
	case days < 70:
		return fmt.Sprintf("in about %d weeks", (days+3)/7)
	}
	return fmt.Sprintf("in about %d months", (days+15)/30)
}

// partWord heads a part of an explanation.
func partWord(p pb.ExplanationPart) string {
	switch p {
	case pb.ExplanationPart_EXPLANATION_PART_READ:
		return "READ"
	case pb.ExplanationPart_EXPLANATION_PART_MADE:
		return "MADE OF IT"
	case pb.ExplanationPart_EXPLANATION_PART_UNCERTAINTY:
		return "WORTH"
	case pb.ExplanationPart_EXPLANATION_PART_LIMIT:
		return "LIMIT"
	case pb.ExplanationPart_EXPLANATION_PART_WHY:
		return "WHY THIS ONE"
	case pb.ExplanationPart_EXPLANATION_PART_CONFIDENCE:
		return "HOW SURE"
	case pb.ExplanationPart_EXPLANATION_PART_HISTORY:
		return "HISTORY"
	case pb.ExplanationPart_EXPLANATION_PART_MEANING:
		return "MEANS"
	case pb.ExplanationPart_EXPLANATION_PART_SOURCE:
		return "RULE FROM"
	}
	return "ALSO"
}

// sparkPoints is how many of the newest points a small drawing shows.
const sparkPoints = 30

// Spark is the newest points as a small drawing beside their words: the line of
// what was measured, the newest as a dot, and the bound that is heading for, dashed.
func (p pastStep) Spark() template.HTML {
	in := p.chart()
	in.points = in.points[max(0, len(in.points)-sparkPoints):]
	in.trend, in.target, in.limits = nil, nil, nil
	if o := in.outlook; o != nil {
		in.limits = []chartLimit{{bound: o.bound}}
	}
	in.outlook = nil
	if len(in.points) < 2 {
		return ""
	}
	in.now = in.points[len(in.points)-1].at
	c := newChart(in, chartSize{width: 42, height: 11, leftMargin: 1, rightMargin: 1.5, topMargin: 1, bottom: 1})
	c.put(`<svg class="spark" viewBox="0 0 %v %v" aria-hidden="true" focusable="false">`, c.width, c.height)
	for _, l := range c.limits {
		c.put(`<path class="ch-limit ch-noted" d="M%v %vH%v"/>`, c.left, c.y(l.bound), c.right)
	}
	command := "M"
	c.put(`<path class="ch-line" d="`)
	for _, point := range c.points {
		if point.reset {
			command = "M"
		}
		c.put(`%s%v %v`, command, c.x(point.at), c.y(point.normal))
		command = "L"
	}
	c.put(`"/>`)
	if len(c.points) > 0 {
		newest := c.points[len(c.points)-1]
		c.put(`<circle class="ch-normal" cx="%v" cy="%v" r="1"/>`, c.x(newest.at), c.y(newest.normal))
	}
	c.put(`</svg>`)
	return template.HTML(c.out.String())
}
