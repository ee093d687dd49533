package rules

import (
	"cmp"
	"fmt"
	"strings"
	"time"

	pb "bayround/proto/bayround/v1"
)

// tellRead says what was read or seen, by whom, when and with what.
func (a *account) tellRead() {
	told := a.looked
	if len(told) > mostRead+1 {
		told = told[:mostRead]
	}
	for _, o := range told {
		line := a.say(pb.ExplanationPart_EXPLANATION_PART_READ, a.readOf(o))
		line.StepId = o.GetStep().GetStepId()
		if o.GetHasValue() && len(o.GetStep().GetParts()) > 0 {
			as, asRead := shownPart(o, 0), o.GetAsRead()
			arrives(line, asRead*as.factor, as.unit)
		}
	}
	if more := len(a.looked) - len(told); more > 0 {
		a.say(pb.ExplanationPart_EXPLANATION_PART_READ, fmt.Sprintf("And %d more places.", more))
	}
}

func (a *account) readOf(o *pb.Observation) string {
	what := []string{}
	switch r := o.GetResult(); {
	case r.GetReading() != nil:
		what = append(what, typedWords(o))
	case r.GetProfile() != nil:
		what = append(what, profileWords(r.GetProfile()))
	case r.GetLevel() != nil:
		what = append(what, levelWords(o))
	}
	if seen := a.seenWords(o); seen != "" {
		what = append(what, seen)
	}
	return fmt.Sprintf("%s: %s%s.", placeWords(o.GetStep()), strings.Join(what, "; "), a.reader.circumstanceWords(o.GetResult()))
}

func placeWords(s *pb.CheckStep) string {
	title, place := s.GetTitle(), s.GetPlace().GetTitle()
	switch {
	case title == "" && place == "":
		return s.GetStepId()
	case title == "":
		return place
	}
	for part := range strings.SplitSeq(place, ", ") { // what the title says is not said again
		if !strings.Contains(strings.ToLower(title), strings.ToLower(part)) {
			title += ", " + part
		}
	}
	return title
}

// typedWords tells a reading as it was typed, every time it was read.
func typedWords(o *pb.Observation) string {
	var parts []string
	for _, p := range o.GetStep().GetParts() {
		v := valueOf(o, p.GetId())
		if v == nil {
			continue
		}
		typed := []string{rounded(v.GetAsTyped(), mostShown, true)}
		for _, again := range v.GetAgain() {
			typed = append(typed, rounded(again, mostShown, true))
		}
		words := strings.Join(typed, " and ") + unitWords(v.GetUnit())
		if len(o.GetStep().GetParts()) > 1 {
			words = strings.ReplaceAll(p.GetId(), "_", " ") + " " + words
		}
		parts = append(parts, words)
	}
	if len(parts) == 0 {
		return "no value"
	}
	return strings.Join(parts, ", ")
}

func profileWords(p *pb.TreadProfile) string {
	var places []string
	for _, s := range p.GetSections() {
		var depths []string
		for _, point := range s.GetPoints() {
			depths = append(depths, rounded(point.GetAsTyped(), mostShown, true))
		}
		places = append(places, strings.Join(depths, " "))
	}
	return "from the outer to the inner shoulder " + strings.Join(places, " | ") + unitWords(p.GetUnit())
}

func levelWords(o *pb.Observation) string {
	switch {
	case o.GetLevelBelow():
		return "below the lower mark"
	case o.GetLevelAbove():
		return "above the upper mark"
	case o.GetHasLevel():
		return fmt.Sprintf("%s %% of the way from the lower to the upper mark", rounded(100*o.GetLevel(), 0, true))
	}
	return "no level"
}

// seenWords tells the faults seen, or that all was sound where that was asked.
func (a *account) seenWords(o *pb.Observation) string {
	if len(o.GetFaults()) == 0 {
		if o.GetResult().GetSeen() != nil {
			return "nothing wrong was seen"
		}
		return ""
	}
	var words []string
	for _, id := range o.GetFaults() {
		text := a.judge.engine.known.faults[id].GetText()
		if text == "" {
			text = "fault " + id
		}
		words = append(words, text)
	}
	seen := "seen: " + strings.Join(words, ", ")
	if o.GetOf() > 1 {
		seen += fmt.Sprintf(" (%d of %d)", o.GetAffected(), o.GetOf())
	}
	return seen
}

// circumstanceWords tells by whom, when and with what.
func (to Reader) circumstanceWords(r *pb.Result) string {
	var b strings.Builder
	if id, named := strings.CutPrefix(r.GetPerson(), "people/"); named {
		b.WriteString(", by " + cmp.Or(to.People[r.GetPerson()].GetTitle(), id))
	}
	if t := lookedAtOf(r); t != nil {
		b.WriteString(", " + t.AsTime().In(cmp.Or(to.Zone, time.UTC)).Format(dayAndTime))
	}
	if gauge, named := strings.CutPrefix(r.GetGauge(), "gauges/"); named {
		b.WriteString(", with " + strings.ToUpper(gauge))
	}
	return b.String()
}

const dayAndTime = "2 Jan 2006 15:04 MST"

// shownPart gives the unit in which a part of an observation is told.
func shownPart(o *pb.Observation, i int) shown {
	return shownAs(quantityOf(o.GetStep().GetParts()[i]).unit, o.GetStep(), i)
}

// unitWords is a unit as it follows a number.
func unitWords(unit string) string {
	switch unit {
	case "", "1":
		return ""
	case "degC":
		return " °C"
	case "degF":
		return " °F"
	}
	return " " + unit
}
