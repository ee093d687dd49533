package sop

import "math/bits"

// maxBlocks is how many blocks a program may have: so many bits index its table of sets.
const maxBlocks = 20

// rests are the sets of blocks that can remain to be visited: with a block, all that must come behind
// it remains. Each set has one entry for each node of the blocks that may come next.
type rests struct {
	before, after []uint32 // of each block: the blocks that must come before it, behind it
	size          []int    // of each block, in nodes
	sets          []rest   // the smaller first; all blocks last
	place         []int32  // of each set in sets; -1 for what cannot remain
	work          int64    // arcs to be looked at when each entry is worked out
}

// rest is one such set.
type rest struct {
	blocks uint32
	ready  uint32 // of them, those that may come next
	ahead  uint32 // of the others, those behind which all of it may remain
	at     int    // where its entries begin
}

// newRests lists the sets. ok is false when they have more entries than most, or there are too many blocks.
func newRests(before, after []uint32, size []int, most int) (r *rests, ok bool) {
	if len(size) > maxBlocks {
		return nil, false
	}
	r = &rests{before: before, after: after, size: size, place: make([]int32, 1<<len(size))}
	for i := range r.place {
		r.place[i] = -1
	}
	r.add(0, 0)
	for i := 0; i < len(r.sets); i++ {
		s := r.sets[i]
		entries := r.entries(s.ready)
		for h := s.ahead; h != 0; h &= h - 1 {
			block := bits.TrailingZeros32(h)
			r.work += int64(size[block] * (entries + size[block]))
			if more := s.blocks | 1<<block; r.place[more] < 0 && !r.add(more, most) {
				return nil, false
			}
		}
	}
	return r, true
}

// add appends a set behind those there are. false: it has no more room.
func (r *rests) add(blocks uint32, most int) bool {
	s := rest{blocks: blocks}
	if len(r.sets) > 0 {
		s.at = r.total()
	}
	for block := range r.size {
		switch bit := uint32(1) << block; {
		case blocks&bit != 0 && r.before[block]&blocks == 0:
			s.ready |= bit
		case blocks&bit == 0 && r.after[block]&^blocks == 0:
			s.ahead |= bit
		}
	}
	r.place[blocks] = int32(len(r.sets))
	r.sets = append(r.sets, s)
	return r.total() <= most
}

// all is the set of all blocks.
func (r *rests) all() *rest { return &r.sets[len(r.sets)-1] }

// total is how many entries there are.
func (r *rests) total() int { return r.all().at + r.entries(r.all().ready) }

// entries is how many nodes blocks have.
func (r *rests) entries(blocks uint32) (sum int) {
	for h := blocks; h != 0; h &= h - 1 {
		sum += r.size[bits.TrailingZeros32(h)]
	}
	return sum
}

// entry is where those of a block begin in the set that it makes with what remains behind it.
func (r *rests) entry(behind *rest, block int) int {
	s := &r.sets[r.place[behind.blocks|1<<block]]
	return s.at + r.entries(s.ready&(1<<block-1))
}
