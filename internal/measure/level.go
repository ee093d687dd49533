package measure

// Levels are fractions between two marks: 0 at the lower mark, 1 at the upper.
// A level below or above the marks has no fraction; how much is missing or too
// much then is not known. Where the volume between the marks is not known either
// (0, as configurations say it), answers in litres are false.

// levelRounding is the share of the volume between the marks that is no volume
// but the rounding of binary fractions.
const levelRounding = 1e-9

// fraction says that a level lies between its marks, both included.
func fraction(level float64) bool { return level >= 0 && level <= 1 }

// tellsLitres says that a volume between two marks is known.
func tellsLitres(between float64) bool { return between > 0 && isFinite(between) }

// LitresToUpper returns how much brings a level to its upper mark, never less
// than 0; false when the level has no fraction or the volume between the marks is
// not known. Stop short of it and look again: to overfill is a fault of its own.
func LitresToUpper(level, litresBetween float64) (float64, bool) {
	if !fraction(level) || !tellsLitres(litresBetween) {
		return 0, false
	}
	return (1 - level) * litresBetween, true
}

// LevelAfter returns where a level stands after so many litres were put in;
// above 1 it is overfilled. False when it has no fraction, the volume between
// the marks is not known, or the litres are negative or no number.
func LevelAfter(level, litres, litresBetween float64) (float64, bool) {
	if !fraction(level) || !tellsLitres(litresBetween) || !(litres >= 0) {
		return 0, false
	}
	after := level + litres/litresBetween
	if !isFinite(after) {
		return 0, false
	}
	if after > 1 && after-1 <= levelRounding {
		return 1, true // what LitresToUpper said is not too much
	}
	return after, true
}

// Use is what a level tells of what happened between two checks.
type Use struct {
	// Litres that went, 0 or more.
	Litres float64
	// Unexplained is by how many litres the level stands higher than what was put
	// in explains, 0 or more; one of the two is 0. Somebody topped up and said
	// nothing, the vehicle stood on a slope, or, in an engine's sump, fuel or
	// coolant has found its way into the oil.
	Unexplained float64
}

// LitresUsed returns what went between two checks: all that was put in between
// less what the level rose (mass balance). False when a level has no fraction,
// the volume between the marks is not known, or a top-up is negative or no
// number: one pour of unknown size leaves the use unknown.
func LitresUsed(before, after, litresBetween float64, toppedUp ...float64) (Use, bool) {
	if !fraction(before) || !fraction(after) || !tellsLitres(litresBetween) {
		return Use{}, false
	}
	used := (before - after) * litresBetween
	scale := litresBetween
	for _, litres := range toppedUp {
		if !(litres >= 0) {
			return Use{}, false
		}
		used += litres
		scale += litres
	}
	switch {
	case !isFinite(used):
		return Use{}, false
	case used > levelRounding*scale:
		return Use{Litres: used}, true
	case used < -levelRounding*scale:
		return Use{Unexplained: -used}, true
	}
	return Use{}, true
}
