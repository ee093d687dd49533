package screen

import (
	"math"
	"slices"
)

// strand is runs of one person that go on from each other without a turn: they are
// drawn in one lane.
type strand struct {
	runs        []int
	assistant   bool
	from, ahead float64
	lane        int // 0 lies on the ring, the others outside of it
}

// lanes lays a trail into strands, so that no two over the same stretch lie upon each
// other, and says how many lanes there are and on which strand each run lies. room is
// what must be free at both ends of a strand.
func (t trail) lanes(room float64) (strands []strand, of []int, count int) {
	of = make([]int, len(t.runs))
	open := map[bool]int{} // by who walks: the strand that may go on
	for i, r := range t.runs {
		k, met := open[r.assistant]
		if !met || !t.goesOn(strands[k], r, room) {
			strands = append(strands, strand{assistant: r.assistant, from: r.from})
			k = len(strands) - 1
			open[r.assistant] = k
		}
		s := &strands[k]
		s.runs, s.ahead = append(s.runs, i), s.ahead+r.ahead
		of[i] = k
	}
	var taken [][]strand // by lane
	last := map[bool]int{}
	for k := range strands {
		s := &strands[k]
		s.lane = t.freeLane(taken, *s, last[s.assistant], room)
		if s.lane == len(taken) {
			taken = append(taken, nil)
		}
		taken[s.lane] = append(taken[s.lane], *s)
		last[s.assistant] = s.lane
	}
	return strands, of, len(taken)
}

// goesOn tells that a run goes on where a strand ends, in its direction, and that the
// strand does not come round to itself.
func (t trail) goesOn(s strand, r run, room float64) bool {
	there := math.Abs(t.ring.ahead(s.from+s.ahead, r.from)) < 0.5
	return there && s.ahead*r.ahead >= 0 && math.Abs(s.ahead+r.ahead) < t.ring.length()-2*room
}

// freeLane is the free lane nearest to the one that a person comes from, or a new one.
func (t trail) freeLane(taken [][]strand, s strand, from int, room float64) int {
	best := len(taken)
	for lane := range taken {
		free := !slices.ContainsFunc(taken[lane], func(other strand) bool { return t.meets(s, other, room) })
		if free && (best == len(taken) || abs(lane-from) < abs(best-from)) {
			best = lane
		}
	}
	return best
}

func abs(n int) int { return max(n, -n) }

// meets tells that two strands, with room at their ends, share a stretch of the ring.
func (t trail) meets(a, b strand, room float64) bool {
	begin := func(s strand) (from, length float64) {
		return min(s.from, s.from+s.ahead) - room, math.Abs(s.ahead) + 2*room
	}
	fromA, lengthA := begin(a)
	fromB, lengthB := begin(b)
	return t.ring.within(fromB-fromA) < lengthA || t.ring.within(fromA-fromB) < lengthB
}
