package screen

import (
	"encoding/xml"
	"errors"
	"fmt"
	"html/template"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// shape is one element of a mark: what is inside it.
type shape struct {
	inside func(x, y float64) bool
	ground bool // it is the ground showing through
}

// shapesOf reads the circles, rectangles and straight paths of a mark. A dashed
// outline counts where its line runs.
func shapesOf(t *testing.T, svg template.HTML) (shapes []shape) {
	t.Helper()
	decoder := xml.NewDecoder(strings.NewReader(string(svg)))
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			return shapes
		}
		if err != nil {
			t.Fatal(err)
		}
		e, ok := token.(xml.StartElement)
		if !ok || e.Name.Local == "svg" {
			continue
		}
		a := map[string]string{}
		for _, attribute := range e.Attr {
			a[attribute.Name.Local] = attribute.Value
		}
		number := func(name string) float64 {
			n, err := strconv.ParseFloat(a[name], 64)
			if err != nil {
				t.Fatalf("%s of <%s>: %v", name, e.Name.Local, err)
			}
			return n
		}
		s := shape{ground: a["class"] == "mark-on" || a["class"] == "mark-bar"}
		switch e.Name.Local {
		case "circle":
			cx, cy, r := number("cx"), number("cy"), number("r")
			s.inside = func(x, y float64) bool { return math.Hypot(x-cx, y-cy) <= r }
		case "rect":
			x0, y0, w, h := number("x"), number("y"), number("width"), number("height")
			s.inside = func(x, y float64) bool { return x >= x0 && x <= x0+w && y >= y0 && y <= y0+h }
		case "path":
			points := pointsOf(t, a["d"])
			if a["fill"] == "none" {
				width := number("stroke-width")
				s.inside = func(x, y float64) bool { return onLine(points, x, y) <= width/2 && int(x+y)%7 < 4 }
				break
			}
			s.inside = func(x, y float64) bool { return inPolygon(points, x, y) }
		default:
			t.Fatalf("a mark has a <%s>", e.Name.Local)
		}
		shapes = append(shapes, s)
	}
}

func pointsOf(t *testing.T, d string) (points [][2]float64) {
	t.Helper()
	var x float64
	half := false
	for _, word := range strings.Fields(strings.NewReplacer("M", "", "L", "", "Z", "").Replace(d)) {
		n, err := strconv.ParseFloat(word, 64)
		if err != nil {
			t.Fatalf("path %q: %v", d, err)
		}
		if half {
			points = append(points, [2]float64{x, n})
		}
		x, half = n, !half
	}
	return points
}

func inPolygon(points [][2]float64, x, y float64) bool {
	inside := false
	for i, p := range points {
		q := points[(i+1)%len(points)]
		if (p[1] > y) != (q[1] > y) && x < (q[0]-p[0])*(y-p[1])/(q[1]-p[1])+p[0] {
			inside = !inside
		}
	}
	return inside
}

func onLine(points [][2]float64, x, y float64) float64 {
	nearest := math.Inf(1)
	for i, p := range points {
		q := points[(i+1)%len(points)]
		dx, dy := q[0]-p[0], q[1]-p[1]
		along := min(max(((x-p[0])*dx+(y-p[1])*dy)/(dx*dx+dy*dy), 0), 1)
		nearest = min(nearest, math.Hypot(x-p[0]-along*dx, y-p[1]-along*dy))
	}
	return nearest
}

// side is that of a mark on a small screen, in pixels.
const side = 24

// filledBy is a mark without any colour: what is filled and what is not.
func filledBy(t *testing.T, v pb.Verdict) (filled [side][side]bool) {
	t.Helper()
	shapes := shapesOf(t, mark(v))
	for row := range filled {
		for column := range filled[row] {
			for _, s := range shapes {
				if s.inside(float64(column)+0.5, float64(row)+0.5) {
					filled[row][column] = !s.ground
				}
			}
		}
	}
	return filled
}

// outline is what of the picture cannot be reached from its border: the mark as seen
// from too far away to see what is in it.
func outline(filled [side][side]bool) (within [side][side]bool) {
	var outside [side + 2][side + 2]bool // with a border all round
	waiting := [][2]int{{0, 0}}
	for len(waiting) > 0 {
		at := waiting[len(waiting)-1]
		waiting = waiting[:len(waiting)-1]
		row, column := at[0], at[1]
		if row < 0 || column < 0 || row > side+1 || column > side+1 || outside[row][column] {
			continue
		}
		inner := row > 0 && column > 0 && row <= side && column <= side
		if inner && filled[row-1][column-1] {
			continue
		}
		outside[row][column] = true
		waiting = append(waiting, [2]int{row - 1, column}, [2]int{row + 1, column}, [2]int{row, column - 1}, [2]int{row, column + 1})
	}
	for row := range within {
		for column := range within[row] {
			within[row][column] = !outside[row+1][column+1]
		}
	}
	return within
}

// differ counts the pixels in which two pictures differ, the second as it is or
// mirrored, whichever is nearer.
func differ(a, b [side][side]bool) int {
	straight, mirrored := 0, 0
	for row := range a {
		for column := range a[row] {
			if a[row][column] != b[row][column] {
				straight++
			}
			if a[row][column] != b[row][side-1-column] {
				mirrored++
			}
		}
	}
	return min(straight, mirrored)
}

// Without colour and at 24 pixels each verdict's mark differs from every other in a
// sixth of the picture at least, and its outline alone in a twelfth.
func TestMarks_DifferWithoutColour(t *testing.T) {
	for a := pb.Verdict_VERDICT_FIT; a <= pb.Verdict_VERDICT_UNFIT; a++ {
		for b := pb.Verdict_VERDICT_FIT; b < a; b++ {
			one, other := filledBy(t, a), filledBy(t, b)
			if n := differ(one, other); n < side*side/6 {
				t.Errorf("%v and %v differ in %d pixels only", a, b, n)
			}
			if n := differ(outline(one), outline(other)); n < side*side/12 {
				t.Errorf("the outlines of %v and %v differ in %d pixels only", a, b, n)
			}
		}
	}
}

func TestMarks_UnknownVerdictIsNotProven(t *testing.T) {
	for _, v := range []pb.Verdict{pb.Verdict_VERDICT_UNSPECIFIED, 99} {
		if mark(v) != mark(pb.Verdict_VERDICT_UNPROVEN) || verdict.OneLine(verdict.Words(v)) != "NOT PROVEN" {
			t.Errorf("verdict %v is drawn as something else and called %q", v, verdict.OneLine(verdict.Words(v)))
		}
	}
}

func TestMarks_CountLimits(t *testing.T) {
	for limits, want := range map[int]int{0: 1, 1: 1, 2: 2, 3: 3, 9: 3} {
		got := strings.Count(string(markWithLimits(pb.Verdict_VERDICT_RESTRICTED, limits)), "mark-bar")
		if got != want {
			t.Errorf("%d limits are drawn as %d bars, want %d", limits, got, want)
		}
	}
}

// A fault that takes nothing away is not shown by the sign of a sound vehicle.
func TestMarks_FaultIsNeverGreen(t *testing.T) {
	if foundMark(pb.Verdict_VERDICT_FIT) == mark(pb.Verdict_VERDICT_FIT) {
		t.Error("something found has the mark of FIT")
	}
	if foundMark(pb.Verdict_VERDICT_UNFIT) != mark(pb.Verdict_VERDICT_UNFIT) {
		t.Error("what makes a vehicle unfit has another mark")
	}
}

// Every level's drawing fills more than the one below it.
func TestDrawLevel_RisesWithTheLevel(t *testing.T) {
	for kind := range pb.FluidReading_name {
		drawings := map[template.HTML]float64{}
		for share := -0.25; share <= 1.25; share += 0.25 {
			d := drawLevel(pb.FluidReading(kind), share)
			if other, ok := drawings[d]; ok {
				t.Errorf("%v: %v and %v look alike", pb.FluidReading(kind), other, share)
			}
			drawings[d] = share
		}
	}
}

func TestLevels_SayWhatTheySend(t *testing.T) {
	v := walkView(t, "WN11", "shift", "FLU-030/coolant")
	v.Step.Entry.Mark, v.Step.Entry.Fraction = pb.LevelMark_LEVEL_MARK_BETWEEN, 0.5
	var got []string
	for _, l := range (pane{View: v}).Levels() {
		got = append(got, fmt.Sprint(l.Mark, " ", l.Fraction, " ", l.Chosen))
	}
	want := "below 0 false, between 0 false, between 0.25 false, between 0.5 true, between 0.75 false, between 1 false, above 1 false"
	if strings.Join(got, ", ") != want {
		t.Errorf("the levels are %v, want %s", got, want)
	}
}
