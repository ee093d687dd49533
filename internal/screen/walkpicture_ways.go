package screen

import (
	"math"
)

// drawStrands draws the ways, each person's strands joined where they turn, with arrows
// and with a dot where one begins at no halt of the panel.
func (p *walkPen) drawStrands() {
	ring := p.trail.ring
	var dots []planPoint
	for i, r := range p.trail.runs {
		here := p.aside(i)
		from, turns, begins := p.joined(i)
		switch at := ring.at(r.from, here); {
		case turns:
			b := ring.at(r.from, p.outside(p.strands[from]))
			p.put(`<path class="halo" d="M%v %vL%v %v"/><path class="%s" d="M%v %vL%v %v"/>`, at.x, at.y, b.x, b.y, wayClass(r.assistant), at.x, at.y, b.x, b.y)
		case begins && r.ahead != 0:
			dots = append(dots, at)
		}
	}
	for _, s := range p.strands {
		if s.ahead != 0 {
			d := ring.curve(s.from, s.ahead, p.outside(s))
			p.put(`<path class="halo" d="%s"/><path class="%s" d="%s"/>`, d, wayClass(s.assistant), d)
		}
	}
	for i, r := range p.trail.runs {
		p.drawArrows(r, p.aside(i))
	}
	for _, at := range dots {
		p.put(`<circle class="begin" cx="%v" cy="%v" r="0.9"/>`, at.x, at.y)
	}
}

func wayClass(assistant bool) string {
	if assistant {
		return "helper"
	}
	return "way"
}

// joined tells from which strand one comes to a run, whether one turns to it from
// another, and whether it begins where one was not before.
func (p *walkPen) joined(i int) (from int, turns, begins bool) {
	r := p.trail.runs[i]
	if r.outOf {
		return 0, false, false
	}
	for k := i - 1; k >= 0; k-- {
		if before := p.trail.runs[k]; before.assistant == r.assistant {
			near := math.Abs(p.trail.ring.ahead(before.end(), r.from)) < 0.5
			return p.of[k], near && p.of[k] != p.of[i] && !before.into, !near
		}
	}
	return 0, false, true
}

// drawArrows draws arrows along a run, one in about 45 mm; none where there is no room.
func (p *walkPen) drawArrows(r run, out float64) {
	length := math.Abs(r.ahead)
	if length < beadSize+4 {
		return
	}
	n := max(1, math.Round(length/45))
	for k := range int(n) {
		along := r.from + r.ahead*(float64(k)+0.5)/n
		d := p.trail.ring.towards(along)
		p.arrow(wayClass(r.assistant), p.trail.ring.at(along, out), planPoint{math.Copysign(d.x, d.x*r.ahead), math.Copysign(d.y, d.y*r.ahead)}, 1.5)
	}
}

// arrow draws an arrow of a size whose tip lies half of it beyond a point.
func (p *planPen) arrow(class string, at, d planPoint, size float64) {
	tip := planPoint{at.x + d.x*size/2, at.y + d.y*size/2}
	back := planPoint{at.x - d.x*size*0.7, at.y - d.y*size*0.7}
	p.put(`<path class="%s-tip" d="M%v %vL%v %vL%v %vZ"/>`, class, tip.x, tip.y,
		back.x-d.y*size*0.6, back.y+d.x*size*0.6, back.x+d.y*size*0.6, back.y-d.x*size*0.6)
}

// drawCrossings draws where somebody climbs in and out.
func (p *walkPen) drawCrossings() {
	ring, runs := p.trail.ring, p.trail.runs
	visit := func(i int) bool { // in at the end of this run, and out again at once
		return i >= 0 && i+1 < len(runs) && runs[i].into && runs[i+1].outOf && runs[i+1].halt == runs[i].halt && !p.sheet.Walk.GetHalts()[runs[i].halt].GetAssistantWalks()
	}
	for i, r := range runs {
		out := p.aside(i)
		if r.outOf && !visit(i-1) {
			p.threshold(p.seatBefore(r.halt), ring.at(r.from, out))
		}
		switch {
		case visit(i):
			p.visits = true
			p.drawVisit(ring.at(r.end(), out), ring.at(r.end(), 0))
		case r.into:
			p.threshold(ring.at(r.end(), out), p.seatFrom(r.halt))
		}
	}
}

// threshold draws the way over a threshold, with an arrow.
func (p *walkPen) threshold(from, to planPoint) {
	length := from.distance(to)
	if length < beadSize {
		return
	}
	d := planPoint{(to.x - from.x) / length, (to.y - from.y) / length}
	p.put(`<path class="halo thin" d="M%v %vL%v %v"/><path class="climb" d="M%v %vL%v %v"/>`, from.x, from.y, to.x, to.y, from.x, from.y, to.x, to.y)
	p.arrow("climb", planPoint{from.x + d.x*(length/2), from.y + d.y*(length/2)}, d, 1.4)
}

// drawVisit draws a climb into the cab, only to switch something: to the vehicle's side.
func (p *walkPen) drawVisit(from, line planPoint) {
	a, b := p.at(p.front, p.half), p.at(p.rear, -p.half)
	side := planPoint{min(max(line.x, min(a.x, b.x)), max(a.x, b.x)), min(max(line.y, a.y), b.y)}
	p.put(`<path class="halo thin" d="M%v %vL%v %v"/><path class="climb" d="M%v %vL%v %v"/>`, from.x, from.y, side.x, side.y, from.x, from.y, side.x, side.y)
	p.put(`<rect class="visit" x="%v" y="%v" width="1.6" height="1.6"/>`, side.x-0.8, side.y-0.8)
}

// seatFrom is the mark of the driver's next halt from one on, if it is inside and in this
// panel; otherwise the driver's seat.
func (p *walkPen) seatFrom(halt int) planPoint {
	halts := p.sheet.Walk.GetHalts()
	for i := halt; i < p.last; i++ {
		if halts[i].GetInside() {
			return p.beads[i]
		}
		if !halts[i].GetAssistantWalks() {
			break
		}
	}
	return p.driversSeat()
}

// seatBefore is the mark of the driver's last halt before one, likewise.
func (p *walkPen) seatBefore(halt int) planPoint {
	halts := p.sheet.Walk.GetHalts()
	for i := halt - 1; i >= p.first; i-- {
		if halts[i].GetInside() {
			return p.beads[i]
		}
		if !halts[i].GetAssistantWalks() {
			break
		}
	}
	return p.driversSeat()
}
