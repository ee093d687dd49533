package sop

import "math/bits"

// maxBlocks is how many blocks a program may have: so many bits index its table of sets.
const maxBlocks = 20

// rests are the sets of blocks that can remain to be visited: with a block, all that must come behind
// it remains. Each set has one entry for each node of the blocks that may come next.
type rests struct {
	before, after []uint32 // of each block: the blocks that must come before it, behind it
	size          []int    // of each block, in nodes
	sets          []uint32 // the smaller first; all blocks last
	place         []int32  // of each set in sets; -1 for what cannot remain
	at            []int    // of each set in sets: where its entries begin; and where the last one's end
	work          int64    // arcs to be looked at when each entry is worked out
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
	r.place[0], r.sets, r.at = 0, append(r.sets, 0), append(r.at, 0)
	for i := 0; i < len(r.sets); i++ {
		set := r.sets[i]
		entries := r.entries(r.ready(set), len(size))
		r.at = append(r.at, r.at[i]+entries)
		if r.at[i+1] > most {
			return nil, false
		}
		for h := r.mayPrecede(set); h != 0; h &= h - 1 {
			block := bits.TrailingZeros32(h)
			r.work += int64(size[block] * (entries + size[block]))
			if more := set | 1<<block; r.place[more] < 0 {
				r.place[more] = int32(len(r.sets))
				r.sets = append(r.sets, more)
			}
		}
	}
	return r, true
}

// ready are the blocks of a set that may come next.
func (r *rests) ready(set uint32) (found uint32) {
	for h := set; h != 0; h &= h - 1 {
		if block := bits.TrailingZeros32(h); r.before[block]&set == 0 {
			found |= 1 << block
		}
	}
	return found
}

// mayPrecede are the blocks outside a set behind which all of it may remain.
func (r *rests) mayPrecede(set uint32) (found uint32) {
	for h := (uint32(1)<<len(r.size) - 1) &^ set; h != 0; h &= h - 1 {
		if block := bits.TrailingZeros32(h); r.after[block]&^set == 0 {
			found |= 1 << block
		}
	}
	return found
}

// entries is how many nodes those blocks of a set have that stand before a block.
func (r *rests) entries(blocks uint32, block int) (sum int) {
	for h := blocks & (1<<block - 1); h != 0; h &= h - 1 {
		sum += r.size[bits.TrailingZeros32(h)]
	}
	return sum
}
