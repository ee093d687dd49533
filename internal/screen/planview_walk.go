package screen

import (
	"fmt"
	"math"
	"strings"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// walkRing is the line a driver walks round a vehicle, on the sheet.
type walkRing struct{ left, top, right, bottom float64 }

func (f planFrame) ring() walkRing {
	a, b := f.at(f.front, f.half), f.at(f.rear, -f.half)
	return walkRing{min(a.x, b.x) - walkOffset, a.y - walkOffset, max(a.x, b.x) + walkOffset, b.y + walkOffset}
}

// length is once round.
func (r walkRing) length() float64 { return 2 * (r.right - r.left + r.bottom - r.top) }

// along is the point so far round from the upper left corner, clockwise.
func (r walkRing) along(t float64) planPoint {
	width, height := r.right-r.left, r.bottom-r.top
	t = math.Mod(math.Mod(t, r.length())+r.length(), r.length())
	switch {
	case t < width:
		return planPoint{r.left + t, r.top}
	case t < width+height:
		return planPoint{r.right, r.top + t - width}
	case t < 2*width+height:
		return planPoint{r.right - (t - width - height), r.bottom}
	}
	return planPoint{r.left, r.bottom - (t - 2*width - height)}
}

// beside is how far round the point nearest to a place inside lies.
func (r walkRing) beside(at planPoint) float64 {
	width, height := r.right-r.left, r.bottom-r.top
	x, y := min(max(at.x, r.left), r.right)-r.left, min(max(at.y, r.top), r.bottom)-r.top
	switch least := min(x, width-x, y, height-y); least {
	case y:
		return x
	case width - x:
		return width + y
	case height - y:
		return width + height + width - x
	default:
		return 2*width + height + height - y
	}
}

// way is the shorter walk between two points of the ring, as a path's commands.
func (r walkRing) way(from, to float64) string {
	around := r.length()
	ahead := math.Mod(to-from+around, around)
	if ahead > around/2 {
		ahead -= around
	}
	start := r.along(from)
	var d strings.Builder
	fmt.Fprintf(&d, "M%.2f %.2f", start.x, start.y)
	width, height := r.right-r.left, r.bottom-r.top
	corners := []float64{0, width, width + height, 2*width + height}
	for _, passed := range passedBetween(corners, from, ahead, around) {
		at := r.along(passed)
		fmt.Fprintf(&d, "L%.2f %.2f", at.x, at.y)
	}
	end := r.along(from + ahead)
	fmt.Fprintf(&d, "L%.2f %.2f", end.x, end.y)
	return d.String()
}

// passedBetween returns the corners met on a walk of so much ahead (or back, when
// it is negative), in the order they are met.
func passedBetween(corners []float64, from, ahead, around float64) (passed []float64) {
	step := 1
	if ahead < 0 {
		step = -1
	}
	for turn := -1; turn <= 1; turn++ {
		for i := range corners {
			if step < 0 {
				i = len(corners) - 1 - i
			}
			at := corners[i] + float64(turn*step)*around
			if way := (at - from) * float64(step); way > 0 && way < math.Abs(ahead) {
				passed = append(passed, at)
			}
		}
	}
	return passed
}

// drawWalk draws the line round the vehicle, the driver on it with the light on
// the place, and the way to where the next open step is.
func (p *planPen) drawWalk(r *round.Round, step *round.Step, lit *round.Mark) {
	line := p.ring()
	p.put(`<rect class="pv-walk" aria-hidden="true" x="%v" y="%v" width="%v" height="%v" rx="1.5"/>`,
		line.left, line.top, line.right-line.left, line.bottom-line.top)
	if lit == nil {
		return
	}
	at := p.place(lit.Place)
	stand := line.beside(at)
	here := line.along(stand)
	if outside(step) {
		p.drawLight(here, at)
	}
	if next := nextPlace(r, p.planFrame); next != nil && step != nil {
		p.put(`<path class="pv-way" aria-hidden="true" d="%s"/>`, line.way(stand, line.beside(*next)))
		end := line.along(line.beside(*next))
		p.put(`<circle class="pv-way-end" aria-hidden="true" cx="%v" cy="%v" r="0.8"/>`, end.x, end.y)
	}
	if outside(step) {
		p.drawDriver(here, at)
	}
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

// nextPlace is where the walk leads on: the first open step after the current one
// that is not at the same place; nil when there is none.
func nextPlace(r *round.Round, f planFrame) *planPoint {
	here := f.place(r.Marks[r.Current].Place)
	for i := r.Current + 1; i < len(r.Marks); i++ {
		if !isOpen(r.Marks[i].State) {
			continue
		}
		if at := f.place(r.Marks[i].Place); at.distance(here) > oneSign {
			return &at
		}
	}
	return nil
}

// drawLight draws the cone of a torch from the driver to the place.
func (p *planPen) drawLight(from, to planPoint) {
	length := from.distance(to)
	if length < 0.1 {
		return
	}
	x, y := (to.x-from.x)/length, (to.y-from.y)/length
	spread := 1.2 + length*0.28
	p.put(`<path class="pv-beam" aria-hidden="true" d="M%v %vL%v %vL%v %vZ"/>`,
		from.x, from.y, to.x-y*spread, to.y+x*spread, to.x+y*spread, to.y-x*spread)
}

// drawDriver draws a person from above, facing the place.
func (p *planPen) drawDriver(at, facing planPoint) {
	angle := math.Atan2(facing.y-at.y, facing.x-at.x) * 180 / math.Pi
	p.put(`<g class="pv-driver" aria-hidden="true" transform="translate(%v %v) rotate(%v)"><ellipse rx="0.9" ry="1.9"/><circle r="0.9" cx="0.2"/></g>`,
		at.x, at.y, angle)
}
