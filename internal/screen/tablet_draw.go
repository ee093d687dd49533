package screen

import (
	"fmt"
	"html/template"
	"math"
	"strconv"

	pb "bayround/proto/bayround/v1"
)

// Levels are drawn on 17 by 30. The lower mark lies at lowMark, the upper at
// highMark, and a level of share between them; below and above it go a quarter
// farther.
const (
	lowMark  = 22.0
	highMark = 9.0
)

// drawLevel draws what is read as it looks with the level at a share of the way
// between its marks, from −0.25 (below) to 1.25 (above).
func drawLevel(kind pb.FluidReading, share float64) template.HTML {
	y := lowMark + (highMark-lowMark)*share
	var body string
	switch kind {
	case pb.FluidReading_FLUID_READING_DIPSTICK:
		body = drawDipstick(y)
	case pb.FluidReading_FLUID_READING_CAB_GAUGE:
		body = drawDial(share)
	case pb.FluidReading_FLUID_READING_SIGHT_GLASS:
		body = drawGlass(y)
	default:
		body = drawTank(y, kind == pb.FluidReading_FLUID_READING_OPENED_CAP)
	}
	return template.HTML(`<svg viewBox="0 0 17 30" aria-hidden="true" focusable="false">` + body + `</svg>`)
}

// drawDipstick draws a blade with two notches, wet up to y.
func drawDipstick(y float64) string {
	return `<circle class="lv-line" cx="8.5" cy="2.6" r="2"/><path class="lv-line" d="M8.5 4.6V6"/>` +
		`<path class="lv-body" d="M6.7 6H10.3V28L8.5 29.5L6.7 28Z"/>` +
		fmt.Sprintf(`<path class="lv-fluid" d="M6.95 %.2fH10.05V27.9L8.5 29.2L6.95 27.9Z"/>`, y) +
		marksAcross(5, 12)
}

// drawTank draws a tank one can see through, or look into when its cap is off.
func drawTank(y float64, opened bool) string {
	cap := `<path class="lv-body" d="M5.5 1.2H11.5V4H5.5Z"/>`
	if opened {
		cap = `<path class="lv-body" d="M11 0.6L16.4 2.4L15.6 4.8L10.2 3Z"/><path class="lv-line" d="M6 4H11"/>`
	}
	return cap + `<path class="lv-body" d="M6 4H11V6H15V28.5H2V6H6Z"/>` +
		fmt.Sprintf(`<path class="lv-fluid" d="M2.25 %.2fH14.75V28.25H2.25Z"/>`, y) + marksAcross(1, 5)
}

// drawGlass draws a sight glass: an upright window in a plate.
func drawGlass(y float64) string {
	return `<path class="lv-line" d="M1 1H16V29.5H1Z"/><rect class="lv-body" x="5" y="3" width="7" height="25" rx="3.5"/>` +
		fmt.Sprintf(`<path class="lv-fluid" d="M5.25 %.2fH11.75V24.5A3.25 3.25 0 0 1 5.25 24.5Z"/>`, y) +
		marksAcross(2, 5) + marksAcross(12, 15)
}

// drawDial draws a gauge in the cab with its needle.
func drawDial(share float64) string {
	const reach = 0.75 * math.Pi // from empty to full
	angle := math.Pi + (math.Pi-reach)/2 + reach*share
	tip := func(a, r float64) (x, y float64) { return 8.5 + r*math.Cos(a), 17 + r*math.Sin(a) }
	x, y := tip(angle, 6.4)
	marks := ""
	for _, end := range []float64{0, 1} {
		a := math.Pi + (math.Pi-reach)/2 + reach*end
		x1, y1 := tip(a, 5.6)
		x2, y2 := tip(a, 7.6)
		marks += fmt.Sprintf(`<path class="lv-mark" d="M%.2f %.2fL%.2f %.2f"/>`, x1, y1, x2, y2)
	}
	return `<circle class="lv-body" cx="8.5" cy="17" r="8.2"/>` + marks +
		fmt.Sprintf(`<path class="lv-needle" d="M8.5 17L%.2f %.2f"/><circle class="lv-fluid" cx="8.5" cy="17" r="1.2"/>`, x, y)
}

// marksAcross draws both marks from one x to another.
func marksAcross(from, to float64) string {
	return fmt.Sprintf(`<path class="lv-mark" d="M%v %vH%vM%v %vH%v"/>`, from, lowMark, to, from, highMark, to)
}

// groove is one groove of a tread in section.
type groove struct {
	ID, Text, Name string
	Active         bool
	Drawing        template.HTML
}

// section is one place round a tyre.
type section struct {
	N     int
	Here  bool
	Words string
}

// deepestDrawnMM is the depth drawn to the bottom of the section.
const deepestDrawnMM = 20.0

// Tread is the grooves of a profile, from the outer shoulder to the inner one;
// nil when the step asks for something else.
func (p pane) Tread() []groove {
	e := p.Step.Entry
	if e.Kind != pb.AnswerKind_ANSWER_KIND_PROFILE {
		return nil
	}
	var grooves []groove
	for _, f := range e.Fields {
		g := groove{ID: f.ID, Text: f.Text, Name: f.Title, Active: f.Active}
		if f.Text != "" {
			g.Name += ", " + f.Text + " " + f.Unit
		}
		g.Drawing = drawGroove(f.Text, f.Unit, f.Active)
		grooves = append(grooves, g)
	}
	return grooves
}

// drawGroove draws rubber with one groove in it: as deep as was typed, dashed
// while nothing is.
func drawGroove(text, unit string, lit bool) template.HTML {
	depth, err := strconv.ParseFloat(text, 64)
	if unit == "in/32" {
		depth *= 25.4 / 32
	}
	rubber := "M0 1.5H20V15H0Z"
	inside := `<path class="tr-new" d="M7 1.5L8 10H12L13 1.5"/>`
	if err == nil {
		bottom := 1.5 + 12*min(max(depth, 0), deepestDrawnMM)/deepestDrawnMM
		rubber = fmt.Sprintf("M0 1.5H7L8 %.2fH12L13 1.5H20V15H0Z", bottom)
		inside = ""
	}
	light := ""
	if lit {
		light = `<path class="tr-lit" d="M0 0H20V20H0Z"/>`
	}
	return template.HTML(`<svg viewBox="0 0 20 20" preserveAspectRatio="none" aria-hidden="true" focusable="false">` +
		light + `<path class="tr-rubber" d="` + rubber + `"/>` + inside + `</svg>`)
}

// Sections are the places round the tyre at which depths can be given.
func (p pane) Sections() []section {
	const most = 3
	e := p.Step.Entry
	var all []section
	for n := 1; n <= most; n++ {
		s := section{N: n, Here: n == e.Section, Words: "none"}
		if n <= len(e.Sections) && e.Sections[n-1] > 0 {
			s.Words = fmt.Sprintf("%d typed", e.Sections[n-1])
		}
		all = append(all, s)
	}
	return all
}
