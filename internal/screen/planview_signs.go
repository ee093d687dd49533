package screen

import (
	"fmt"
	"math"
	"slices"

	"bayround/internal/round"
)

// The least side of what is touched on the plan is that of plain targets (20 mm is
// for answers), and a little more, since many answers leave an upright tablet's plan a
// few hundredths smaller than its sheet; a gap keeps it from its neighbour. In millimetres.
const (
	leastTarget = 15.25
	targetGap   = 1.0
)

// planSign is one or several places so near each other that one sign stands for them.
type planSign struct {
	at    planPoint
	state round.MarkState
	near  bool // at the stop of the step in the light
}

// oneSign is how near places are that share a sign, in millimetres.
const oneSign = 2.5

// rank orders states by what a driver wants to know first.
func rank(s round.MarkState) int {
	return slices.Index([]round.MarkState{
		round.MarkAnswered, round.MarkNotChecked, round.MarkCold, round.MarkOpen, round.MarkAgain, round.MarkFault,
	}, s)
}

// signsOf puts steps into signs, in walking order.
func signsOf(f planFrame, r *round.Round) []*planSign {
	if r == nil {
		return nil
	}
	var signs []*planSign
	stop := -1
	if lit := current(r); lit != nil {
		stop = lit.Stop
	}
	for _, m := range r.Marks {
		at := f.place(m.Place)
		i := slices.IndexFunc(signs, func(s *planSign) bool { return s.at.distance(at) < oneSign })
		if i < 0 {
			signs = append(signs, &planSign{at: at, state: m.State, near: m.Stop == stop})
			continue
		}
		s := signs[i]
		s.near = s.near || m.Stop == stop
		if rank(m.State) > rank(s.state) {
			s.state = m.State
		}
	}
	return signs
}

// drawSigns draws the signs: a ring is open, a disc done, a diamond a fault, a
// crossed ring not checked, a square waiting for a cold engine, a ringed dot to be
// asked again.
func (p *planPen) drawSigns(signs []*planSign) {
	p.put(`<g aria-hidden="true">`)
	for _, s := range signs {
		class, x, y, size := "pv-sign", s.at.x, s.at.y, 1.0
		if s.near {
			class, size = "pv-sign pv-near", 1.25
		}
		switch s.state {
		case round.MarkAnswered:
			p.put(`<circle class="%s pv-done" cx="%v" cy="%v" r="%v"/>`, class, x, y, size)
		case round.MarkFault:
			size = 1.9
			p.put(`<path class="%s pv-fault" d="M%v %vL%v %vL%v %vL%v %vZ"/>`, class, x, y-size, x+size, y, x, y+size, x-size, y)
		case round.MarkNotChecked:
			p.put(`<circle class="%s" cx="%v" cy="%v" r="%v"/><path class="%s" d="M%v %vL%v %v"/>`,
				class, x, y, size+0.3, class, x-size-0.7, y+size+0.7, x+size+0.7, y-size-0.7)
		case round.MarkCold:
			p.put(`<rect class="%s" x="%v" y="%v" width="%v" height="%v"/>`, class, x-size, y-size, 2*size, 2*size)
		case round.MarkAgain:
			p.put(`<circle class="%s" cx="%v" cy="%v" r="%v"/><circle class="%s pv-done" cx="%v" cy="%v" r="0.35"/>`, class, x, y, size+0.2, class, x, y)
		default:
			p.put(`<circle class="%s" cx="%v" cy="%v" r="%v"/>`, class, x, y, size)
		}
	}
	p.put(`</g>`)
}

// drawLit draws a ring with four ticks round the step in the light.
func (p *planPen) drawLit(lit *round.Mark) {
	if lit == nil {
		return
	}
	at := p.place(lit.Place)
	p.put(`<g class="pv-lit" aria-hidden="true" transform="translate(%v %v)">`+
		`<circle r="3"/><path d="M0 -5V-3M0 5V3M-5 0H-3M5 0H3"/><circle class="pv-core" r="1.1"/></g>`, at.x, at.y)
}

// planTarget is what one touch on the plan leads to.
type planTarget struct {
	x, y, width, height float64
	marks               []int // into Round.Marks, in walking order
}

// targets cuts the sheet into fields, none smaller than a target, each with the
// steps that lie in it: columns along the vehicle, and in each column bands whose
// borders lie where most room is between places.
func targets(f planFrame, r *round.Round) []planTarget {
	borders := []float64{0, sheetWidth / 2, sheetWidth}
	if middle := leastTarget + targetGap; f.half*f.scale > middle*0.75 {
		borders = []float64{0, (sheetWidth - middle) / 2, (sheetWidth + middle) / 2, sheetWidth}
	}
	var all []planTarget
	for i := range len(borders) - 1 {
		left, right := borders[i], borders[i+1]
		var inside []int
		var heights []float64
		for n, m := range r.Marks {
			at := f.place(m.Place)
			if at.x > left && at.x <= right || i == 0 && at.x <= left {
				inside = append(inside, n)
				heights = append(heights, at.y)
			}
		}
		cuts := bands(heights)
		for b := range len(cuts) - 1 {
			t := planTarget{x: left + targetGap/2, y: cuts[b] + targetGap/2, width: right - left - targetGap, height: cuts[b+1] - cuts[b] - targetGap}
			for k, n := range inside {
				if heights[k] >= cuts[b] && heights[k] < cuts[b+1] {
					t.marks = append(t.marks, n)
				}
			}
			if len(t.marks) > 0 {
				all = append(all, t)
			}
		}
	}
	return all
}

// bands returns the borders of bands from the upper to the lower edge of the
// sheet, none narrower than a target: those whose borders together lie farthest
// from the heights, and among as good ones more of them.
func bands(heights []float64) []float64 {
	sorted := slices.Clone(heights)
	slices.Sort(sorted)
	cuts, gaps := []float64{0}, []float64{0}
	for i := 1; i < len(sorted); i++ {
		if gap := sorted[i] - sorted[i-1]; gap > 0.5 {
			cuts, gaps = append(cuts, sorted[i-1]+gap/2), append(gaps, gap)
		}
	}
	cuts, gaps = append(cuts, sheetHeight), append(gaps, 0)
	best, before := make([]float64, len(cuts)), make([]int, len(cuts))
	for i := 1; i < len(cuts); i++ {
		best[i] = math.Inf(-1)
		for j := range i {
			if score := best[j] + gaps[i] + 2; cuts[i]-cuts[j] >= leastTarget+targetGap && score > best[i] {
				best[i], before[i] = score, j
			}
		}
	}
	var chosen []float64
	for i := len(cuts) - 1; i > 0; i = before[i] {
		chosen = append(chosen, cuts[i])
	}
	chosen = append(chosen, 0)
	slices.Reverse(chosen)
	return chosen
}

// drawTargets lays buttons over the drawing. A touch leads to the first open step
// there, or to the first of all when none is open.
func (p *planPen) drawTargets(r *round.Round) {
	if r == nil {
		return
	}
	for _, t := range targets(p.planFrame, r) {
		first, open, here := -1, 0, false
		for _, n := range t.marks {
			here = here || n == r.Current
			if isOpen(r.Marks[n].State) {
				open++
				if first < 0 {
					first = n
				}
			}
		}
		if first < 0 {
			first = t.marks[0]
		}
		state := ""
		if here {
			state = ` aria-current="step"`
		}
		p.put(`<foreignObject x="%v" y="%v" width="%v" height="%v"><button xmlns="http://www.w3.org/1999/xhtml" type="submit" class="spot" name="step" value="%s" aria-label="%s"%s></button></foreignObject>`,
			t.x, t.y, t.width, t.height, escape(r.Marks[first].StepID), escape(targetName(r, t, open)), state)
	}
}

// isOpen tells that a step still asks for an answer.
func isOpen(s round.MarkState) bool {
	return s == round.MarkOpen || s == round.MarkAgain || s == round.MarkCold
}

// targetName is what a screen reader says of a target.
func targetName(r *round.Round, t planTarget, open int) string {
	var titles []string
	for _, n := range t.marks {
		if title := r.Marks[n].Place.GetTitle(); !slices.Contains(titles, title) {
			titles = append(titles, title)
		}
	}
	name := titles[0]
	if more := len(titles) - 1; more > 0 {
		name += " and " + counted(more, "place") + " near it"
	}
	return fmt.Sprintf("%s: %d of %s open", name, open, counted(len(t.marks), "step"))
}
