package county

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
)

// seed is where all chance of the county comes from.
const seed = 20260203

// chance is a stream of numbers of its own for each thing that varies, so that
// something new in the county changes nothing that is there already.
func chance(of ...string) *rand.Rand {
	h := fnv.New64a()
	for _, word := range of {
		_, _ = h.Write([]byte(word)) // never fails
		_, _ = h.Write([]byte{0})
	}
	return rand.New(rand.NewPCG(seed, h.Sum64())) //nolint:gosec // chance that can be had again is what is wanted
}

// spread is a number that lies round 0 with a standard deviation, as errors do.
func spread(r *rand.Rand, deviation float64) float64 { return r.NormFloat64() * deviation }

// rounded is a number as an instrument shows it that has steps of a size.
func rounded(x, step float64) float64 {
	return math.Round(math.Round(x/step)*step*1e6) / 1e6
}
