package screen

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"

	"pgregory.net/rapid"
)

// drawnRounds calls do with every demo vehicle's round of every routine that has steps.
func drawnRounds(t *testing.T, do func(t *testing.T, v *pb.VehicleConfiguration, r *round.Round)) {
	t.Helper()
	drawn := 0
	for _, v := range loadCounty(t).Vehicles {
		for _, r := range loadCounty(t).Routines {
			all := steps(t, v.GetCallSign(), strings.TrimPrefix(r.GetName(), "routines/"))
			if len(all) == 0 {
				continue
			}
			drawn++
			t.Run(v.GetCallSign()+" "+r.GetTitle(), func(t *testing.T) { do(t, v, walkOf(r, all, len(all)/2)) })
		}
	}
	if drawn < 40 {
		t.Fatalf("only %d rounds were drawn", drawn)
	}
}

func TestPlanView_EveryPlaceLiesOnTheSheet(t *testing.T) {
	drawnRounds(t, func(t *testing.T, v *pb.VehicleConfiguration, r *round.Round) {
		f := newPlanFrame(v, placesOf(r), false)
		for _, m := range r.Marks {
			at := f.place(m.Place)
			if at.x < sheetMargin-0.01 || at.x > sheetWidth-sheetMargin+0.01 || at.y < sheetMargin-0.01 || at.y > sheetHeight-sheetMargin+0.01 {
				t.Errorf("%s lies at %v on a sheet of %v by %v", m.StepID, at, sheetWidth, sheetHeight)
			}
		}
	})
}

func TestPlanView_TargetsAreLargeApartAndReachEveryStep(t *testing.T) {
	drawnRounds(t, func(t *testing.T, v *pb.VehicleConfiguration, r *round.Round) {
		checkTargets(t, targets(newPlanFrame(v, placesOf(r), false), r), len(r.Marks))
		checkTargets(t, targets(newPlanFrame(v, placesOf(r), true), r), len(r.Marks))
	})
}

// Where traffic keeps right the kerb is on the right: everything lies on the other
// side of the centre line, and the words at the edges change places.
func TestPlanView_IsMirroredWhereTrafficKeepsRight(t *testing.T) {
	drawnRounds(t, func(t *testing.T, v *pb.VehicleConfiguration, r *round.Round) {
		left, right := newPlanFrame(v, placesOf(r), false), newPlanFrame(v, placesOf(r), true)
		for _, m := range r.Marks {
			a, b := left.place(m.Place), right.place(m.Place)
			if math.Abs(a.x+b.x-sheetWidth) > 1e-9 || a.y != b.y {
				t.Errorf("%s lies at %v, and at %v where traffic keeps right", m.StepID, a, b)
			}
		}
		if left.ring() != right.ring() {
			t.Errorf("the driver walks along %v, and along %v", left.ring(), right.ring())
		}
		drawn := string(planView(v, r, nil, true))
		if !strings.Contains(drawn, "nose up, offside left") || strings.Contains(drawn, `width="-`) {
			t.Errorf("the drawing is not that of a place where traffic keeps right: %.300s", drawn)
		}
	})
}

// checkTargets holds targets to what was promised of them.
func checkTargets(t interface{ Errorf(string, ...any) }, all []planTarget, steps int) {
	reached := map[int]int{}
	for i, a := range all {
		if a.width < leastTarget || a.height < leastTarget {
			t.Errorf("target %d is %v by %v mm", i, a.width, a.height)
		}
		if a.x < 0 || a.y < 0 || a.x+a.width > sheetWidth+0.01 || a.y+a.height > sheetHeight+0.01 {
			t.Errorf("target %d leaves the sheet: %+v", i, a)
		}
		for j, b := range all[:i] {
			if a.x < b.x+b.width && b.x < a.x+a.width && a.y < b.y+b.height && b.y < a.y+a.height {
				t.Errorf("targets %d and %d overlap", i, j)
			}
		}
		for _, n := range a.marks {
			reached[n]++
		}
	}
	for n := range steps {
		if reached[n] != 1 {
			t.Errorf("step %d is reached by %d targets", n, reached[n])
		}
	}
}

func TestPlanView_TargetsKeepTheirPromisesForAnyVehicle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := &pb.VehicleConfiguration{Dimensions: &pb.Dimensions{
			LengthM: rapid.Float64Range(1, 20).Draw(t, "length"), WidthM: rapid.Float64Range(0.8, 3).Draw(t, "width"),
			FrontOverhangM: rapid.Float64Range(0, 6).Draw(t, "overhang"),
		}}
		r := &round.Round{Current: -1}
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			at := &pb.Point{XM: rapid.Float64Range(-25, 10).Draw(t, "x"), YM: rapid.Float64Range(-3, 3).Draw(t, "y")}
			r.Marks = append(r.Marks, round.Mark{StepID: "A-1/a", State: round.MarkOpen, Place: &pb.Place{Title: "a", At: at}})
		}
		checkTargets(t, targets(newPlanFrame(v, placesOf(r), false), r), len(r.Marks))
	})
}

func TestPlanView_IsWellFormed(t *testing.T) {
	drawnRounds(t, func(t *testing.T, v *pb.VehicleConfiguration, r *round.Round) {
		r.Marks[0].Place = &pb.Place{Title: `<"'&>`, At: r.Marks[0].Place.GetAt()} // whatever a configuration holds
		decoder, elements := xml.NewDecoder(strings.NewReader(string(planView(v, r, nil, false)))), 0
		for {
			token, err := decoder.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			if start, ok := token.(xml.StartElement); ok {
				elements++
				for _, a := range start.Attr {
					if a.Name.Local == "style" || strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") {
						t.Errorf("<%s %s=%q>", start.Name.Local, a.Name.Local, a.Value)
					}
				}
			}
		}
		if elements < 20 {
			t.Errorf("only %d elements were drawn", elements)
		}
	})
}

// The walk between two points of the ring never leaves it and takes the shorter way.
func TestWalkRing_TakesTheShorterWay(t *testing.T) {
	r := walkRing{10, 10, 30, 60}
	for _, tc := range []struct {
		why      string
		from, to float64
		want     string
	}{
		{"along one side", 0, 15, "M10.00 10.00L25.00 10.00"},
		{"round a corner", 15, 25, "M25.00 10.00L30.00 10.00L30.00 15.00"},
		{"back round a corner", 25, 15, "M30.00 15.00L30.00 10.00L25.00 10.00"},
		{"back over the start", 5, 135, "M15.00 10.00L10.00 10.00L10.00 15.00"},
		{"on over the start", 135, 5, "M10.00 15.00L10.00 10.00L15.00 10.00"},
	} {
		t.Run(tc.why, func(t *testing.T) {
			if got := r.way(tc.from, tc.to); got != tc.want {
				t.Errorf("from %v to %v: %s, want %s", tc.from, tc.to, got, tc.want)
			}
		})
	}
}

func TestWalkRing_FindsThePointBeside(t *testing.T) {
	r := walkRing{10, 10, 30, 60}
	for _, tc := range []struct{ at, want planPoint }{
		{planPoint{12, 30}, planPoint{10, 30}}, // left
		{planPoint{28, 30}, planPoint{30, 30}}, // right
		{planPoint{20, 11}, planPoint{20, 10}}, // top
		{planPoint{20, 59}, planPoint{20, 60}}, // bottom
	} {
		if got := r.along(r.beside(tc.at)); got.distance(tc.want) > 1e-9 {
			t.Errorf("beside %v: %v, want %v", tc.at, got, tc.want)
		}
	}
}
