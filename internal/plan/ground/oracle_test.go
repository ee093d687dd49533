package ground_test

import (
	"math"
	"slices"

	"bayround/internal/plan/ground"
)

// What stands here knows nothing of how the package works: it looks at every pair, every
// third, every sample.

func far(a, b ground.Point) float64 { return math.Hypot(a.X-b.X, a.Y-b.Y) }

// turn is twice the area of the triangle, positive counter-clockwise.
func turn(a, b, c ground.Point) float64 { return (b.X-a.X)*(c.Y-a.Y) - (b.Y-a.Y)*(c.X-a.X) }

// toSegment is how far p lies from the segment.
func toSegment(p, a, b ground.Point) float64 {
	square := (b.X-a.X)*(b.X-a.X) + (b.Y-a.Y)*(b.Y-a.Y)
	if square == 0 {
		return far(p, a)
	}
	part := min(max(((p.X-a.X)*(b.X-a.X)+(p.Y-a.Y)*(b.Y-a.Y))/square, 0), 1)
	return far(p, ground.Point{X: a.X + part*(b.X-a.X), Y: a.Y + part*(b.Y-a.Y)})
}

// hullSides are the segments between corners that have all other corners on one side: the sides
// of the convex hull, and more that lie upon them.
func hullSides(corners []ground.Point) (sides [][2]ground.Point) {
	for i, a := range corners {
		for _, b := range corners[i:] {
			left, right := 0, 0
			for _, c := range corners {
				switch area := turn(a, b, c); {
				case area > 1e-9:
					left++
				case area < -1e-9:
					right++
				}
			}
			if left == 0 || right == 0 {
				sides = append(sides, [2]ground.Point{a, b})
			}
		}
	}
	return sides
}

// toHull is how far p lies from the hull of the corners, 0 inside.
func toHull(p ground.Point, corners []ground.Point) float64 {
	if within(p, corners) {
		return 0
	}
	least := math.Inf(1)
	for _, side := range hullSides(corners) {
		least = min(least, toSegment(p, side[0], side[1]))
	}
	return least
}

// within says whether a triangle of corners has p inside (Carathéodory's theorem in the plane).
func within(p ground.Point, corners []ground.Point) bool {
	for i, a := range corners {
		for j, b := range corners[:i] {
			for _, c := range corners[:j] {
				ab, bc, ca := turn(a, b, p), turn(b, c, p), turn(c, a, p)
				if ab > 0 && bc > 0 && ca > 0 || ab < 0 && bc < 0 && ca < 0 {
					return true
				}
			}
		}
	}
	return false
}

// perimeter of the hull: the sum of its longest sides. A thin one is walked on both sides.
func perimeter(corners []ground.Point) (sum float64) {
	sorted := slices.Clone(corners)
	// Gift wrapping (Jarvis 1973), from the corner with the least x.
	first := slices.MinFunc(sorted, func(a, b ground.Point) int {
		if a.X != b.X {
			return sign(a.X - b.X)
		}
		return sign(a.Y - b.Y)
	})
	for at := first; ; {
		next := at
		for _, c := range sorted {
			if c == at {
				continue
			}
			if area := turn(at, next, c); next == at || area > 1e-9 || area > -1e-9 && far(at, c) > far(at, next) {
				next = c
			}
		}
		sum += far(at, next)
		if at = next; at == first {
			return sum
		}
	}
}

func sign(x float64) int {
	switch {
	case x < 0:
		return -1
	case x > 0:
		return 1
	}
	return 0
}

// lengthOf is how long a broken line is.
func lengthOf(way []ground.Point) (sum float64) {
	for i := range len(way) - 1 {
		sum += far(way[i], way[i+1])
	}
	return sum
}

// samples are points along a broken line, a step or less apart, its corners among them.
func samples(way []ground.Point, stepM float64) (all []ground.Point) {
	all = append(all, way[0])
	for i := range len(way) - 1 {
		a, b := way[i], way[i+1]
		n := math.Ceil(far(a, b)/stepM) + 1
		for k := 1.0; k <= n; k++ {
			all = append(all, ground.Point{X: a.X + (b.X-a.X)*k/n, Y: a.Y + (b.Y-a.Y)*k/n})
		}
	}
	return all
}

// depth is how deep p lies inside a clockwise convex polygon: the least distance to the
// lines through its sides, negative outside.
func depth(p ground.Point, ring []ground.Point) float64 {
	least := math.Inf(1)
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		least = min(least, -turn(a, b, p)/far(a, b))
	}
	return least
}

// crosses says whether the segment goes more than a hundredth of a millimetre deep into the
// polygon. The depth is concave along the segment, so a search by thirds finds its greatest.
func crosses(a, b ground.Point, ring []ground.Point) bool {
	at := func(part float64) float64 {
		return depth(ground.Point{X: a.X + part*(b.X-a.X), Y: a.Y + part*(b.Y-a.Y)}, ring)
	}
	low, high := 0.0, 1.0
	for range 100 {
		third := (high - low) / 3
		if at(low+third) < at(high-third) {
			low += third
		} else {
			high -= third
		}
	}
	return at(low) > 1e-5
}

// shortest is the shortest way from p to q that stays out of the polygon: Dijkstra's
// algorithm on the visibility graph of p, q and the corners (Lozano-Pérez and Wesley 1979).
func shortest(p, q ground.Point, ring []ground.Point) float64 {
	nodes := append([]ground.Point{p, q}, ring...)
	least := make([]float64, len(nodes))
	done := make([]bool, len(nodes))
	for i := range least {
		least[i] = math.Inf(1)
	}
	least[0] = 0
	for {
		at := -1
		for i := range nodes {
			if !done[i] && (at < 0 || least[i] < least[at]) {
				at = i
			}
		}
		if at < 0 || math.IsInf(least[at], 1) || at == 1 {
			return least[1]
		}
		done[at] = true
		for i := range nodes {
			if !done[i] && !crosses(nodes[at], nodes[i], ring) {
				least[i] = min(least[i], least[at]+far(nodes[at], nodes[i]))
			}
		}
	}
}
