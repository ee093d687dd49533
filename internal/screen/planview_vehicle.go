package screen

import (
	"math"
	"regexp"
	"strconv"

	pb "bayround/proto/bayround/v1"
)

// drawVehicle draws everything that is configured. Wheels show through the body:
// they are what is looked at most.
func (p *planPen) drawVehicle() {
	p.put(`<g class="pv" aria-hidden="true">`)
	if p.v.GetPowerTrain() == pb.PowerTrain_POWER_TRAIN_NONE {
		p.drawTrailer()
	} else {
		p.drawCab()
	}
	for _, axle := range p.v.GetAxles() {
		p.drawAxle(axle)
	}
	for _, o := range p.v.GetOpenings() {
		p.drawOpening(o)
	}
	for _, e := range p.v.GetEquipment() {
		p.drawGear(e)
	}
	for _, f := range p.v.GetFittings() {
		p.drawFitting(f)
	}
	for _, l := range p.v.GetLamps() {
		p.drawLamp(l)
	}
	p.put(`</g>`)
}

// tyreSize reads a tyre's width in millimetres, its height in per cent of it and
// the rim in inches.
var tyreSize = regexp.MustCompile(`^\s*(\d{3})(?:/(\d{2,3}))?\s*Z?[RD-]\s*(\d{1,2}(?:\.\d+)?)`)

// tyreMeasures are a tyre's width and height in metres; those of a lorry's where
// the size cannot be read.
func tyreMeasures(size string) (width, height float64) {
	m := tyreSize.FindStringSubmatch(size)
	if m == nil {
		return 0.29, 1
	}
	number := func(text string, otherwise float64) float64 {
		n, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return otherwise
		}
		return n
	}
	width = number(m[1], 290) / 1000
	return width, number(m[3], 22.5)*0.0254 + 2*width*number(m[2], 82)/100
}

// drawAxle draws the wheels of an axle, twins beside each other as the planner
// places them (1.12 widths apart), and the beam between them.
func (p *planPen) drawAxle(axle *pb.Axle) {
	width, height := tyreMeasures(axle.GetTyre().GetSize())
	x, outer := axle.GetXM(), axle.GetTrackM()/2
	p.line("pv-hidden", x, outer, x, -outer)
	for _, side := range []float64{1, -1} {
		for i := range max(axle.GetWheelsPerSide(), 1) {
			y := side * (outer - float64(i)*width*1.12)
			p.box("pv-wheel", x+height/2, y+width/2, x-height/2, y-width/2)
		}
	}
	if axle.GetDriven() {
		p.disc("pv-fine", x, 0, 0.16)
	}
}

// drawTrailer draws the body behind its drawbar.
func (p *planPen) drawTrailer() {
	nose := p.rear + (p.front-p.rear)*0.78
	p.line("pv-edge", nose, p.half*0.7, p.front-0.1, 0, nose, -p.half*0.7)
	p.disc("pv-edge", p.front-0.1, 0, 0.1)
	p.box("pv-body", nose, p.half, p.rear, -p.half)
	p.box("pv-fine", nose-0.12, p.half-0.12, p.rear+0.12, -p.half+0.12)
	p.roofWord(nose, p.rear)
}

// drawCab draws cab, body and seats. How far the cab reaches is seen from its
// doors and seats.
func (p *planPen) drawCab() {
	end := p.cabEnd()
	bonnet := 0.0
	if !p.has("cab_over") {
		bonnet = 0.85
	}
	f, h := p.front, p.half
	p.area("pv-body", f-0.3, h*0.96, f-0.08, h*0.8, f, h*0.45, f, -h*0.45, f-0.08, -h*0.8, f-0.3, -h*0.96, end, -h, end, h)
	glass := f - bonnet
	p.area("pv-glass", glass-0.22, h*0.82, glass-0.12, h*0.4, glass-0.12, -h*0.4, glass-0.22, -h*0.82, glass-0.5, -h*0.76, glass-0.5, h*0.76)
	if bonnet > 0 {
		p.line("pv-fine", f-0.1, h*0.5, glass-0.15, h*0.62)
		p.line("pv-fine", f-0.1, -h*0.5, glass-0.15, -h*0.62)
	}
	p.box("pv-body", end-0.1, h, p.rear, -h)
	p.box("pv-fine", end-0.22, h-0.14, p.rear+0.12, -h+0.14)
	p.roofWord(end-0.1, p.rear)
	for _, s := range p.v.GetSeats() {
		at := s.GetPlace().GetAt()
		p.box("pv-fine", at.GetXM()+0.22, at.GetYM()+0.22, at.GetXM()-0.2, at.GetYM()-0.22)
		p.line("pv-fine", at.GetXM()-0.26, at.GetYM()+0.22, at.GetXM()-0.26, at.GetYM()-0.22)
	}
}

// roofWord paints the call sign along the roof, as a helicopter would read it.
func (p *planPen) roofWord(front, rear float64) {
	at := p.at((front+rear)/2, 0)
	size := min(7, (front-rear)*p.scale/5)
	p.put(`<text class="pv-roof" font-size="%v" text-anchor="middle" transform="translate(%v %v) rotate(-90)">%s</text>`,
		size, at.x+size*0.35, at.y, escape(p.v.GetCallSign()))
}

// cabEnd is where the cab ends, in metres along the vehicle.
func (p *planPen) cabEnd() float64 {
	end := p.front - 0.18*(p.front-p.rear)
	for _, o := range p.v.GetOpenings() {
		if o.GetKind() == pb.OpeningKind_OPENING_KIND_CAB_DOOR {
			end = min(end, o.GetPlace().GetAt().GetXM()-0.45)
		}
	}
	for _, s := range p.v.GetSeats() {
		if s.GetKind() != pb.SeatKind_SEAT_KIND_PATIENT_COMPARTMENT {
			end = min(end, s.GetPlace().GetAt().GetXM()-0.4)
		}
	}
	return max(end, p.rear+0.3*(p.front-p.rear))
}

func (p *planPen) has(feature string) bool {
	for _, word := range p.v.GetFeatures() {
		if word == feature {
			return true
		}
	}
	return false
}

// drawOpening draws a door with its swing, a shutter as a double line, a ladder
// gantry as rails and rungs.
func (p *planPen) drawOpening(o *pb.Opening) {
	x, y := o.GetPlace().GetAt().GetXM(), o.GetPlace().GetAt().GetYM()
	onSide := math.Abs(y) > 0.8*p.half
	switch kind := o.GetKind(); {
	case kind == pb.OpeningKind_OPENING_KIND_GANTRY:
		p.drawLadder(y, min(x+0.2, p.rear+2.6), p.rear+0.1)
	case kind == pb.OpeningKind_OPENING_KIND_SLIDE:
		return // under a shutter
	case kind == pb.OpeningKind_OPENING_KIND_CAB_DOOR && onSide:
		out := math.Copysign(1, y)
		hinge, reach := x+0.38, 0.62
		a, b := p.at(hinge, out*p.half), p.at(hinge-0.25, out*(p.half+0.45))
		p.line("pv-edge", hinge, out*p.half, hinge-reach-0.1, out*p.half)
		p.put(`<path class="pv-swing" d="M%v %vL%v %v"/>`, a.x, a.y, b.x, b.y)
	case onSide:
		in := y - math.Copysign(0.14, y)
		length := 0.6
		if kind == pb.OpeningKind_OPENING_KIND_SHUTTER {
			length = 0.68
		}
		p.line("pv-fine", x+length, y, x+length, in, x-length, in, x-length, y)
	default:
		step := math.Copysign(0.14, x-(p.front+p.rear)/2)
		p.line("pv-fine", x, y+0.7, x-step, y+0.7, x-step, y-0.7, x, y-0.7)
	}
}

func (p *planPen) drawLadder(y, front, rear float64) {
	p.line("pv-fine", front, y+0.22, rear, y+0.22)
	p.line("pv-fine", front, y-0.22, rear, y-0.22)
	for x := rear + 0.2; x < front; x += 0.34 {
		p.line("pv-fine", x, y+0.22, x, y-0.22)
	}
}

// drawGear draws fixed gear by what it is.
func (p *planPen) drawGear(e *pb.Equipment) {
	x, y := e.GetPlace().GetAt().GetXM(), e.GetPlace().GetAt().GetYM()
	inside := min(max(x, p.rear+0.45), p.front-0.45)
	switch e.GetFeature() {
	case "pump", "portable_pump":
		p.disc("pv-gear", inside, y, 0.3)
		p.disc("pv-fine", inside, y, 0.12)
		p.line("pv-fine", inside, y+0.3, inside-0.4, y+0.3)
	case "aerial":
		p.disc("pv-gear", x, y, 0.75)
		p.box("pv-gear", p.front-1.2, y+0.3, x+0.2, y-0.3)
		p.line("pv-fine", p.front-1.2, y, x+0.2, y)
		p.box("pv-gear", p.front-0.2, y+0.55, p.front-1.2, y-0.55)
	case "crane":
		p.disc("pv-gear", x, y, 0.32)
		p.line("pv-gear", x, y-0.9, x+0.12, y-0.9, x+0.12, y+0.9, x-0.12, y+0.9, x-0.12, y-0.9)
	case "mast":
		p.disc("pv-gear", x, y, 0.15)
		p.disc("pv-fine", x, y, 0.06)
	case "winch":
		p.box("pv-gear", x-0.1, y+0.35, x-0.32, y-0.35)
		p.line("pv-fine", x-0.1, y, x, y)
	case "ladder":
		p.drawLadder(y, min(x+1.2, p.front-0.5), max(x-1.2, p.rear+0.1))
	case "container":
		p.box("pv-gear", min(x+1.3, p.front), p.half-0.25, p.rear+0.2, -p.half+0.25)
	case "tail_lift":
		p.box("pv-fine", p.rear+0.4, 0.6, p.rear, -0.6)
	default:
		in := y - math.Copysign(0.28, y)
		p.box("pv-gear", inside+0.3, in+0.2, inside-0.3, in-0.2)
	}
}

// drawFitting draws mirrors, wipers, tanks and outlets.
func (p *planPen) drawFitting(f *pb.Fitting) {
	x, y := f.GetPlace().GetAt().GetXM(), f.GetPlace().GetAt().GetYM()
	out := math.Copysign(1, y)
	switch f.GetKind() {
	case pb.FittingKind_FITTING_KIND_MIRROR:
		if math.Abs(y) > p.half {
			p.line("pv-edge", x-0.1, out*p.half*0.96, x, y)
			p.box("pv-wheel", x+0.06, y+0.14, x-0.06, y-0.14)
		}
	case pb.FittingKind_FITTING_KIND_WIPER:
		p.line("pv-fine", x-0.02, y-0.4, x-0.16, y+0.3)
	case pb.FittingKind_FITTING_KIND_AIR_TANK:
		p.box("pv-hidden", x+0.22, y+0.14, x-0.22, y-0.14)
	case pb.FittingKind_FITTING_KIND_OUTLET:
		p.disc("pv-fine", x, y, 0.1)
	case pb.FittingKind_FITTING_KIND_PLATE:
		p.box("pv-fine", x+0.05, y+0.26, x-0.05, y-0.26)
	}
}

// drawLamp draws a lamp small; warning lamps on the roof as bars.
func (p *planPen) drawLamp(l *pb.Lamp) {
	x, y := l.GetPlace().GetAt().GetXM(), l.GetPlace().GetAt().GetYM()
	across := 0.09
	if l.GetFunction() == pb.LampFunction_LAMP_FUNCTION_SPECIAL_WARNING && math.Abs(y) < 0.3 {
		across = 0.7
	}
	x = min(max(x, p.rear+0.05), p.front-0.05)
	y = math.Copysign(min(math.Abs(y), p.half-0.05), y)
	p.box("pv-lamp", x+0.03, y+across, x-0.03, y-across)
}
