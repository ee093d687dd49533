package round

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"bayround/internal/catalogue"
	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// The sentences of the tablet: short, the trade's, no more than what is so.

// unitWords is a unit as people read it; units of counts are not said.
func unitWords(unit string) string {
	switch unit {
	case "1":
		return ""
	case "degC":
		return "°C"
	case "degF":
		return "°F"
	case "degC-diff":
		return "°C"
	case "degF-diff":
		return "°F"
	case "deg":
		return "°"
	case "in/32":
		return "/32 in"
	case "gal_us", "gal_uk":
		return "gal"
	case "qt_us":
		return "qt"
	case "pt_uk":
		return "pt"
	case "a":
		return "years"
	case "d":
		return "days"
	}
	return unit
}

// measured is a number as typed, with its unit.
func measured(text, unit string) string {
	return strings.TrimSpace(text + " " + unitWords(unit))
}

// readWords is a pressure that was read along a stretch of time.
func readWords(pressure string, after float64) string {
	if after == 0 {
		return pressure
	}
	return fmt.Sprintf("%s after %.0f s", pressure, after)
}

// partWords is what was read of one part; it is named where there are several.
func partWords(step *pb.CheckStep, title, read string) string {
	if len(step.GetParts()) < 2 {
		return read
	}
	return title + " " + read
}

// rangeWords is a range of a quantity in a unit; empty when it cannot be said.
func rangeWords(r *pb.Range, q pb.Quantity, unit string) string {
	kept := catalogue.UnitOf(q)
	least, err := measure.Convert(r.GetLeast(), kept, unit)
	if err != nil {
		return ""
	}
	greatest, err := measure.Convert(r.GetGreatest(), kept, unit)
	if err != nil {
		return ""
	}
	return short(least) + " … " + short(greatest)
}

// short is a number with no more than three digits, unless more stand before the point.
func short(x float64) string {
	after := 3
	for y := math.Abs(x); y >= 1 && after > 0; y /= 10 {
		after--
	}
	tens := math.Pow10(after)
	return plain(math.Round(x*tens) / tens)
}

// resolutionWords is the smallest step a gauge shows, in a unit.
func resolutionWords(g *pb.Gauge, unit string) string {
	kept := catalogue.UnitOf(g.GetQuantity())
	one, err := measure.Convert(g.GetResolution(), kept, unit)
	if err != nil {
		return ""
	}
	zero, err := measure.Convert(0, kept, unit) // scales of temperature begin elsewhere
	if err != nil {
		return ""
	}
	return plain(one - zero)
}

// plain is a number without needless digits.
func plain(x float64) string {
	return strconv.FormatFloat(math.Round(x*1000)/1000, 'f', -1, 64)
}

// levelWords is a level in words.
func levelWords(l *pb.Level) string {
	switch l.GetMark() {
	case pb.LevelMark_LEVEL_MARK_BELOW:
		return "below the lower mark"
	case pb.LevelMark_LEVEL_MARK_ABOVE:
		return "above the upper mark"
	case pb.LevelMark_LEVEL_MARK_BETWEEN:
		return fmt.Sprintf("between the marks, %.0f %%", l.GetFraction()*100)
	}
	return ""
}

// seenWords is a condition that was seen, with how many show it.
func seenWords(step *pb.CheckStep, c *pb.ConditionSeen) string {
	text := c.GetCondition()
	if known := conditionOf(step, text); known != nil {
		text = known.GetText()
	}
	if n := c.GetCount(); n != nil {
		text += fmt.Sprintf(" (%d of %d)", n.GetAffected(), n.GetOf())
	}
	return text
}

// answerWords is a result in words; empty when there is none.
func answerWords(step *pb.CheckStep, r *pb.Result) string {
	var words []string
	switch a := r.GetAnswer().(type) {
	case *pb.Result_Reading:
		for _, v := range a.Reading.GetValues() {
			words = append(words, partWords(step, partTitle(step, v.GetPart()), recordedWords(v)))
		}
	case *pb.Result_Profile:
		for _, s := range a.Profile.GetSections() {
			texts := make([]string, len(s.GetPoints()))
			for i, p := range s.GetPoints() {
				texts[i] = typedAgain(p.GetAsTyped())
			}
			words = append(words, measured(strings.Join(texts, ", "), a.Profile.GetUnit()))
		}
	case *pb.Result_Level:
		words = append(words, levelWords(a.Level))
	case *pb.Result_Seen:
		for _, c := range a.Seen.GetConditions() {
			words = append(words, seenWords(step, c))
		}
	case *pb.Result_NotChecked:
		return "not checked: " + reasonWords(a.NotChecked.GetReason())
	}
	for _, c := range r.GetAlsoSeen() {
		words = append(words, seenWords(step, c))
	}
	return strings.Join(words, "; ")
}

// typedAgain is a number with the digits that were typed, but for zeros at the end.
func typedAgain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

func partTitle(step *pb.CheckStep, id string) string {
	for _, p := range step.GetParts() {
		if p.GetId() == id {
			return p.GetTitle()
		}
	}
	return id
}

// reasonWords is why nobody looked.
func reasonWords(r pb.NotCheckedReason) string {
	switch r {
	case pb.NotCheckedReason_NOT_CHECKED_REASON_TURNOUT:
		return "a turnout came first"
	case pb.NotCheckedReason_NOT_CHECKED_REASON_ENGINE_WARM:
		return "engine warm"
	case pb.NotCheckedReason_NOT_CHECKED_REASON_NO_ASSISTANT:
		return "no assistant"
	case pb.NotCheckedReason_NOT_CHECKED_REASON_NO_GAUGE:
		return "no gauge"
	case pb.NotCheckedReason_NOT_CHECKED_REASON_NOT_REACHABLE:
		return "could not be reached or seen"
	case pb.NotCheckedReason_NOT_CHECKED_REASON_NOT_CARRIED:
		return "not carried today"
	case pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME:
		return "no time"
	case pb.NotCheckedReason_NOT_CHECKED_REASON_OTHER:
		return "another reason"
	}
	return "no reason given"
}

// reasonOf is the reason that an act names, for instance "engine_warm".
func reasonOf(name string) (pb.NotCheckedReason, bool) {
	n, known := pb.NotCheckedReason_value["NOT_CHECKED_REASON_"+strings.ToUpper(name)]
	return pb.NotCheckedReason(n), known && n != 0
}

// sayVerdict is a verdict as the screens say it.
func sayVerdict(v pb.Verdict) string {
	switch v {
	case pb.Verdict_VERDICT_FIT:
		return "fit to respond"
	case pb.Verdict_VERDICT_RESTRICTED:
		return "fit with limits"
	case pb.Verdict_VERDICT_UNPROVEN:
		return "not proven"
	case pb.Verdict_VERDICT_MOVE_ONLY:
		return "move only, not to respond"
	case pb.Verdict_VERDICT_UNFIT:
		return "do not move"
	}
	return "not known"
}

// gradeWords is a grade; empty when none was given.
func gradeWords(g pb.Grade) string {
	switch g {
	case pb.Grade_GRADE_MINOR:
		return "minor"
	case pb.Grade_GRADE_MAJOR:
		return "major"
	case pb.Grade_GRADE_DANGEROUS:
		return "dangerous"
	}
	return ""
}

// effectWords is what a finding takes away.
func effectWords(e pb.Effect) string {
	switch e {
	case pb.Effect_EFFECT_NOTHING:
		return "noted, nothing taken away"
	case pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT:
		return "a limit applies"
	case pb.Effect_EFFECT_RESPONDING:
		return "not to respond until put right"
	case pb.Effect_EFFECT_MOVING:
		return "not to be moved"
	}
	return "what it means is not known: the vehicle proves nothing"
}

// clockWords is a time of day at the station; with the day when it is another one.
func clockWords(t, now time.Time, zone *time.Location) string {
	t, now = t.In(zone), now.In(zone)
	if t.YearDay() == now.YearDay() && t.Year() == now.Year() {
		return t.Format("15:04")
	}
	return t.Format("Mon 2 Jan 15:04")
}
