package screen

import (
	"math"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// legendLeft is where the legend begins, beside the totals.
const legendLeft = 112.0

// drawScale draws a bar of whole metres under the drawings.
func (p *walkPen) drawScale() {
	if p.scale == 0 {
		return
	}
	metres := max(1, math.Floor(30/p.scale))
	left, end, y := paperMargin, paperMargin+metres*p.scale, panelTop+panelHeight+3
	p.put(`<path class="bar" d="M%v %vV%vH%vV%v"/>`, left, y-1.5, y, end, y-1.5)
	for m := 1.0; m < metres; m++ {
		p.put(`<path class="bar" d="M%v %vV%v"/>`, left+m*p.scale, y-1, y)
	}
	p.words("", end+1.5, y, counted(int(metres), "metre"))
}

// drawFoot writes the totals and, beside them, the legend.
func (p *walkPen) drawFoot() {
	p.put(`<path class="rule foot" d="M%v %vH%v"/>`, paperMargin, footTop-5, paperWidth-paperMargin)
	y := footTop
	for i, sentence := range walkTotals(p.sheet.Walk) {
		class := ""
		if i == 2 {
			class = "strong"
		}
		for _, line := range inLines(sentence, legendLeft-paperMargin-4, wordSize) {
			p.words(class, paperMargin, y, line)
			y += linePitch
		}
	}
	p.drawLegend(footTop)
}

// drawLegend says what the marks mean, those that are drawn.
func (p *walkPen) drawLegend(top float64) {
	type entry struct {
		drawn bool
		draw  func(x, y float64)
		words string
	}
	has := func(is func(*pb.Halt) bool) bool {
		for _, h := range p.sheet.Walk.GetHalts() {
			if is(h) {
				return true
			}
		}
		return false
	}
	sample := func(h *pb.Halt) func(x, y float64) {
		return func(x, y float64) { p.bead(planPoint{x + 4, y - 1}, h, 7) }
	}
	line := func(class, d string) func(x, y float64) {
		return func(x, y float64) {
			p.put(`<path class="%s" d="M%v %vH%v"/>`, class, x, y-1, x+8)
			if d != "" {
				p.arrow(d, planPoint{x + 5, y - 1}, planPoint{1, 0}, 1.5)
			}
		}
	}
	helper := has((*pb.Halt).GetAssistantWalks)
	column, row := 0, 0
	for _, e := range []entry{
		{true, line("way", "way"), "the driver's way"},
		{helper, line("helper", "helper"), "the assistant's way"},
		{true, line("round", ""), "round the vehicle"},
		{true, func(x, y float64) { p.put(`<circle class="begin" cx="%v" cy="%v" r="0.9"/>`, x+4, y-1) }, "begins here"},
		{true, sample(&pb.Halt{}), "halt outside"},
		{has((*pb.Halt).GetInside), sample(&pb.Halt{Inside: true}), "halt inside"},
		{helper, sample(&pb.Halt{AssistantWalks: true}), "the assistant's halt"},
		{has(func(h *pb.Halt) bool { return h.GetAssistant() && !h.GetAssistantWalks() }), sample(&pb.Halt{Assistant: true}), "the assistant helps"},
		{p.visits, func(x, y float64) {
			p.put(`<path class="climb" d="M%v %vH%v"/><rect class="visit" x="%v" y="%v" width="1.6" height="1.6"/>`, x, y-1, x+7, x+6.4, y-1.8)
		}, "in and out, to switch"},
	} {
		if !e.drawn {
			continue
		}
		x, y := legendLeft+float64(column)*44, top+float64(row)*linePitch
		e.draw(x, y)
		p.words("", x+10, y, e.words)
		if row++; row == 5 {
			column, row = column+1, 0
		}
	}
}

// walkStyle is how a picture of a walk looks: ink on paper, and by night the other way
// round. A picture stands alone, so it takes the tablet's colours with it.
func walkStyle() string {
	day := strings.NewReplacer("$paper", "#faf8f3", "$ink", "#12181f", "$quiet", "#4a5560", "$edge", "#6b7680", "$body", "#ffffff", "$metal", "#e6e2d8", "$rubber", "#8a929a", "$faint", "#d9d4c7", "$helper", "#0a4f9e")
	night := strings.NewReplacer("$paper", "#0b0f13", "$ink", "#e9e4d8", "$quiet", "#a9b0b6", "$edge", "#76818a", "$body", "#151b21", "$metal", "#1c242b", "$rubber", "#59636c", "$faint", "#2a323a", "$helper", "#7ab6ff")
	return walkFaces + day.Replace(walkColours) + "@media print{.paper{fill:#fff}}@media screen and (prefers-color-scheme:dark){" + night.Replace(walkColours) + "}"
}

const walkFaces = `text{font-family:system-ui,"Liberation Sans",Arial,sans-serif;font-variant-numeric:tabular-nums}` +
	`.t{font-size:3px}.head{font-size:6px;font-weight:700}.strong{font-weight:700}.mid{text-anchor:middle}.end{text-anchor:end}` +
	`.n{font-size:2.2px;font-weight:700;text-anchor:middle}.pv-roof{font-weight:800}` +
	`path{fill:none;stroke-linejoin:round}.round{stroke-width:.3;stroke-dasharray:.3 1.2;stroke-linecap:round}` +
	`.way{stroke-width:.6}.helper{stroke-width:.6;stroke-dasharray:2 1}.climb{stroke-width:.35}.halo{stroke-width:1.6}.thin{stroke-width:1}` +
	`.bead{stroke-width:.35}.both{stroke-width:.3;fill:none}.bar{stroke-width:.4}.rule{stroke-width:.2}` +
	`.pv-body{stroke-width:.45}.pv-edge{stroke-width:.45}.pv-fine,.pv-gear,.pv-glass{stroke-width:.2}.pv-swing{stroke-width:.25}.pv-hidden{stroke-width:.2;stroke-dasharray:.8 .6}` +
	`.pv-edge,.pv-fine,.pv-swing,.pv-hidden{fill:none}`

const walkColours = `.paper{fill:$paper}text{fill:$ink}.quiet{fill:$quiet}.n{fill:$paper}.dark{fill:$helper}` +
	`.round{stroke:$edge}.way,.climb,.bar{stroke:$ink}.way-tip,.climb-tip,.visit,.begin{fill:$ink}.helper{stroke:$helper}.helper-tip{fill:$helper}` +
	`.halo{stroke:$paper}.bead{fill:$ink;stroke:$paper}.helps{fill:$paper;stroke:$helper}.both{stroke:$ink}.rule{stroke:$edge}` +
	`.pv-body{fill:$body;stroke:$edge}.pv-edge,.pv-fine,.pv-swing,.pv-hidden{stroke:$edge}.pv-gear,.pv-glass{fill:$metal;stroke:$edge}` +
	`.pv-wheel{fill:$rubber}.pv-lamp{fill:$edge}.pv-roof{fill:$faint}`
