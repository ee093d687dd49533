package ground_test

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"bayround/internal/plan/ground"
)

// drawn is an outline as it was drawn, so that oracles can read it.
type drawn struct {
	corners   []ground.Point
	clearance float64
	ground.Outline
}

// drawOutline draws corners to the millimetre, often few, often in line, often twice.
func drawOutline(t *rapid.T) drawn {
	d := drawn{clearance: metres(t, "clearance", rapid.OneOf(rapid.IntRange(1, 5), rapid.IntRange(200, 2000)))}
	along := rapid.SampledFrom([]int{3, 1_000, 12_000}).Draw(t, "half length")
	across := rapid.SampledFrom([]int{0, 1, 300, 3_000}).Draw(t, "half width")
	for range rapid.IntRange(1, 12).Draw(t, "corners") {
		d.corners = append(d.corners, ground.Point{
			X: metres(t, "x", rapid.IntRange(-along, along/2)), Y: metres(t, "y", rapid.IntRange(-across, across)),
		})
	}
	d.corners = append(d.corners, rapid.SliceOfN(rapid.SampledFrom(d.corners), 0, 3).Draw(t, "again")...)
	d.Outline = outlineOf(t, d.corners, d.clearance)
	return d
}

func outlineOf(t *rapid.T, corners []ground.Point, clearance float64) ground.Outline {
	o, err := ground.NewOutline(corners, clearance)
	if err != nil {
		t.Fatalf("good corners were refused: %v", err)
	}
	return o
}

func metres(t *rapid.T, label string, millimetres *rapid.Generator[int]) float64 {
	return float64(millimetres.Draw(t, label+" in mm")) / 1000
}

// along draws a place on the line, a lap too far or too early among them.
func (d drawn) along(t *rapid.T, label string) float64 {
	return rapid.Float64Range(-d.Length(), 2*d.Length()).Draw(t, label)
}

func point(t *rapid.T, label string) ground.Point {
	return ground.Point{X: metres(t, label+" x", rapid.IntRange(-15_000, 9_000)), Y: metres(t, label+" y", rapid.IntRange(-6_000, 6_000))}
}

// outside draws a point that is not inside the line.
func (d drawn) outside(t *rapid.T, label string) ground.Point {
	p := point(t, label)
	if depth(p, d.Corners()) > 0 {
		p = d.At(d.Stand(p))
	}
	return p
}

const (
	millimetre = 1e-3
	micrometre = 1e-6
)

func TestLaw_DistanceIsAMetric(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawOutline(t)
		a, b, c := d.along(t, "a"), d.along(t, "b"), d.along(t, "c")
		ab, bc, ac := whole(d.Distance(a, b)), whole(d.Distance(b, c)), whole(d.Distance(a, c))
		if ab != whole(d.Distance(b, a)) || d.Distance(a, a) != 0 {
			t.Fatalf("from a to b %d mm, back %v m, to itself %v m", ab, d.Distance(b, a), d.Distance(a, a))
		}
		if ab < 0 || 2*ab > whole(d.Length()) {
			t.Fatalf("%d mm is no shorter way on a line of %v m", ab, d.Length())
		}
		if ac > ab+bc {
			t.Fatalf("by b it is shorter: %d + %d < %d mm", ab, bc, ac)
		}
		if ab == 0 && far(d.At(a), d.At(b)) > millimetre {
			t.Fatalf("no distance from %v to %v", d.At(a), d.At(b))
		}
		if math.Abs(d.Distance(a, b)-d.Distance(a+d.Length(), b-d.Length())) > 1.001*millimetre {
			t.Fatal("a lap changes the distance")
		}
	})
}

// whole is a length in millimetres; that it is a whole number is checked by the way.
func whole(m float64) int {
	mm := math.Round(m * 1000)
	if mm/1000 != m {
		panic("not a whole millimetre")
	}
	return int(mm)
}

func TestLaw_WayIsAsLongAsTheDistanceAndKeepsClear(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawOutline(t)
		a, b := d.along(t, "a"), d.along(t, "b")
		way := d.Way(a, b)
		if long := lengthOf(way); math.Abs(long-d.Distance(a, b)) > millimetre {
			t.Fatalf("the way is %v m long, the distance %v: %v", long, d.Distance(a, b), way)
		}
		if way[0] != d.At(a) || way[len(way)-1] != d.At(b) {
			t.Fatalf("from %v to %v by %v", d.At(a), d.At(b), way)
		}
		for _, corner := range way[1:max(1, len(way)-1)] {
			if !slices.Contains(d.Corners(), corner) {
				t.Fatalf("%v is no corner of %v", corner, d.Corners())
			}
		}
		for _, p := range samples(way, 0.25) {
			if clear := toHull(p, d.corners); clear < d.clearance-millimetre {
				t.Fatalf("%v is %v m from the hull, clearance %v", p, clear, d.clearance)
			}
		}
	})
}

// Steiner's formula: a convex body of perimeter P, widened by r, has the perimeter P + 2πr
// (J. Steiner 1840). Tangents lie outside the arcs, and with turns of at most π/4 each they are at most
// tan(π/8)/(π/8) times as long.
func TestLaw_LengthIsSteinersAndCornersAreNear(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawOutline(t)
		sides, circle := perimeter(d.corners), 2*math.Pi*d.clearance
		least, most := sides+circle, sides+circle*math.Tan(math.Pi/8)/(math.Pi/8)
		if l := d.Length(); l < least-millimetre || l > most+millimetre {
			t.Fatalf("once round is %v m, must lie from %v to %v", l, least, most)
		}
		ring := d.Corners()
		if l := lengthOf(append(ring, ring[0])); math.Abs(l-d.Length()) > 0.51*millimetre {
			t.Fatalf("the corners go round in %v m, length %v", l, d.Length())
		}
		for _, corner := range ring {
			if away := toHull(corner, d.corners); away > 1.09*d.clearance+millimetre {
				t.Fatalf("corner %v lies %v m from the hull, clearance %v", corner, away, d.clearance)
			}
		}
		for i, a := range ring {
			if b, c := ring[(i+1)%len(ring)], ring[(i+2)%len(ring)]; turn(a, b, c) >= 0 {
				t.Fatalf("%v, %v, %v do not turn clockwise", a, b, c)
			}
		}
	})
}

func TestLaw_StandIsTheNearestThereIs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawOutline(t)
		p := point(t, "p")
		stand := d.Stand(p)
		if stand < 0 || stand >= d.Length() {
			t.Fatalf("stand %v on a line of %v m", stand, d.Length())
		}
		ring := d.Corners()
		least := math.Inf(1)
		for _, s := range samples(append(ring, ring[0]), 0.01) {
			least = min(least, far(p, s))
		}
		// What lies ½ mm along the line from the nearest is at most ½ mm farther.
		if away := far(p, d.At(stand)); away > least+0.501*millimetre {
			t.Fatalf("stand %v is %v m from %v, another place %v", d.At(stand), away, p, least)
		}
	})
}

func TestLaw_StandOfAPlaceOnTheLineIsThere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawOutline(t)
		a := d.along(t, "a")
		if gap := d.Distance(d.Stand(d.At(a)), a); gap != 0 {
			t.Fatalf("stands %v m from where it is", gap)
		}
	})
}

func TestLaw_OrderAndRepetitionOfCornersChangeNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawOutline(t)
		corners := rapid.Permutation(append(slices.Clone(d.corners), d.corners[0])).Draw(t, "corners again")
		inside := ground.Point{X: (d.corners[0].X + corners[0].X) / 2, Y: (d.corners[0].Y + corners[0].Y) / 2}
		if rapid.Bool().Draw(t, "one inside") && whole3(inside) {
			corners = append(corners, inside)
		}
		o := outlineOf(t, corners, d.clearance)
		if !slices.Equal(o.Corners(), d.Corners()) || o.At(0) != d.At(0) || o.Length() != d.Length() {
			t.Fatalf("other order, other line:\n%v\n%v", o.Corners(), d.Corners())
		}
	})
}

// whole3 says whether p is given to the millimetre, so that rounding does not move it out of the hull.
func whole3(p ground.Point) bool {
	return math.Round(p.X*1000)/1000 == p.X && math.Round(p.Y*1000)/1000 == p.Y
}

func mirrored(points ...ground.Point) (all []ground.Point) {
	for _, p := range points {
		all = append(all, ground.Point{X: p.X, Y: -p.Y})
	}
	return all
}

func TestLaw_AMirrorImageHasMirrorResults(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawOutline(t)
		m := outlineOf(t, mirrored(d.corners...), d.clearance)
		if m.Length() != d.Length() || len(m.Corners()) != len(d.Corners()) {
			t.Fatalf("%v and %v m", d.Length(), m.Length())
		}
		for _, c := range mirrored(d.Corners()...) {
			if !slices.ContainsFunc(m.Corners(), func(o ground.Point) bool { return far(c, o) < 2*micrometre }) {
				t.Fatalf("%v is no corner of the mirror image %v", c, m.Corners())
			}
		}
		a, b := d.along(t, "a"), d.along(t, "b")
		if there := mirrored(d.At(a))[0]; far(there, m.At(-a)) > millimetre {
			t.Fatalf("%v is mirrored at %v", there, m.At(-a))
		}
		if gap := math.Abs(m.Distance(-a, -b) - d.Distance(a, b)); gap > 1.001*millimetre {
			t.Fatalf("the distance of the mirror image is another by %v m", gap)
		}
		p, q := point(t, "p"), point(t, "q")
		// Equally near on both sides is decided clockwise, which a mirror turns round. A stand
		// is a whole millimetre, at most half a one along the outline from the nearest point at
		// right angles to it: by Pythagoras that adds at most (0.5 mm)² to the distance's square.
		here, there := d.At(d.Stand(p)), m.At(m.Stand(mirrored(p)[0]))
		toHere, toThere := far(p, here), far(mirrored(p)[0], there)
		rounding := 0.25*millimetre*millimetre + (toHere+toThere)*2*micrometre
		if even := math.Abs(toHere*toHere-toThere*toThere) <= rounding; !even || depth(p, d.Corners()) <= 0 {
			if far(mirrored(here)[0], there) > 1.5*millimetre {
				t.Fatalf("%v has its stand at %v, in the mirror at %v", p, here, there)
			}
			if depth(q, d.Corners()) <= 0 {
				if gap := math.Abs(d.Between(p, q) - m.Between(mirrored(p)[0], mirrored(q)[0])); gap > 1.001*millimetre {
					t.Fatalf("between the mirror images it is another way by %v m", gap)
				}
			}
		}
	})
}

func TestLaw_BetweenIsTheShortestWayThereIs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawOutline(t)
		p, q, r := d.outside(t, "p"), d.outside(t, "q"), d.outside(t, "r")
		got := d.Between(p, q)
		if want := shortest(p, q, d.Corners()); math.Abs(got-want) > 0.6*millimetre {
			t.Fatalf("from %v to %v %v m, the shortest is %v", p, q, got, want)
		}
		if back := d.Between(q, p); got != back || d.Between(p, p) != 0 {
			t.Fatalf("there %v m, back %v, to itself %v", got, back, d.Between(p, p))
		}
		if straight := far(p, q); got < straight-0.6*millimetre ||
			!crosses(p, q, d.Corners()) && math.Abs(got-straight) > 0.6*millimetre {
			t.Fatalf("%v m, straight it is %v", got, straight)
		}
		// Three roundings of half a millimetre.
		if by := got + d.Between(q, r); d.Between(p, r) > by+1.6*millimetre {
			t.Fatalf("by %v it is shorter: %v m", q, by)
		}
	})
}

func TestLaw_BetweenTwoStandsIsTheirDistance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawOutline(t)
		a, b := d.along(t, "a"), d.along(t, "b")
		if got, want := d.Between(d.At(a), d.At(b)), d.Distance(a, b); math.Abs(got-want) > 1.001*millimetre {
			t.Fatalf("between %v m, along the line %v", got, want)
		}
		// A point inside is taken to its stand.
		p, q := point(t, "p"), point(t, "q")
		if depth(p, d.Corners()) <= 0 || depth(q, d.Corners()) <= 0 {
			return
		}
		if got, want := d.Between(p, q), d.Distance(d.Stand(p), d.Stand(q)); math.Abs(got-want) > 2.001*millimetre {
			t.Fatalf("between places inside %v m, between their stands %v", got, want)
		}
	})
}
