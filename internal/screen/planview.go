package screen

import (
	"encoding/xml"
	"fmt"
	"html/template"
	"math"
	"strings"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// The sheet a vehicle is drawn on, in millimetres on the glass of the smallest
// tablet; larger glass shows it larger. The nose points up; the nearside, the side of
// the kerb, lies on the left unless the station says that traffic keeps right.
const (
	sheetWidth  = 54.0
	sheetHeight = 65.0
	sheetMargin = 5.5 // round the vehicle, where nobody walks
	lineMargin  = 2.0 // round the line that is walked
)

// planArea is where on a sheet a vehicle is drawn, in millimetres.
type planArea struct{ left, above, width, height, margin float64 }

// planFrame lays a vehicle on the sheet.
type planFrame struct {
	v                 *pb.VehicleConfiguration
	nearsideRight     bool
	window            planArea
	scale             float64 // millimetres on the sheet for a metre
	front, rear, half float64 // of the vehicle itself, in metres
	top               float64 // the x that lies at the upper edge of the area, in metres
}

// newPlanFrame makes a vehicle, every place of a round and the line on which it is
// walked fit on the tablet's sheet.
func newPlanFrame(v *pb.VehicleConfiguration, r *round.Round, nearsideRight bool) planFrame {
	area := planArea{width: sheetWidth, height: sheetHeight, margin: sheetMargin}
	var spots []*pb.Point
	for _, p := range placesOf(r) {
		spots = append(spots, p.GetAt())
	}
	if r != nil {
		spots, area.margin = append(spots, roundLineOf(v, r.Walk)...), lineMargin
	}
	return framed(v, area, spots, nearsideRight)
}

// framed makes a vehicle and every spot fit into an area.
func framed(v *pb.VehicleConfiguration, area planArea, spots []*pb.Point, nearsideRight bool) planFrame {
	d := v.GetDimensions()
	f := planFrame{v: v, nearsideRight: nearsideRight, window: area, front: d.GetFrontOverhangM(), half: d.GetWidthM() / 2}
	f.rear = f.front - d.GetLengthM()
	top, bottom, side := f.front, f.rear, f.half
	for _, at := range spots {
		top, bottom, side = max(top, at.GetXM()), min(bottom, at.GetXM()), max(side, math.Abs(at.GetYM()))
	}
	f.scale = min((area.height-2*area.margin)/max(top-bottom, 0.5), (area.width-2*area.margin)/max(2*side, 0.5))
	f.top = (top+bottom)/2 + area.height/2/f.scale
	return f
}

// planPoint is a place on the sheet, in millimetres from its upper left corner.
type planPoint struct{ x, y float64 }

// at is where a spot of the vehicle lies on the sheet.
func (f planFrame) at(xM, yM float64) planPoint {
	if f.nearsideRight {
		yM = -yM
	}
	return planPoint{f.window.left + f.window.width/2 - yM*f.scale, f.window.above + (f.top-xM)*f.scale}
}

func (f planFrame) spot(at *pb.Point) planPoint { return f.at(at.GetXM(), at.GetYM()) }

func (f planFrame) place(p *pb.Place) planPoint {
	return f.spot(p.GetAt())
}

func (p planPoint) distance(q planPoint) float64 { return math.Hypot(p.x-q.x, p.y-q.y) }

// planPen writes SVG elements.
type planPen struct {
	planFrame
	out strings.Builder
}

// put writes an element; numbers are rounded to a hundredth of a millimetre.
func (p *planPen) put(format string, values ...any) {
	for i, v := range values {
		if n, ok := v.(float64); ok {
			values[i] = math.Round(n*100) / 100
		}
	}
	fmt.Fprintf(&p.out, format, values...)
}

// box draws a rectangle between two signs of the vehicle, with rounded corners
// of a radius in metres.
func (p *planPen) box(class string, x1, y1, x2, y2 float64) {
	a, b := p.at(max(x1, x2), max(y1, y2)), p.at(min(x1, x2), min(y1, y2))
	p.put(`<rect class="%s" x="%v" y="%v" width="%v" height="%v" rx="%v"/>`, class, min(a.x, b.x), a.y, math.Abs(b.x-a.x), b.y-a.y, min(0.06*p.scale, 0.6))
}

// line draws through signs of the vehicle, given as x and y in turn.
func (p *planPen) line(class string, xy ...float64) {
	p.put(`<path class="%s" d="%s"/>`, class, p.way(xy))
}

// area is a line that is closed.
func (p *planPen) area(class string, xy ...float64) {
	p.put(`<path class="%s" d="%sZ"/>`, class, p.way(xy))
}

func (p *planPen) way(xy []float64) string {
	var d strings.Builder
	for i := 0; i+1 < len(xy); i += 2 {
		at, command := p.at(xy[i], xy[i+1]), "L"
		if i == 0 {
			command = "M"
		}
		fmt.Fprintf(&d, "%s%.2f %.2f", command, at.x, at.y)
	}
	return d.String()
}

// disc draws a circle of a radius in metres round a spot of the vehicle.
func (p *planPen) disc(class string, x, y, radius float64) {
	at := p.at(x, y)
	p.put(`<circle class="%s" cx="%v" cy="%v" r="%v"/>`, class, at.x, at.y, radius*p.scale)
}

// planView draws a vehicle from above and, when a round is given, its steps: those
// to come as rings, those done filled, what was found as a shape of its own, the
// step in the light inside a ring with the driver beside it.
func planView(v *pb.VehicleConfiguration, r *round.Round, step *round.Step, nearsideRight bool) template.HTML {
	if v == nil {
		return ""
	}
	p := &planPen{planFrame: newPlanFrame(v, r, nearsideRight)}
	left, right := "nearside", "offside"
	if nearsideRight {
		left, right = right, left
	}
	p.put(`<svg class="plan-sheet" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %v %v" preserveAspectRatio="xMidYMin" role="group" aria-label="%s">`,
		sheetWidth, sheetHeight, escape(v.GetCallSign()+" from above, nose up, "+left+" left"))
	signs := signsOf(p.planFrame, r)
	lit := current(r)
	if lit != nil {
		at := p.place(lit.Place)
		p.put(`<circle class="pv-pool" cx="%v" cy="%v" r="10"/>`, at.x, at.y)
	}
	p.drawWalk(r, step, lit)
	p.drawVehicle()
	p.drawSigns(signs)
	p.drawLit(lit)
	p.put(`<g class="pv-word" aria-hidden="true"><text transform="translate(3.6 %v) rotate(-90)" text-anchor="middle">%s</text>`, sheetHeight/2, left)
	p.put(`<text transform="translate(%v %v) rotate(90)" text-anchor="middle">%s</text></g>`, sheetWidth-3.6, sheetHeight/2, right)
	p.drawTargets(r)
	p.out.WriteString(`</svg>`)
	return template.HTML(p.out.String())
}

// placesOf is where the steps of a round are.
func placesOf(r *round.Round) (places []*pb.Place) {
	if r == nil {
		return nil
	}
	for _, m := range r.Marks {
		places = append(places, m.Place)
	}
	return places
}

// current is the step in the light; nil when there is none.
func current(r *round.Round) *round.Mark {
	if r == nil || r.Current < 0 || r.Current >= len(r.Marks) {
		return nil
	}
	return &r.Marks[r.Current]
}

// escape makes a text safe inside an attribute or element.
func escape(text string) string {
	var safe strings.Builder
	_ = xml.EscapeText(&safe, []byte(text)) // a strings.Builder takes everything
	return safe.String()
}
