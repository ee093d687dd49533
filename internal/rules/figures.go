package rules

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// mostShown is how many decimals a number is told with at most.
const mostShown = 4

// shown is the unit in which numbers are told to people, and how many of it one
// of the number's own unit is.
type shown struct {
	unit   string
	factor float64
}

// shownAs gives the unit in which the station enters a part of a step, where a
// number in another unit of the same kind can be told in it.
func shownAs(unit string, step *pb.CheckStep, part int) shown {
	if part < 0 || part >= len(step.GetUnits()) {
		return shown{unit, 1}
	}
	theirs := step.GetUnits()[part]
	zero, err := measure.Convert(0, unit, theirs)
	if err != nil || zero != 0 { // degrees Celsius and Fahrenheit do not begin at the same place
		return shown{unit, 1}
	}
	one, err := measure.Convert(1, unit, theirs)
	if err != nil || !isFinite(one) || one <= 0 {
		return shown{unit, 1}
	}
	return shown{theirs, one}
}

// withUnit puts number and unit together.
func (s shown) withUnit(number string) string { return number + unitWords(s.unit) }

// exact tells a number that was set, not measured: with the decimals it has, or
// four digits of it where it was set in another unit.
func (s shown) exact(x float64) string {
	if s.factor != 1 {
		return s.about(x)
	}
	return s.withUnit(rounded(x*s.factor, mostShown, true))
}

// measured tells a number that was measured, with the digits that its expanded
// uncertainty leaves it, and that uncertainty. An uncertainty of 0 is not told.
func (s shown) measured(x, standardUncertainty float64) string {
	expanded := measure.Expanded(standardUncertainty * s.factor)
	if expanded == 0 || !isFinite(expanded) {
		return s.exact(x)
	}
	n := decimalsOf(expanded)
	return s.withUnit(rounded(x*s.factor, n, false)) + " ± " + s.withUnit(rounded(expanded, n, false))
}

// decimalsOf gives the decimals that show two significant digits of a number.
func decimalsOf(x float64) int {
	if x == 0 || !isFinite(x) {
		return 0
	}
	return min(max(1-int(math.Floor(math.Log10(abs(x)))), 0), mostShown)
}

// rounded writes a number with so many decimals, without zeros at the end when trim is set.
func rounded(x float64, decimals int, trim bool) string {
	if !isFinite(x) {
		return notKnown
	}
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if trim && strings.Contains(s, ".") {
		s = strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
	}
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

// chance tells a probability so that one that is not sure never looks it.
func chance(p float64) string {
	switch {
	case p > 0.9995:
		return "> 0.999"
	case p < 0.0005:
		return "< 0.001"
	case p > 0.985 || p < 0.015:
		return rounded(p, 3, false)
	}
	return rounded(p, 2, false)
}

// SideWords says on which side of its bound a number must lie, for instance "at
// least"; empty for a side that is not known.
func SideWords(side pb.LimitSide) string { return sides[side] }

// sides are the words of SideWords; never changed.
var sides = map[pb.LimitSide]string{
	pb.LimitSide_LIMIT_SIDE_AT_LEAST:  "at least",
	pb.LimitSide_LIMIT_SIDE_MORE_THAN: "more than",
	pb.LimitSide_LIMIT_SIDE_AT_MOST:   "at most",
	pb.LimitSide_LIMIT_SIDE_LESS_THAN: "less than",
}

// shownFor gives the unit in which the numbers of a limit are told: that of the
// station where the number is read there, percent for a share of the target.
func (l *limit) shownFor(o *pb.Observation) shown {
	unit := l.said.GetUnit()
	switch {
	case unit == "" && l.of != nil && l.of.scale == 1 && (l.of.of == "share_of_target" || l.of.of == "level"):
		return shown{"%", 100}
	case unit == "" || l.of == nil:
		return shown{unit, 1}
	}
	part := 0
	for i, p := range o.GetStep().GetParts() {
		if l.of.which == p.GetId() {
			part = i
		}
	}
	return shownAs(unit, o.GetStep(), part)
}

// cannotTell words the finding of a limit of which nobody can tell whether it is kept.
func (h holding) cannotTell() string {
	as, doubt, side := h.limit.shownFor(h.o), h.doubt(), sides[h.limit.said.GetSide()]
	u := 0.0
	if h.known {
		u = h.reading.Uncertainty
	}
	text := fmt.Sprintf("Cannot tell: %s against %s %s", as.measured(h.reading.Value, u), side, as.exact(h.bound))
	if h.known {
		text += fmt.Sprintf(" (P %s)", chance(h.probability()))
	}
	if doubt != near {
		text += ", but " + doubt.why
	}
	return text + ": " + doubt.cure + "."
}
