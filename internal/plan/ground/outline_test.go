package ground_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"bayround/internal/plan/ground"
)

// box is a vehicle of 8 m by 2.5 m, 1.4 m of it before the first axle.
var box = []ground.Point{{X: 1.4, Y: 1.25}, {X: 1.4, Y: -1.25}, {X: -6.6, Y: -1.25}, {X: -6.6, Y: 1.25}}

func outline(t testing.TB, corners []ground.Point, clearanceM float64) ground.Outline {
	t.Helper()
	o, err := ground.NewOutline(corners, clearanceM)
	if err != nil {
		t.Fatal(err)
	}
	return o
}

// The expected values are worked out by hand: a corner of a right angle, cut once, has its
// two tangents' meeting points tan(22.5°) = √2-1 times the clearance from where the arc begins.
func TestOutline_OfABox(t *testing.T) {
	o := outline(t, box, 0.5)
	short := 0.5 * (math.Sqrt2 - 1)
	want := []ground.Point{
		{X: 1.9, Y: 1.25 + short},
		{X: 1.9, Y: -1.25 - short},
		{X: 1.4 + short, Y: -1.75},
		{X: -6.6 - short, Y: -1.75},
		{X: -7.1, Y: -1.25 - short},
		{X: -7.1, Y: 1.25 + short},
		{X: -6.6 - short, Y: 1.75},
		{X: 1.4 + short, Y: 1.75},
	}
	got := o.Corners()
	if len(got) != len(want) {
		t.Fatalf("corners %v, want %v", got, want)
	}
	for i := range want {
		if far(got[i], want[i]) > 2e-6 {
			t.Errorf("corner %d is %v, want %v", i, got[i], want[i])
		}
	}
	if length := 21 + 16*short; math.Abs(o.Length()-length) > 0.0005 {
		t.Errorf("once round is %v m, want %v", o.Length(), length)
	}
	half := o.Length() / 2
	for _, tc := range []struct {
		what  string
		at    ground.Point
		stand float64
	}{
		{"front centre", ground.Point{X: 1.4}, 0},
		{"far ahead", ground.Point{X: 60}, 0},
		{"rear centre", ground.Point{X: -6.6}, half},
		{"offside headlamp", ground.Point{X: 1.4, Y: -0.9}, 0.9},
		{"nearside headlamp", ground.Point{X: 1.4, Y: 0.9}, o.Length() - 0.9},
		{"first axle, offside", ground.Point{Y: -1.1}, 1.25 + 4*short + 1.4},
		{"first axle, nearside", ground.Point{Y: 1.1}, o.Length() - (1.25 + 4*short + 1.4)},
		{"middle of the first axle: equally near, so the side that comes first", ground.Point{}, 1.25 + 4*short + 1.4},
		{"NaN is 0", ground.Point{X: math.NaN(), Y: -1.1}, 1.25 + 4*short + 1.4},
	} {
		if got := o.Stand(tc.at); math.Abs(got-tc.stand) > 0.001 {
			t.Errorf("%s: stand %v, want %v", tc.what, got, tc.stand)
		}
	}
	if got := o.At(0); got != (ground.Point{X: 1.9}) {
		t.Errorf("the line begins at %v, want straight ahead of the front", got)
	}
	if got := o.Distance(0.9, o.Length()-0.9); got != 1.8 {
		t.Errorf("from headlamp to headlamp %v m, want 1.8", got)
	}
	if got := o.Way(0.9, -0.9); len(got) != 2 || got[0] != (ground.Point{X: 1.9, Y: -0.9}) || far(got[1], ground.Point{X: 1.9, Y: 0.9}) > 0.0005 {
		t.Errorf("from headlamp to headlamp by %v", got)
	}
	if got := o.Way(3, 3); len(got) != 1 {
		t.Errorf("the way to the same place is %v", got)
	}
	// Straight through the cab is no way: round the front, by both corners of each cut.
	around := 2*(1.4+short-1) + 2*math.Hypot(0.5-short, 0.5-short) + 2.5 + 2*short
	if got := o.Between(ground.Point{X: 1, Y: 1.75}, ground.Point{X: 1, Y: -1.75}); math.Abs(got-around) > 0.001 {
		t.Errorf("from door to door %v m, want %v", got, around)
	}
	if got := o.Between(ground.Point{X: 4, Y: 3}, ground.Point{X: 4, Y: -1}); got != 4 {
		t.Errorf("across free ground %v m, want 4", got)
	}
}

func TestOutline_TakesAnyNumber(t *testing.T) {
	if got := outline(t, []ground.Point{{X: 0.0006, Y: -0.0016}}, 0).At(0); got != (ground.Point{X: 0.001, Y: -0.002}) {
		t.Errorf("corners are taken to %v, want the nearest millimetre", got)
	}
	o, nan, inf := outline(t, box, 0.5), math.NaN(), math.Inf(1)
	for _, tc := range []struct {
		what      string
		got, want float64
	}{
		{"not a number, along", o.Between(ground.Point{X: nan, Y: 4}, ground.Point{Y: 6}), 2},
		{"not a number, across", o.Between(ground.Point{X: 4, Y: nan}, ground.Point{X: 6}), 2},
		{"farther out than 1 km", o.Between(ground.Point{X: inf}, ground.Point{X: 998}), 2},
		{"farther back than 1 km", o.Between(ground.Point{X: -1e300}, ground.Point{X: -998}), 2},
		{"not a number, on the line", o.Distance(nan, 2), 2},
		{"for ever round the line", o.Distance(-inf, 2), 2},
		{"more often round than whole numbers reach", o.Distance(0, lapsOf(o, 1<<80)), 0},
		{"as often the other way", o.Distance(-lapsOf(o, 1<<80), 1.5), 1.5},
	} {
		if tc.got != tc.want {
			t.Errorf("%s: %v m, want %v", tc.what, tc.got, tc.want)
		}
	}
}

// lapsOf is so many times round; exact, because laps is a power of two.
func lapsOf(o ground.Outline, laps float64) float64 { return o.Length() * laps }

func TestOutline_BeginsStraightAhead(t *testing.T) {
	for _, tc := range []struct {
		what    string
		corners []ground.Point
		want    ground.Point
	}{
		{"box", box, ground.Point{X: 1.9}},
		{"ladder over the front, to the nearside", append(slices.Clone(box), ground.Point{X: 2.4, Y: 0.2}, ground.Point{X: 2.4, Y: 0.8}), ground.Point{}},
		{"wholly to the nearside", []ground.Point{{X: 1, Y: 2}, {X: -1, Y: 2}}, ground.Point{X: 1 + 0.5*(math.Sqrt2-1), Y: 1.5}},
		{"one corner", []ground.Point{{}}, ground.Point{X: 0.5}},
		{"thin along", []ground.Point{{X: 1}, {X: -7}}, ground.Point{X: 1.5}},
	} {
		got := outline(t, tc.corners, 0.5).At(0)
		if tc.want == (ground.Point{}) { // the tip is to one side: on the centre line all the same
			if math.Abs(got.Y) > 1e-6 || got.X < 2 {
				t.Errorf("%s: begins at %v", tc.what, got)
			}
			continue
		}
		if far(got, tc.want) > 0.001 {
			t.Errorf("%s: begins at %v, want %v", tc.what, got, tc.want)
		}
	}
}

func TestOutline_ThinVehicles(t *testing.T) {
	dot := outline(t, []ground.Point{{X: 3, Y: 1}, {X: 3, Y: 1}}, 0)
	if dot.Length() != 0 || dot.Stand(ground.Point{X: 9}) != 0 || dot.Distance(1, 2) != 0 || dot.At(5) != (ground.Point{X: 3, Y: 1}) || len(dot.Way(1, 2)) != 1 {
		t.Errorf("a spot without clearance is a line of no length: %+v", dot)
	}
	if got := dot.Between(ground.Point{X: 2, Y: 1}, ground.Point{X: 4, Y: 1}); got != 2 {
		t.Errorf("nothing stands in the way, and yet it is %v m", got)
	}
	plank := outline(t, []ground.Point{{}, {X: -2}, {X: -4}}, 0)
	if plank.Length() != 8 || len(plank.Corners()) != 2 {
		t.Errorf("both sides of a plank of 4 m: %v m by %v", plank.Length(), plank.Corners())
	}
	if got := plank.Between(ground.Point{X: -1, Y: 1}, ground.Point{X: -1, Y: -1}); math.Abs(got-2*math.Sqrt2) > 0.0005 {
		t.Errorf("round the end of a plank it is %v m", got)
	}
}

func TestNewOutline_Refuses(t *testing.T) {
	inf := math.Inf(1)
	for _, tc := range []struct {
		says       string
		corners    []ground.Point
		clearanceM float64
	}{
		{"without corners", nil, 1},
		{"clearance is -0.1", box, -0.1},
		{"clearance is NaN", box, math.NaN()},
		{"clearance is +Inf", box, inf},
		{"corner 2 lies at (NaN", []ground.Point{{}, {X: math.NaN()}}, 1},
		{"corner 1 lies at (0, -Inf)", []ground.Point{{Y: -inf}, {}}, 1},
		{"corner 1 lies at (100.001", []ground.Point{{X: 100.001}}, 1},
	} {
		if _, err := ground.NewOutline(tc.corners, tc.clearanceM); err == nil || !strings.Contains(err.Error(), tc.says) {
			t.Errorf("%v at %v m: %v, want %q", tc.corners, tc.clearanceM, err, tc.says)
		}
	}
}
