package screen

import (
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	pb "bayround/proto/bayround/v1"

	"bayround/internal/plan"

	"google.golang.org/protobuf/proto"
)

// drawnWalks calls do with the walk of every demo vehicle's shift and weekly routine, with
// an assistant and alone, as it is drawn.
func drawnWalks(t *testing.T, do func(t *testing.T, s WalkSheet, svg string)) {
	t.Helper()
	drawn := 0
	for _, v := range loadCounty(t).Vehicles {
		for _, name := range []string{"shift", "weekly"} {
			for _, alone := range []bool{false, true} {
				s := WalkSheet{Vehicle: v, Walk: walkFor(t, v.GetCallSign(), name, alone), Routine: name, Catalogue: "2026.1"}
				if len(s.Walk.GetHalts()) == 0 {
					continue
				}
				drawn++
				t.Run(v.GetCallSign()+" "+name+map[bool]string{true: " alone"}[alone], func(t *testing.T) { do(t, s, DrawWalk(s)) })
			}
		}
	}
	if drawn < 30 {
		t.Fatalf("only %d walks were drawn", drawn)
	}
}

// svgText is a text of a picture and about where it stands.
type svgText struct {
	words                    string
	left, above, right, foot float64
}

// readPicture reads a picture as XML: its texts, how many halts are drawn, and every
// coordinate outside of the sheet.
func readPicture(t *testing.T, svg string) (texts []svgText, halts int, astray []string) {
	t.Helper()
	decoder := xml.NewDecoder(strings.NewReader(svg))
	var open *svgText
	var attrs map[string]string
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			return texts, halts, astray
		}
		if err != nil {
			t.Fatal(err)
		}
		switch e := token.(type) {
		case xml.StartElement:
			attrs = map[string]string{}
			for _, a := range e.Attr {
				attrs[a.Name.Local] = a.Value
				if strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") || strings.Contains(a.Value, "://") && a.Name.Local != "xmlns" {
					t.Errorf("<%s %s=%q>", e.Name.Local, a.Name.Local, a.Value)
				}
			}
			if attrs["class"] == "halt" {
				halts++
			}
			if e.Name.Local == "text" {
				open = &svgText{}
			}
			astray = append(astray, outOfSheet(t, e.Name.Local, attrs)...)
		case xml.CharData:
			if open != nil {
				open.words += string(e)
			}
		case xml.EndElement:
			if e.Name.Local == "text" {
				texts = append(texts, placed(*open, attrs))
				open = nil
			}
		}
	}
}

var numbers = regexp.MustCompile(`-?\d+(?:\.\d+)?`)

// outOfSheet names the points of an element that lie outside of the sheet.
func outOfSheet(t *testing.T, name string, attrs map[string]string) (astray []string) {
	t.Helper()
	at := func(x, y float64) {
		if x < 0 || x > paperWidth || y < 0 || y > paperHeight {
			astray = append(astray, name+" "+attrs["class"]+" at "+strconv.FormatFloat(x, 'f', 1, 64)+" "+strconv.FormatFloat(y, 'f', 1, 64))
		}
	}
	number := func(key string) float64 {
		n, err := strconv.ParseFloat(attrs[key], 64)
		if err != nil && attrs[key] != "" {
			t.Fatalf("%s=%q of a %s", key, attrs[key], name)
		}
		return n
	}
	switch name {
	case "circle":
		at(number("cx")-number("r"), number("cy")-number("r"))
		at(number("cx")+number("r"), number("cy")+number("r"))
	case "rect":
		at(number("x"), number("y"))
		at(number("x")+number("width"), number("y")+number("height"))
	case "path":
		points, err := pathPoints(attrs["d"])
		if err != nil {
			t.Fatalf("%q: %v", attrs["d"], err)
		}
		for _, p := range points {
			at(p.x, p.y)
		}
	}
	return astray
}

// pathPoints are the ends of a path's segments; an arc of these pictures bulges by less
// than its radius beyond its ends and lies between lines that are looked at.
func pathPoints(d string) (points []planPoint, err error) {
	var here planPoint
	for _, part := range regexp.MustCompile(`[MLHVAZ][^MLHVAZ]*`).FindAllString(d, -1) {
		var n []float64
		for _, text := range numbers.FindAllString(part, -1) {
			x, err := strconv.ParseFloat(text, 64)
			if err != nil {
				return nil, err
			}
			n = append(n, x)
		}
		switch command := part[0]; {
		case command == 'H' && len(n) == 1:
			here.x = n[0]
		case command == 'V' && len(n) == 1:
			here.y = n[0]
		case command != 'Z' && len(n) >= 2:
			here = planPoint{n[len(n)-2], n[len(n)-1]}
		case command != 'Z':
			return nil, errors.New("a command with too few numbers")
		}
		points = append(points, here)
	}
	return points, nil
}

// placed estimates where a text stands: half its size wide for each letter, which is
// about the mean of usual faces.
func placed(text svgText, attrs map[string]string) svgText {
	size := 3.0
	class := strings.Fields(attrs["class"])
	switch {
	case slices.Contains(class, "head"):
		size = 6
	case slices.Contains(class, "n"):
		size = 2.2
	}
	width := size * 0.5 * float64(len([]rune(text.words)))
	x, _ := strconv.ParseFloat(attrs["x"], 64)
	y, _ := strconv.ParseFloat(attrs["y"], 64)
	if turned := attrs["transform"]; turned != "" { // translated, and turned by a right angle
		n := numbers.FindAllString(turned, -1)
		x, _ = strconv.ParseFloat(n[0], 64)
		y, _ = strconv.ParseFloat(n[1], 64)
		return svgText{text.words, x - size/2, y - width/2, x + size/2, y + width/2}
	}
	switch {
	case slices.Contains(class, "mid"), slices.Contains(class, "n"):
		x -= width / 2
	case slices.Contains(class, "end"):
		x -= width
	}
	return svgText{text.words, x, y - 0.75*size, x + width, y + 0.2*size}
}

func (a svgText) overlaps(b svgText) bool {
	return a.left < b.right && b.left < a.right && a.above < b.foot && b.above < a.foot
}

func TestDrawWalk_StaysOnTheSheetAndShowsEveryHalt(t *testing.T) {
	drawnWalks(t, func(t *testing.T, s WalkSheet, svg string) {
		texts, halts, astray := readPicture(t, svg)
		numbered := map[string]int{}
		for _, text := range texts {
			numbered[text.words]++
		}
		for i := range s.Walk.GetHalts() {
			if numbered[strconv.Itoa(i+1)] == 0 {
				t.Errorf("halt %d is not drawn", i+1)
			}
		}
		samples := strings.Count(svg[strings.Index(svg, `class="rule foot"`):], `class="halt"`)
		if halts-samples != len(s.Walk.GetHalts()) || samples == 0 {
			t.Errorf("%d halts are drawn, %d of them in the legend; the walk has %d", halts, samples, len(s.Walk.GetHalts()))
		}
		for _, out := range astray {
			t.Error(out)
		}
		for i, a := range texts {
			if strings.Contains(a.words, s.Vehicle.GetCallSign()) && a.right-a.left < a.foot-a.above {
				continue // the call sign on the roof is part of the vehicle
			}
			if a.left < 0 || a.right > paperWidth || a.foot > paperHeight {
				t.Errorf("%q leaves the sheet: %+v", a.words, a)
			}
			for _, b := range texts[:i] {
				if a.overlaps(b) && b.words != s.Vehicle.GetCallSign() {
					t.Errorf("%q and %q overlap: %+v %+v", a.words, b.words, a, b)
				}
			}
		}
	})
}

// Marks never touch each other, and those outside lie where one stands, or within three
// marks of it where others are in the way.
func TestDrawWalk_MarksLieApartAndNearTheirStands(t *testing.T) {
	drawnWalks(t, func(t *testing.T, s WalkSheet, _ string) {
		for _, n := range panelsOf(s) {
			for i := n.first; i < n.last; i++ {
				for k := n.first; k < i; k++ {
					if n.beads[i].distance(n.beads[k]) < beadSize {
						t.Errorf("the marks of halts %d and %d touch", i+1, k+1)
					}
				}
				h := n.trail.halts[i]
				if h.inside {
					continue
				}
				if far := n.trail.ring.at(h.along, n.aside(h.run)).distance(n.beads[i]); far > 3*beadPitch {
					t.Errorf("the mark of halt %d lies %.1f mm from its stand", i+1, far)
				}
			}
		}
	})
}

// Ways over the same stretch lie in lanes of their own.
func TestDrawWalk_StrandsLieBesideEachOther(t *testing.T) {
	drawnWalks(t, func(t *testing.T, s WalkSheet, _ string) {
		metres := 0.0
		for _, n := range panelsOf(s) {
			walked := map[[2]int]int{} // strand by lane and half millimetre, from 1
			for i, a := range n.strands {
				for mm := 0.5; mm < math.Abs(a.ahead); mm += 0.5 {
					at := math.Mod(a.from+math.Copysign(mm, a.ahead)+10*n.trail.ring.length(), n.trail.ring.length())
					spot := [2]int{a.lane, int(2 * at)}
					if other := walked[spot]; other > 0 && other != i+1 {
						t.Fatalf("strands %d and %d lie upon each other in lane %d", other, i+1, a.lane)
					}
					walked[spot] = i + 1
				}
			}
			for _, r := range n.trail.runs {
				metres += math.Abs(r.ahead) / n.frame.scale
			}
		}
		told := 0.0
		for _, h := range s.Walk.GetHalts() {
			told += h.GetWayM()
		}
		if metres < told-0.1 || metres > told+30 { // the driver's ways to the cab are not told
			t.Errorf("%.1f m of ways are drawn, the halts tell of %.1f", metres, told)
		}
	})
}

// What a configuration or a catalogue holds cannot break the picture.
func TestDrawWalk_EscapesWords(t *testing.T) {
	v := &pb.VehicleConfiguration{CallSign: `<"'&>`, Title: "</svg>", Dimensions: &pb.Dimensions{LengthM: 6, WidthM: 2, FrontOverhangM: 1}}
	w := &pb.Walk{Halts: []*pb.Halt{{Stop: "a", StopTitle: "<script>", Stand: &pb.Point{}, Changes: []string{"<b>"}}}}
	_, halts, _ := readPicture(t, DrawWalk(WalkSheet{Vehicle: v, Walk: w, Routine: "<i>"}))
	if halts == 0 {
		t.Error("no legend was drawn")
	}
	readPicture(t, DrawWalk(WalkSheet{Vehicle: v, Walk: &pb.Walk{}}))
}

// The picture in the README is that of the present planner and pen. To draw it anew:
// go test ./internal/screen -run Readme -update
func TestDrawWalk_IsTheOneInTheReadme(t *testing.T) {
	file := filepath.Join("..", "..", "docs", "walk-wn11.svg")
	drawn := DrawWalk(WalkSheet{Vehicle: vehicle(t, "WN11"), Walk: walkFor(t, "WN11", "shift", false), Routine: "shift", Catalogue: loadCounty(t).Catalogue.GetVersion()})
	if *update {
		if err := os.WriteFile(file, []byte(drawn), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	kept, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if string(kept) != drawn {
		t.Error("docs/walk-wn11.svg is not what is drawn now; draw it anew with -update and look at it")
	}
}

// update draws the picture of the README anew.
var update = flag.Bool("update", false, "write docs/walk-wn11.svg anew")

// walks are made once: a walk is the same for the same input.
var walks sync.Map

// walkFor is the walk of a demo vehicle's routine.
func walkFor(t testing.TB, callSign, routineName string, alone bool) *pb.Walk {
	t.Helper()
	key := fmt.Sprint(callSign, routineName, alone)
	if known, ok := walks.Load(key); ok {
		return proto.CloneOf(known.(*pb.Walk)) // some change theirs
	}
	in := planInput(t, callSign, routineName)
	w, err := plan.Walk(in, plan.Build(in), plan.Ask{Alone: alone})
	if err != nil {
		t.Fatal(err)
	}
	walks.Store(key, w)
	return proto.CloneOf(w)
}
