package roundrecord

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// Recorded is what was recorded, in words, every number as it was typed.
func (row Row) Recorded() string {
	var words []string
	switch a := row.Result.GetAnswer().(type) {
	case *pb.Result_Reading:
		for _, v := range a.Reading.GetValues() {
			words = append(words, row.valueWords(v))
		}
	case *pb.Result_Profile:
		for _, section := range a.Profile.GetSections() {
			var depths []string
			for _, point := range section.GetPoints() {
				depths = append(depths, number(point.GetAsTyped()))
			}
			words = append(words, "from the outer to the inner shoulder "+withUnit(strings.Join(depths, ", "), a.Profile.GetUnit()))
		}
	case *pb.Result_Level:
		words = append(words, levelWords(a.Level))
	case *pb.Result_Seen:
		for _, c := range a.Seen.GetConditions() {
			words = append(words, row.seenWords(c))
		}
	case *pb.Result_NotChecked:
		words = append(words, "not checked: "+ReasonWords(a.NotChecked.GetReason()))
	}
	for _, c := range row.Result.GetAlsoSeen() {
		words = append(words, "also seen: "+row.seenWords(c))
	}
	return strings.Join(words, "; ")
}

// valueWords is a value with its unit, every time it was read, and with its name
// where a step asks for several.
func (row Row) valueWords(v *pb.Value) string {
	numbers := []string{number(v.GetAsTyped())}
	for _, again := range v.GetAgain() {
		numbers = append(numbers, number(again))
	}
	words := withUnit(strings.Join(numbers, " and "), v.GetUnit())
	if len(row.Result.GetReading().GetValues()) < 2 {
		return words
	}
	name := strings.ReplaceAll(v.GetPart(), "_", " ")
	for _, part := range row.Step.GetParts() {
		if part.GetId() == v.GetPart() {
			name = part.GetTitle()
		}
	}
	return name + " " + words
}

func (row Row) seenWords(c *pb.ConditionSeen) string {
	text := c.GetCondition()
	for _, known := range row.Step.GetConditions() {
		if known.GetId() == c.GetCondition() {
			text = known.GetText()
		}
	}
	if n := c.GetCount(); n != nil {
		text += fmt.Sprintf(" (%d of %d)", n.GetAffected(), n.GetOf())
	}
	return text
}

// Outcome is what an answer came to, in words: never empty, so that nothing found is
// said and not left out.
func (row Row) Outcome() string {
	var words []string
	worstFirst := func(a, b *pb.Finding) int { return cmp.Compare(b.GetGrade(), a.GetGrade()) }
	for _, f := range slices.SortedStableFunc(slices.Values(row.Findings), worstFirst) {
		words = append(words, strings.ToUpper(rules.GradeWords(f.GetGrade())))
	}
	switch {
	case row.Result.GetNotChecked() != nil:
		return "NOT CHECKED"
	case len(words) > 0:
		return "FOUND: " + strings.Join(compact(words), ", ")
	}
	return "No defect found"
}

// Title is the step's name, and its place as far as the name does not say it.
func (row Row) Title() string { return StepTitle(row.Step) }

// Cured is what was done before this answer; empty when nothing was.
func (row Row) Cured() string {
	cure := row.Result.GetCure()
	if cure.GetAmount() == 0 {
		return cure.GetDone()
	}
	return cure.GetDone() + ", " + withUnit(number(cure.GetAmount()), cure.GetUnit())
}

// StepTitle is a step's name, and its place as far as the name does not say it; its
// id when nothing else is known of it.
func StepTitle(step *pb.CheckStep) string {
	title := step.GetTitle()
	if title == "" {
		return step.GetStepId()
	}
	for part := range strings.SplitSeq(step.GetPlace().GetTitle(), ", ") {
		if part != "" && !strings.Contains(strings.ToLower(title), strings.ToLower(part)) {
			title += ", " + part
		}
	}
	return title
}

// ReasonWords is why nobody looked.
func ReasonWords(r pb.NotCheckedReason) string {
	switch r {
	case pb.NotCheckedReason_NOT_CHECKED_REASON_TURNOUT:
		return "a turnout came first"
	case pb.NotCheckedReason_NOT_CHECKED_REASON_ENGINE_WARM:
		return "the engine was warm"
	case pb.NotCheckedReason_NOT_CHECKED_REASON_NO_ASSISTANT:
		return "nobody was free to assist"
	case pb.NotCheckedReason_NOT_CHECKED_REASON_NO_GAUGE:
		return "no gauge, or none in date"
	case pb.NotCheckedReason_NOT_CHECKED_REASON_NOT_REACHABLE:
		return "could not be reached or seen"
	case pb.NotCheckedReason_NOT_CHECKED_REASON_NOT_CARRIED:
		return "not carried or not fitted that day"
	case pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME:
		return "no time"
	case pb.NotCheckedReason_NOT_CHECKED_REASON_OTHER:
		return "another reason, in the note"
	}
	return "no reason given"
}

// StateWords is where a round stands.
func StateWords(s pb.RoundState) string {
	switch s {
	case pb.RoundState_ROUND_STATE_OPEN:
		return "open"
	case pb.RoundState_ROUND_STATE_PAUSED:
		return "paused"
	case pb.RoundState_ROUND_STATE_FINISHED:
		return "finished"
	case pb.RoundState_ROUND_STATE_GIVEN_UP:
		return "given up"
	}
	return "not known"
}

// SourceWords is where a rule comes from, and how sure that is.
func SourceWords(s *pb.Source) string {
	if s.GetTitle() == "" {
		return "the rule names no source"
	}
	words := s.GetTitle()
	if s.GetClause() != "" {
		words += ", " + s.GetClause()
	}
	if status := rules.StatusWords(s.GetStatus()); status != "" {
		words += " (" + status + ")"
	}
	return words
}

func levelWords(l *pb.Level) string {
	switch l.GetMark() {
	case pb.LevelMark_LEVEL_MARK_BELOW:
		return "below the lower mark"
	case pb.LevelMark_LEVEL_MARK_ABOVE:
		return "above the upper mark"
	case pb.LevelMark_LEVEL_MARK_BETWEEN:
		return fmt.Sprintf("between the marks, %.0f %% of the way up", l.GetFraction()*100)
	}
	return "no level"
}

// number is a number as it was typed, but for zeros at the end.
func number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

func withUnit(words, unit string) string {
	switch unit {
	case "", "1":
		return words
	case "degC":
		unit = "°C"
	case "degF":
		unit = "°F"
	}
	return words + " " + unit
}

// compact drops what stands there already.
func compact(words []string) (each []string) {
	there := map[string]bool{}
	for _, word := range words {
		if !there[word] {
			there[word] = true
			each = append(each, word)
		}
	}
	return each
}
