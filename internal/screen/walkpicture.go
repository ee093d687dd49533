package screen

import (
	"fmt"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// The sheet that a walk is drawn on is A4 upright, in millimetres: the walk in one
// drawing of the vehicle or in two beside each other, under them the stops, then totals
// and legend.
const (
	paperWidth  = 210.0
	paperHeight = 297.0
	paperMargin = 10.0
	panelTop    = 28.0
	panelHeight = 160.0
	stopsTop    = 199.0
	footTop     = 268.0
	wordSize    = 3.0 // of most words
	linePitch   = 4.2 // from one line of words to the next
)

// WalkSheet is what a picture of a walk tells of.
type WalkSheet struct {
	Vehicle *pb.VehicleConfiguration
	Walk    *pb.Walk
	// Routine is its name as people say it, for instance "shift".
	Routine string
	// Catalogue is the version of the catalogue that the walk was made from.
	Catalogue string
	// NearsideRight: traffic keeps right, so that the kerb is on the right.
	NearsideRight bool
}

// walkPen draws a walk on its sheet, panel after panel.
type walkPen struct {
	*planPen
	sheet WalkSheet
	panel
	visits bool // somebody climbs into the cab and out again, only to switch
}

// DrawWalk draws a walk as an SVG that needs nothing else: on paper, in grey and on a
// dark screen.
func DrawWalk(s WalkSheet) string {
	p := &walkPen{planPen: &planPen{}, sheet: s}
	p.put(`<svg xmlns="http://www.w3.org/2000/svg" width="%vmm" height="%vmm" viewBox="0 0 %v %v" role="img" aria-labelledby="title desc">`,
		paperWidth, paperHeight, paperWidth, paperHeight)
	p.put(`<title id="title">%s</title><desc id="desc">%s</desc>`, escape(s.title()), escape(s.described()))
	p.put(`<style>%s</style><rect class="paper" width="%v" height="%v"/>`, walkStyle(), paperWidth, paperHeight)
	p.words("head", paperMargin, 16, s.title())
	p.words("", paperMargin, 22, s.subtitle())
	for _, panel := range panelsOf(s) {
		p.panel, p.planFrame = panel, panel.frame
		p.drawPanel()
	}
	p.drawScale()
	p.drawStops()
	p.drawFoot()
	p.put(`</svg>`)
	return p.out.String() + "\n"
}

// drawPanel draws the vehicle and the part of the walk that a panel holds.
func (p *walkPen) drawPanel() {
	p.words("strong mid", p.window.left+p.window.width/2, panelTop, fmt.Sprintf("Halts %d to %d", p.first+1, p.last))
	p.drawSides()
	if r := p.trail.ring; !r.empty() {
		p.put(`<path class="round" d="%sZ"/>`, r.curve(0, r.length()-0.001, 0))
	}
	p.drawVehicle()
	p.drawStrands()
	p.drawCrossings()
	p.drawBeads()
}

// words writes one line.
func (p *planPen) words(class string, x, y float64, text string) {
	p.put(`<text class="%s" x="%v" y="%v">%s</text>`, strings.TrimSpace("t "+class), x, y, escape(text))
}

func (s WalkSheet) title() string {
	return fmt.Sprintf("%s: the walk of the %s routine", s.Vehicle.GetCallSign(), s.Routine)
}

func (s WalkSheet) subtitle() string {
	steps := 0
	for _, h := range s.Walk.GetHalts() {
		steps += len(h.GetStepIds())
	}
	who := "with an assistant"
	if s.Walk.GetAlone() {
		who = "alone"
	}
	return fmt.Sprintf("%s; %s; %s at %s; catalogue %s", s.Vehicle.GetTitle(), who, counted(steps, "step"), counted(len(s.Walk.GetHalts()), "halt"), s.Catalogue)
}

// described says in words what the picture shows.
func (s WalkSheet) described() string {
	left := "nearside"
	if s.NearsideRight {
		left = "offside"
	}
	parts := []string{"The vehicle from above, nose up, " + left + " left, with the way round it and its halts in order."}
	for _, stop := range walkStops(s.Walk) {
		if stop.span == "" {
			parts = append(parts, "Then "+stop.words+".")
			continue
		}
		parts = append(parts, stop.span+" "+stop.words+".")
	}
	return strings.Join(append(parts, walkTotals(s.Walk)...), " ")
}

func (p *walkPen) drawSides() {
	left, right := "nearside", "offside"
	if p.nearsideRight {
		left, right = right, left
	}
	middle := p.window.above + p.window.height/2
	p.put(`<text class="t quiet mid" transform="translate(%v %v) rotate(-90)">%s</text>`, p.window.left+4, middle, left)
	p.put(`<text class="t quiet mid" transform="translate(%v %v) rotate(90)">%s</text>`, p.window.left+p.window.width-4, middle, right)
}
