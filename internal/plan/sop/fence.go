package sop

import "math/bits"

// large is from how many nodes on a block is not gone through whole: what its passages may cost is limited first.
const large = 10

// fence knows, of a block's nodes, what it costs at least to have been at some of them. What then cannot be had
// within a limit need not be followed.
type fence struct {
	g      *program // its blocks are single nodes
	link   []int64  // of each pair of nodes: no arc between them costs less, arrival left out
	arrive []int64  // of each node: what each arc into it costs more than the link
	behind []int64  // of each set of what remains, by its place: what the others cost at least; unknown when not worked out
	alive  []bool   // of each set, by its place: something of it can be had
}

const unknown = -1

func newFence(g *program) *fence {
	k := len(g.nodes)
	f := &fence{g: g, link: make([]int64, k*k), arrive: make([]int64, k), behind: make([]int64, len(g.sets)), alive: make([]bool, len(g.sets))}
	for i := range f.behind {
		f.behind[i] = unknown
	}
	// Where going there and back differ by what arriving takes, that is found from the first node.
	least := int64(0)
	for j := 1; j < k; j++ {
		if there, back := f.arc(0, j), f.arc(j, 0); there < Never && back < Never {
			f.arrive[j] = there - back
			least = min(least, f.arrive[j])
		}
	}
	for j := range k {
		f.arrive[j] -= least
	}
	for i := range k {
		for j := range k {
			f.link[i*k+j] = min(f.arc(i, j)-f.arrive[j], f.arc(j, i)-f.arrive[i])
		}
	}
	return f
}

func (f *fence) arc(i, j int) int64 { return f.g.arcs[i][j][0] }

// before is what it costs at least to have been at all but what remains: the shortest tree that spans them, and
// arriving at each but one.
func (f *fence) before(place int) int64 {
	if f.behind[place] == unknown {
		f.behind[place] = f.span(f.g.all().blocks &^ f.g.sets[place].blocks)
	}
	return f.behind[place]
}

// span is the length of the shortest tree (R. C. Prim, "Shortest Connection Networks And Some Generalizations", Bell System
// Technical Journal 36(6), 1957).
func (f *fence) span(nodes uint32) (sum int64) {
	if nodes == 0 {
		return 0
	}
	k := len(f.g.nodes)
	at := bits.TrailingZeros32(nodes)
	dearest := f.arrive[at]
	sum += f.arrive[at]
	var near [maxBlocks]int64
	for h := nodes &^ (1 << at); h != 0; h &= h - 1 {
		near[bits.TrailingZeros32(h)] = 2 * Never
	}
	for left := nodes &^ (1 << at); left != 0; left &^= 1 << at {
		from, least := f.link[at*k:at*k+k], int64(4*Never)
		for h := left; h != 0; h &= h - 1 {
			j := bits.TrailingZeros32(h)
			near[j] = min(near[j], from[j])
			if near[j] < least {
				at, least = j, near[j]
			}
		}
		sum += least + f.arrive[at]
		dearest = max(dearest, f.arrive[at])
	}
	return sum - dearest
}

// come is what it costs at least to come to a node from one of those that do not remain.
func (f *fence) come(place, to int) int64 {
	nodes := f.g.all().blocks &^ f.g.sets[place].blocks
	if nodes == 0 {
		return 0
	}
	least := int64(Never)
	for h := nodes; h != 0; h &= h - 1 {
		least = min(least, f.arc(bits.TrailingZeros32(h), to))
	}
	return least
}

// room is what may still be paid from each entry of a set, when all may cost so much.
func (f *fence) room(place, entry int, limit int64) int64 {
	return limit - f.before(place) - f.come(place, entry)
}

// sweep is a bound from above on what it costs from each node through all others to each: of ways on which what
// was visited always lies together, as the nodes are numbered, the last beside the first.
func (g *program) sweep() []int64 {
	k := len(g.nodes)
	costs := make([]int64, k*k)
	for i := range costs {
		costs[i] = Never
	}
	for entry := range k {
		if g.before[entry] == 0 {
			g.sweepFrom(entry, costs[entry*k:entry*k+k])
		}
	}
	return costs
}

// sweepFrom fills in the cheapest such ways from one node. A stretch is told by its first node; one stands at either end of it.
func (g *program) sweepFrom(entry int, costs []int64) {
	k := len(g.nodes)
	var now, next [maxBlocks][2]int64
	for i := range now {
		now[i] = [2]int64{Never, Never}
	}
	now[entry] = [2]int64{0, 0}
	for size := 1; size < k; size++ {
		for i := range next {
			next[i] = [2]int64{Never, Never}
		}
		for first := range k {
			if min(now[first][0], now[first][1]) >= Never {
				continue
			}
			last, seen := (first+size-1)%k, uint32(0)
			for i := range size {
				seen |= 1 << ((first + i) % k)
			}
			for side, to := range [2]int{(first + k - 1) % k, (last + 1) % k} {
				if g.before[to]&^seen != 0 {
					continue
				}
				cost := min(now[first][0]+g.arcs[first][to][0], now[first][1]+g.arcs[last][to][0])
				begin := first
				if side == 0 {
					begin = to
				}
				next[begin][side] = min(next[begin][side], cost)
				if size == k-1 {
					costs[to] = min(costs[to], cost)
				}
			}
		}
		now = next
	}
}
