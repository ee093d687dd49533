package round

import (
	"fmt"
	"slices"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// hindrance says in words what keeps a draft from being recorded as the answer
// to a step; empty when nothing in the draft does.
func (d draft) hindrance(step *pb.CheckStep) string {
	lacking := ""
	switch step.GetAnswerKind() {
	case pb.AnswerKind_ANSWER_KIND_READING:
		lacking = d.lackingNumber(step)
	case pb.AnswerKind_ANSWER_KIND_PROFILE:
		lacking = d.lackingDepth(step)
	case pb.AnswerKind_ANSWER_KIND_LEVEL:
		if d.Mark == pb.LevelMark_LEVEL_MARK_UNSPECIFIED {
			lacking = "set the level"
		}
	case pb.AnswerKind_ANSWER_KIND_CONDITION:
		if len(d.Seen) == 0 {
			lacking = "say what you see"
		}
	default:
		lacking = "this step cannot be answered here"
	}
	return lacking
}

func (d draft) lackingNumber(step *pb.CheckStep) string {
	if d.taking(step) != notTaken {
		return d.lackingTaken(step)
	}
	for _, p := range step.GetParts() {
		if _, whole := number(d.Texts[p.GetId()]); !whole {
			return "enter " + p.GetTitle()
		}
	}
	return ""
}

// lackingDepth asks for one whole section, and that none is left half done.
func (d draft) lackingDepth(step *pb.CheckStep) string {
	whole := 0
	for n := 1; n <= mostSections; n++ {
		switch typed := d.typed(step, n); {
		case typed == d.grooves() && len(d.depths(step, n)) == d.grooves():
			whole++
		case typed > 0:
			return fmt.Sprintf("enter all %d depths at place %d", d.grooves(), n)
		}
	}
	if whole == 0 {
		return fmt.Sprintf("enter %d depths, outer edge to inner edge", d.grooves())
	}
	return ""
}

// typed is how many depths of a section have been begun.
func (d draft) typed(step *pb.CheckStep, section int) (n int) {
	for _, id := range d.fieldIDs(step, section) {
		if d.Texts[id] != "" {
			n++
		}
	}
	return n
}

// depths are the depths of a section that are whole numbers as typed.
func (d draft) depths(step *pb.CheckStep, section int) (depths []float64) {
	for _, id := range d.fieldIDs(step, section) {
		if x, whole := number(d.Texts[id]); whole {
			depths = append(depths, x)
		}
	}
	return depths
}

// lackingCount asks how many show a fault where a step looks at several alike and
// rules ask it of the fault: they would take it for one.
func (d draft) lackingCount(step *pb.CheckStep, asked func(fault string) bool) string {
	for _, s := range d.Seen {
		if c := conditionOf(step, s.Condition); step.GetAlike() > 1 && s.Affected == 0 && !c.GetSound() && asked(c.GetFault()) {
			return fmt.Sprintf("say how many of %d: %s", step.GetAlike(), c.GetText())
		}
	}
	return ""
}

// answerInto puts into a result what the draft says, and nothing else. The draft
// must have no hindrance.
func (d draft) answerInto(r *pb.Result, step *pb.CheckStep) {
	beside := d.conditions(step)
	switch step.GetAnswerKind() {
	case pb.AnswerKind_ANSWER_KIND_READING:
		r.Answer = &pb.Result_Reading{Reading: d.reading(step)}
	case pb.AnswerKind_ANSWER_KIND_PROFILE:
		r.Answer = &pb.Result_Profile{Profile: d.profile(step)}
	case pb.AnswerKind_ANSWER_KIND_LEVEL:
		r.Answer = &pb.Result_Level{Level: &pb.Level{Mark: d.Mark, Fraction: d.Fraction}}
	case pb.AnswerKind_ANSWER_KIND_CONDITION:
		r.Answer, beside = &pb.Result_Seen{Seen: &pb.ConditionsSeen{Conditions: beside}}, nil
	}
	r.AlsoSeen = beside
	r.Note, r.SpotProof, r.Photos, r.AloneMethod = d.Note, d.Proof, slices.Clone(d.Photos), d.Alone
	r.LeftOpen = d.Left == leftOpen
}

// reading is the values, typed or taken.
func (d draft) reading(step *pb.CheckStep) *pb.Reading {
	if d.taking(step) != notTaken {
		return &pb.Reading{Values: []*pb.Value{d.takenValue(step)}}
	}
	reading := &pb.Reading{}
	for i, p := range step.GetParts() {
		all := d.readings(p)
		reading.Values = append(reading.Values, &pb.Value{Part: p.GetId(), AsTyped: all[0], Unit: unitAt(step, i), Again: all[1:]})
	}
	return reading
}

// conditions are those that were touched, in the catalogue's order.
func (d draft) conditions(step *pb.CheckStep) (all []*pb.ConditionSeen) {
	for _, c := range step.GetConditions() {
		i := d.seenAt(c.GetId())
		if i < 0 {
			continue
		}
		one := &pb.ConditionSeen{Condition: c.GetId()}
		if n := d.Seen[i].Affected; n > 0 && step.GetAlike() > 1 {
			one.Count = &pb.Count{Affected: n, Of: step.GetAlike()}
		}
		all = append(all, one)
	}
	return all
}

// profile is the sections that were typed.
func (d draft) profile(step *pb.CheckStep) *pb.TreadProfile {
	p := &pb.TreadProfile{Unit: unitAt(step, 0)}
	for n := 1; n <= mostSections; n++ {
		depths := d.depths(step, n)
		if len(depths) < d.grooves() {
			continue
		}
		s := &pb.TreadSection{}
		for i, depth := range depths {
			s.Points = append(s.Points, &pb.TreadPoint{Across: float64(i) / float64(d.grooves()-1), AsTyped: depth})
		}
		p.Sections = append(p.Sections, s)
	}
	return p
}

// unitAt is the unit in which a part is entered at this station.
func unitAt(step *pb.CheckStep, part int) string {
	if part < len(step.GetUnits()) {
		return step.GetUnits()[part]
	}
	if part < len(step.GetParts()) {
		return step.GetParts()[part].GetUsualUnit()
	}
	return ""
}

// typedWords is the answer in words, with numbers exactly as they were typed.
func (d draft) typedWords(step *pb.CheckStep) string {
	var words []string
	switch step.GetAnswerKind() {
	case pb.AnswerKind_ANSWER_KIND_READING:
		if d.taking(step) != notTaken {
			m, _ := d.makeOf(step) // nothing hinders it
			words = append(words, m.words)
			break
		}
		for i, p := range step.GetParts() {
			words = append(words, partWords(step, p.GetTitle(), d.againWords(p, unitAt(step, i))))
		}
	case pb.AnswerKind_ANSWER_KIND_PROFILE:
		for n := 1; n <= mostSections; n++ {
			var texts []string
			for _, id := range d.fieldIDs(step, n) {
				texts = append(texts, d.Texts[id])
			}
			if d.typed(step, n) == d.grooves() {
				words = append(words, measured(strings.Join(texts, ", "), unitAt(step, 0)))
			}
		}
	case pb.AnswerKind_ANSWER_KIND_LEVEL:
		words = append(words, levelWords(&pb.Level{Mark: d.Mark, Fraction: d.Fraction}))
	}
	for _, c := range d.conditions(step) {
		words = append(words, seenWords(step, c))
	}
	return strings.Join(words, "; ")
}
