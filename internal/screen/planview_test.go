package screen

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"slices"
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
			t.Run(v.GetCallSign()+" "+r.GetTitle(), func(t *testing.T) {
				inHand := walkOf(r, all, len(all)/2)
				inHand.Walk = walkFor(t, v.GetCallSign(), strings.TrimPrefix(r.GetName(), "routines/"), false)
				do(t, v, inHand)
			})
		}
	}
	if drawn < 40 {
		t.Fatalf("only %d rounds were drawn", drawn)
	}
}

func TestPlanView_EveryPlaceLiesOnTheSheet(t *testing.T) {
	drawnRounds(t, func(t *testing.T, v *pb.VehicleConfiguration, r *round.Round) {
		f := newPlanFrame(v, r, false)
		for _, m := range r.Marks {
			at := f.place(m.Place)
			if at.x < lineMargin-0.01 || at.x > sheetWidth-lineMargin+0.01 || at.y < lineMargin-0.01 || at.y > sheetHeight-lineMargin+0.01 {
				t.Errorf("%s lies at %v on a sheet of %v by %v", m.StepID, at, sheetWidth, sheetHeight)
			}
		}
	})
}

func TestPlanView_TargetsAreLargeApartAndReachEveryStep(t *testing.T) {
	drawnRounds(t, func(t *testing.T, v *pb.VehicleConfiguration, r *round.Round) {
		checkTargets(t, targets(newPlanFrame(v, r, false), r), len(r.Marks))
		checkTargets(t, targets(newPlanFrame(v, r, true), r), len(r.Marks))
	})
}

// Where traffic keeps right the kerb is on the right: everything lies on the other
// side of the centre line, and the words at the edges change places.
func TestPlanView_IsMirroredWhereTrafficKeepsRight(t *testing.T) {
	drawnRounds(t, func(t *testing.T, v *pb.VehicleConfiguration, r *round.Round) {
		left, right := newPlanFrame(v, r, false), newPlanFrame(v, r, true)
		for _, m := range r.Marks {
			a, b := left.place(m.Place), right.place(m.Place)
			if math.Abs(a.x+b.x-sheetWidth) > 1e-9 || a.y != b.y {
				t.Errorf("%s lies at %v, and at %v where traffic keeps right", m.StepID, a, b)
			}
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
		checkTargets(t, targets(newPlanFrame(v, r, false), r), len(r.Marks))
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

// A ring of 20 by 50, its corners at 0, 20, 70 and 90, as a clock goes.
func square() ring {
	return newRing([]planPoint{{10, 10}, {30, 10}, {30, 60}, {10, 60}})
}

// A way along the ring takes the shorter way and never leaves it; beside it, it goes
// round the corners in arcs. The expected ways are drawn by hand.
func TestRing_TakesTheShorterWay(t *testing.T) {
	r := square()
	for _, tc := range []struct {
		why               string
		from, to, outside float64
		want              string
	}{
		{"along one side", 0, 15, 0, "M10.00 10.00L25.00 10.00"},
		{"round a corner", 15, 25, 0, "M25.00 10.00L30.00 10.00L30.00 15.00"},
		{"back round a corner", 25, 15, 0, "M30.00 15.00L30.00 10.00L25.00 10.00"},
		{"back over the start", 5, 135, 0, "M15.00 10.00L10.00 10.00L10.00 15.00"},
		{"on over the start", 135, 5, 0, "M10.00 15.00L10.00 10.00L15.00 10.00"},
		{"round a corner, outside", 15, 25, 2, "M25.00 8.00L30.00 8.00A2.00 2.00 0 0 1 32.00 10.00L32.00 15.00"},
		{"back round a corner, outside", 25, 15, 2, "M32.00 15.00L32.00 10.00A2.00 2.00 0 0 0 30.00 8.00L25.00 8.00"},
		{"nowhere", 5, 5, 0, "M15.00 10.00L15.00 10.00"},
	} {
		t.Run(tc.why, func(t *testing.T) {
			if got := r.curve(tc.from, r.ahead(tc.from, tc.to), tc.outside); got != tc.want {
				t.Errorf("from %v to %v: %s, want %s", tc.from, tc.to, got, tc.want)
			}
		})
	}
	mirrored := newRing([]planPoint{{30, 10}, {10, 10}, {10, 60}, {30, 60}})
	if got, want := mirrored.curve(15, 10, 2), "M15.00 8.00L10.00 8.00A2.00 2.00 0 0 0 8.00 10.00L8.00 15.00"; got != want {
		t.Errorf("against the clock: %s, want %s", got, want)
	}
}

func TestRing_FindsTheNearestSpot(t *testing.T) {
	r := square()
	for _, tc := range []struct{ at, want planPoint }{
		{planPoint{12, 30}, planPoint{10, 30}}, // left
		{planPoint{28, 30}, planPoint{30, 30}}, // right
		{planPoint{20, 11}, planPoint{20, 10}}, // top
		{planPoint{20, 59}, planPoint{20, 60}}, // bottom
		{planPoint{0, 0}, planPoint{10, 10}},   // off a corner
	} {
		if got := r.at(r.nearest(tc.at), 0); got.distance(tc.want) > 1e-9 {
			t.Errorf("beside %v: %v, want %v", tc.at, got, tc.want)
		}
	}
	if !newRing([]planPoint{{1, 1}, {2, 2}, {2, 2}}).empty() {
		t.Error("two corners are a ring")
	}
}

func TestRing_CoversEachStretchOnce(t *testing.T) {
	r := square() // 140 round
	for _, tc := range []struct {
		why        string
		runs, want []run
	}{
		{"nothing", []run{{from: 5}}, nil},
		{"there and back", []run{{from: 5, ahead: 10}, {from: 15, ahead: -10}}, []run{{from: 5, ahead: 10}}},
		{"one behind the other", []run{{from: 15, ahead: 10}, {from: 5, ahead: 10}}, []run{{from: 5, ahead: 20}}},
		{"apart", []run{{from: 5, ahead: 10}, {from: 30, ahead: -5}}, []run{{from: 5, ahead: 10}, {from: 25, ahead: 5}}},
		{"over the start", []run{{from: 130, ahead: 20}}, []run{{ahead: 10}, {from: 130, ahead: 10}}},
		{"all round", []run{{from: 10, ahead: 100}, {from: 10, ahead: -60}}, []run{{ahead: 140}}},
	} {
		t.Run(tc.why, func(t *testing.T) {
			if got := r.covered(tc.runs); !slices.Equal(got, tc.want) {
				t.Errorf("%v are covered, want %v", got, tc.want)
			}
		})
	}
}

// The walk in hand is drawn: the way to the next halt strong and with an arrow, the rest
// faint, and what is done thin; the assistant's own way and figure where the assistant walks.
func TestPlanView_DrawsTheWalkInHand(t *testing.T) {
	all := steps(t, "WN11", "shift")
	for _, walks := range []bool{false, true} {
		r := walkOf(routine(t, "shift"), all, len(all)/3)
		r.Walk = walkFor(t, "WN11", "shift", false)
		for _, h := range r.Walk.Halts {
			h.AssistantWalks = walks && !h.Inside
		}
		step := &round.Step{CheckStep: &pb.CheckStep{Position: pb.Position_POSITION_OUTSIDE}}
		drawn := string(planView(vehicle(t, "WN11"), r, step, false))
		for class, want := range map[string]bool{
			"pv-walk": true, "pv-past": true, "pv-rest": true, "pv-way": true, "pv-way-tip": true,
			"pv-helper": walks, "pv-driver": !walks, "pv-way pv-way-helper": walks,
		} {
			if got := strings.Contains(drawn, `class="`+class+`"`); got != want && (class != "pv-way" || !walks) {
				t.Errorf("the assistant walks: %v; %s is drawn: %v", walks, class, got)
			}
		}
		r.Walk = nil
		drawn = string(planView(vehicle(t, "WN11"), r, step, false))
		if !strings.Contains(drawn, `class="pv-way"`) || !strings.Contains(drawn, "pv-driver") || strings.Contains(drawn, "pv-rest") {
			t.Error("where no walk is known the way to the next open step is missing, or more is drawn than is known")
		}
	}
}

// Which halt comes next: that of the first open step behind the current one, at another
// halt; what is done is what has no open step.
func TestCourse_FindsTheNextHalt(t *testing.T) {
	v := vehicle(t, "WN11")
	all := steps(t, "WN11", "shift")
	w := walkFor(t, "WN11", "shift", false)
	r := walkOf(routine(t, "shift"), all, 0)
	r.Walk = w
	for i := range r.Marks {
		r.Marks[i].State = round.MarkOpen
	}
	f := newPlanFrame(v, r, false)
	c := newCourse(f, r)
	if c.here != 0 || c.next != 1 || c.done[0] {
		t.Errorf("at the beginning: at %d, next %d, done %v", c.here, c.next, c.done[0])
	}
	for i, m := range r.Marks { // the second halt is done already
		if slices.Contains(w.Halts[1].StepIds, m.StepID) {
			r.Marks[i].State = round.MarkAnswered
		}
	}
	if c = newCourse(f, r); c.next != 2 || !c.done[1] {
		t.Errorf("with the second halt done: next %d, done %v", c.next, c.done[1])
	}
	r.Current = len(r.Marks) - 1
	if c = newCourse(f, r); c.here != len(w.Halts)-1 || c.next != -1 {
		t.Errorf("at the end: at %d of %d, next %d", c.here, len(w.Halts), c.next)
	}
}
