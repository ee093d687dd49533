package rules

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"

	pb "bayround/proto/bayround/v1"
)

// Limits gives the bounds that rules in force set to what is measured at a step
// now, in the order of packs and rules: for charts and forecasts, in the unit of the
// quantity. A bound on another number, or whose condition does not hold now or
// cannot be worked out, is left out; so is one that a fault must set off.
func (j *Judge) Limits(o *pb.Observation) []*pb.LimitLine {
	var lines []*pb.LimitLine
	s := &scene{judge: j, observation: o, given: givenIn(o)}
	for _, r := range j.byItem[o.GetStep().GetItem()] {
		if r.limit == nil {
			continue
		}
		if r.when != nil {
			if holds, err := r.when.holds(s); err != nil || !holds {
				continue
			}
		}
		factor := r.limit.of.quantityFactor(o)
		bound, err := r.limit.bound.number(s)
		if err != nil || factor == 0 || !isFinite(bound*factor) {
			continue
		}
		lines = append(lines, &pb.LimitLine{
			Pack: r.pack.name, Rule: r.rule.GetId(), Bound: bound * factor, Side: turned(r.limit.said.GetSide(), factor),
			Effect: r.rule.GetEffect(), Grade: r.rule.GetGrade(), Text: r.limit.lineWords(o, bound),
		})
	}
	return lines
}

// turned is the side of a bound on a number that was made by a negative factor.
func turned(side pb.LimitSide, factor float64) pb.LimitSide {
	if factor > 0 {
		return side
	}
	return map[pb.LimitSide]pb.LimitSide{
		pb.LimitSide_LIMIT_SIDE_AT_LEAST:  pb.LimitSide_LIMIT_SIDE_AT_MOST,
		pb.LimitSide_LIMIT_SIDE_MORE_THAN: pb.LimitSide_LIMIT_SIDE_LESS_THAN,
		pb.LimitSide_LIMIT_SIDE_AT_MOST:   pb.LimitSide_LIMIT_SIDE_AT_LEAST,
		pb.LimitSide_LIMIT_SIDE_LESS_THAN: pb.LimitSide_LIMIT_SIDE_MORE_THAN,
	}[side]
}

// lineWords words a bound, for instance "at least 1.6 mm in the central band (over 3.5 t)".
func (l *limit) lineWords(o *pb.Observation, bound float64) string {
	words := fmt.Sprintf("%s %s", sides[l.said.GetSide()], l.shownFor(o).exact(bound))
	switch l.of.of {
	case "share_of_target":
		words += " of the target"
	case "tread_central_mm":
		words += " in the central band"
	case "tread_least_mm":
		words += " anywhere"
	}
	if why := l.said.GetWhy(); why != "" {
		words += " (" + strings.TrimSuffix(why, ".") + ")"
	}
	return words
}

// ColdRule gives what counts as cold for an item: the strictest of the packs in
// force, which is the longest time of standing and the shortest drive. Nil when no
// pack says anything, and then the catalogue counts.
func (j *Judge) ColdRule(item string) *pb.ColdRule {
	var strictest *pb.ColdRule
	for _, rule := range j.cold[item] {
		switch {
		case strictest == nil:
			strictest = rule
		case rule.GetStood().AsDuration() > strictest.GetStood().AsDuration():
			strictest = driven(rule, strictest)
		default:
			strictest = driven(strictest, rule)
		}
	}
	return strictest
}

// driven is a cold rule that allows no longer drive than another does.
func driven(rule, other *pb.ColdRule) *pb.ColdRule {
	if other.GetDrivenAtMostKm() >= rule.GetDrivenAtMostKm() {
		return rule
	}
	both := proto.CloneOf(rule)
	both.DrivenAtMostKm = other.GetDrivenAtMostKm()
	return both
}

// numberWords words the number of a limit, without its unit.
func (l *limit) numberWords(o *pb.Observation) string {
	if l.of == nil {
		return l.said.GetNumber()
	}
	switch l.of.of {
	case "tread_band_mm":
		return "tread in the best band"
	case "tread_central_mm":
		return "tread in the central band"
	case "tread_least_mm":
		return "tread anywhere"
	case "values":
		return strings.ReplaceAll(l.of.which, "_", " ")
	}
	if parts := o.GetStep().GetParts(); l.of.of == "value" && len(parts) > 0 {
		return strings.ReplaceAll(parts[0].GetId(), "_", " ")
	}
	return strings.ReplaceAll(l.of.of, "_", " ")
}
