package screen

import (
	"math"

	"bayround/internal/plan/ground"
	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// clearanceM is how far from a vehicle one walks where no walk says it; common practice.
const clearanceM = 0.6

// roundLineOf is the line that one keeps to round a vehicle: that of the walk, or without one
// a line round its box.
func roundLineOf(v *pb.VehicleConfiguration, w *pb.Walk) []*pb.Point {
	if len(w.GetRoundLine()) > 0 {
		return w.GetRoundLine()
	}
	d := v.GetDimensions()
	front, half := d.GetFrontOverhangM(), d.GetWidthM()/2
	rear := front - d.GetLengthM()
	o, err := ground.NewOutline([]ground.Point{{X: front, Y: half}, {X: front, Y: -half}, {X: rear, Y: half}, {X: rear, Y: -half}}, clearanceM)
	if err != nil {
		return nil // of a vehicle without measures
	}
	var line []*pb.Point
	for _, c := range o.Corners() {
		line = append(line, &pb.Point{XM: c.X, YM: c.Y})
	}
	return line
}

// course is a walk in hand: which halts are done, where one is and where one goes next.
type course struct {
	trail
	halts      []*pb.Halt
	done       []bool  // by halt
	here, next int     // halts; -1 when there is none
	goal       float64 // where the way to the next open step ends, along the ring
	leads      bool    // there is one
}

// newCourse lays the walk of a round on the sheet.
func newCourse(f planFrame, r *round.Round) course {
	c := course{here: -1, next: -1}
	if r == nil {
		return c
	}
	c.trail, c.halts = newTrail(f, r.Walk), r.Walk.GetHalts()
	if c.ring.empty() {
		c.ring = f.ringOf(roundLineOf(f.v, nil))
	}
	at := map[string]int{}
	c.done = make([]bool, len(c.halts))
	for i, h := range c.halts {
		c.done[i] = true
		for _, id := range h.GetStepIds() {
			at[id] = i
		}
	}
	for _, m := range r.Marks {
		if halt, known := at[m.StepID]; known && isOpen(m.State) {
			c.done[halt] = false
		}
	}
	c.lookAhead(f, r, at)
	return c
}

// lookAhead finds where the walk leads on: to the first open step behind the one in the
// light that is at another halt, or not near it. at is the halt of each step.
func (c *course) lookAhead(f planFrame, r *round.Round, at map[string]int) {
	lit := current(r)
	if lit == nil || c.ring.empty() {
		return
	}
	if halt, known := at[lit.StepID]; known {
		c.here = halt
	}
	for _, m := range r.Marks[r.Current+1:] {
		if !isOpen(m.State) {
			continue
		}
		halt, known := at[m.StepID]
		switch {
		case known && halt != c.here:
			c.next, c.goal, c.leads = halt, c.trail.halts[halt].along, true
			return
		case !known && f.place(m.Place).distance(f.place(lit.Place)) > oneSign:
			c.goal, c.leads = c.ring.nearest(f.place(m.Place)), true
			return
		}
	}
}

// drawWalk draws the line round the vehicle and the walk on it: what is done thin, the
// way from here to the next halt strong, the rest faint; and who stands here.
func (p *planPen) drawWalk(r *round.Round, step *round.Step, lit *round.Mark) {
	c := newCourse(p.planFrame, r)
	if c.ring.empty() {
		return
	}
	p.put(`<g aria-hidden="true"><path class="pv-walk" d="%sZ"/>`, c.ring.curve(0, c.ring.length()-0.001, 0))
	p.drawRest(c)
	if lit != nil {
		p.drawHere(c, step, p.place(lit.Place))
	}
	p.out.WriteString(`</g>`)
}

// The lines of a walk run so far outside of the ring, in millimetres: done, still to
// come.
const (
	doneOut = 0.0
	restOut = 0.9
)

// drawRest draws what is done and what comes after the next halt, each stretch once
// however often it is walked.
func (p *planPen) drawRest(c course) {
	var past, rest []run
	for _, run := range c.runs {
		switch {
		case c.done[run.halt]:
			past = append(past, run)
		case run.halt != c.next:
			rest = append(rest, run)
		}
	}
	for _, run := range c.ring.covered(past) {
		p.put(`<path class="pv-past" d="%s"/>`, c.ring.curve(run.from, run.ahead, doneOut))
	}
	for _, run := range c.ring.covered(rest) {
		p.put(`<path class="pv-rest" d="%s"/>`, c.ring.curve(run.from, run.ahead, restOut))
	}
}

// drawHere draws the driver, or the assistant who walks, with the light on the place in
// hand, and the way to the next halt.
func (p *planPen) drawHere(c course, step *round.Step, at planPoint) {
	stand := c.ring.nearest(at)
	if c.here >= 0 && c.here < len(c.trail.halts) {
		stand = c.trail.halts[c.here].along
	}
	here := c.ring.at(stand, 0)
	helps := c.here >= 0 && c.halts[c.here].GetAssistantWalks()
	if outside(step) || helps {
		p.drawLight(here, at)
	}
	if c.leads && step != nil {
		p.drawNext(c, stand)
	}
	switch {
	case helps:
		p.drawPerson("pv-helper", here, at)
	case outside(step):
		p.drawPerson("pv-driver", here, at)
	}
}

// drawNext draws the way to the next halt: that of the walk, or when halts between are
// done, the shorter one.
func (p *planPen) drawNext(c course, stand float64) {
	class, helps := "pv-way", c.next >= 0 && c.halts[c.next].GetAssistantWalks()
	if helps {
		class = "pv-way pv-way-helper"
	}
	var ways []run
	for _, run := range c.runs {
		if c.next >= 0 && c.next == c.here+1 && run.halt == c.next && run.assistant == helps {
			ways = append(ways, run)
		}
	}
	if len(ways) == 0 {
		ways = []run{{from: stand, ahead: c.ring.ahead(stand, c.goal)}}
	}
	for _, way := range ways {
		p.put(`<path class="%s" d="%s"/>`, class, c.ring.curve(way.from, way.ahead, 0))
	}
	last := ways[len(ways)-1]
	if math.Abs(last.ahead) < 1 {
		return
	}
	d := c.ring.towards(last.end() - math.Copysign(0.01, last.ahead))
	p.arrow("pv-way", c.ring.at(last.end(), 0), planPoint{math.Copysign(1, last.ahead) * d.x, math.Copysign(1, last.ahead) * d.y}, 2)
}

// outside tells that the driver stands outside for a step, as far as is known.
func outside(step *round.Step) bool {
	if step == nil || step.CheckStep == nil {
		return false
	}
	switch step.GetPosition() {
	case pb.Position_POSITION_INSIDE_CAB, pb.Position_POSITION_INSIDE_CREW_CAB, pb.Position_POSITION_PATIENT_COMPARTMENT, pb.Position_POSITION_ROOF:
		return false
	}
	return true
}

// drawLight draws the cone of a torch from the driver to the place.
func (p *planPen) drawLight(from, to planPoint) {
	length := from.distance(to)
	if length < 0.1 {
		return
	}
	x, y := (to.x-from.x)/length, (to.y-from.y)/length
	spread := 1.2 + length*0.28
	p.put(`<path class="pv-beam" d="M%v %vL%v %vL%v %vZ"/>`,
		from.x, from.y, to.x-y*spread, to.y+x*spread, to.x+y*spread, to.y-x*spread)
}

// drawPerson draws a person from above, facing the place.
func (p *planPen) drawPerson(class string, at, facing planPoint) {
	angle := math.Atan2(facing.y-at.y, facing.x-at.x) * 180 / math.Pi
	p.put(`<g class="%s" transform="translate(%v %v) rotate(%v)"><ellipse rx="0.9" ry="1.9"/><circle r="0.9" cx="0.2"/></g>`,
		class, at.x, at.y, angle)
}
