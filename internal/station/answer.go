package station

import (
	"fmt"
	"slices"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// invalid is a refusal of one field of a result.
func invalid(reason, path, format string, args ...any) *fault.Fault {
	f := fault.New(fault.Invalid, reason, format, args...)
	return f.At(path, "%s", f.Message)
}

// answerKind says what kind of answer a result gives; unspecified for "not
// checked" and for none.
func answerKind(r *pb.Result) pb.AnswerKind {
	switch r.GetAnswer().(type) {
	case *pb.Result_Reading:
		return pb.AnswerKind_ANSWER_KIND_READING
	case *pb.Result_Profile:
		return pb.AnswerKind_ANSWER_KIND_PROFILE
	case *pb.Result_Level:
		return pb.AnswerKind_ANSWER_KIND_LEVEL
	case *pb.Result_Seen:
		return pb.AnswerKind_ANSWER_KIND_CONDITION
	}
	return pb.AnswerKind_ANSWER_KIND_UNSPECIFIED
}

// kindWords are the words for a kind of answer.
func kindWords(k pb.AnswerKind) string {
	switch k {
	case pb.AnswerKind_ANSWER_KIND_READING:
		return "a reading"
	case pb.AnswerKind_ANSWER_KIND_PROFILE:
		return "a tread profile"
	case pb.AnswerKind_ANSWER_KIND_LEVEL:
		return "a level"
	case pb.AnswerKind_ANSWER_KIND_CONDITION:
		return "the conditions seen"
	}
	return "no answer"
}

// checkAnswer makes sure that a result answers the step, and fills in its
// values in the units they are kept in. The result is changed; after an error
// it is of no more use.
func checkAnswer(s *pb.CheckStep, r *pb.Result) error {
	if r.GetNotChecked() != nil {
		return checkNotChecked(r)
	}
	if kind := answerKind(r); kind != s.GetAnswerKind() {
		return invalid("ANSWER_KIND_WRONG", "result.answer", "%s asks for %s, not for %s", s.GetStepId(), kindWords(s.GetAnswerKind()), kindWords(kind))
	}
	if err := checkAlsoSeen(s, r); err != nil {
		return err
	}
	switch answer := r.GetAnswer().(type) {
	case *pb.Result_Reading:
		return checkReading(s, answer.Reading, r.GetConfirmed())
	case *pb.Result_Profile:
		return checkProfile(s, answer.Profile, r.GetConfirmed())
	case *pb.Result_Level:
		return checkLevel(answer.Level)
	case *pb.Result_Seen:
		return checkConditions(s, answer.Seen.GetConditions(), "result.seen.conditions")
	}
	return nil
}

// checkAlsoSeen makes sure that faults beside a value are the step's own, and
// that they stand beside a value.
func checkAlsoSeen(s *pb.CheckStep, r *pb.Result) error {
	if len(r.GetAlsoSeen()) > 0 && r.GetSeen() != nil {
		return invalid("ALSO_SEEN_WITHOUT_VALUE", "result.also_seen", "%s asks for the conditions seen; give all of them in seen", s.GetStepId())
	}
	for i, c := range r.GetAlsoSeen() {
		condition := conditionOf(s, c.GetCondition())
		if condition.GetSound() {
			return invalid("SOUND_AND_FAULTY", fmt.Sprintf("result.also_seen[%d].condition", i), "beside a value only faults are given; leave sound away")
		}
	}
	return checkConditions(s, r.GetAlsoSeen(), "result.also_seen")
}

func checkNotChecked(r *pb.Result) error {
	switch {
	case r.GetNotChecked().GetReason() == pb.NotCheckedReason_NOT_CHECKED_REASON_OTHER && r.GetNote() == "":
		return invalid("NOTE_MISSING", "result.note", "say in the note why it was not checked, or choose one of the reasons")
	case r.GetCure() != nil:
		return invalid("CURE_WITHOUT_LOOK", "result.cure", "what was put right must be looked at again; record what was seen then")
	case len(r.GetAlsoSeen()) > 0:
		return invalid("ALSO_SEEN_WITHOUT_VALUE", "result.also_seen", "what is not checked shows no fault; give the value and the faults, or the reason alone")
	case r.GetGauge() != "":
		return invalid("GAUGE_WITHOUT_READING", "result.gauge", "no gauge is used where nothing is checked; leave it empty")
	}
	return nil
}

func checkLevel(l *pb.Level) error {
	if l.GetMark() != pb.LevelMark_LEVEL_MARK_BETWEEN && l.GetFraction() != 0 {
		return invalid("FRACTION_OUTSIDE_MARKS", "result.level.fraction", "a level that is not between the marks has no share of the way between them; leave the fraction 0")
	}
	return nil
}

// checkConditions makes sure that conditions are the step's own, that sound
// stands alone, and that counts fit. list is where they stand in the request.
func checkConditions(s *pb.CheckStep, seen []*pb.ConditionSeen, list string) error {
	known := map[string]bool{}
	for i, c := range seen {
		path := fmt.Sprintf("%s[%d]", list, i)
		condition := conditionOf(s, c.GetCondition())
		switch {
		case condition == nil:
			return invalid("CONDITION_UNKNOWN", path+".condition", "%s has no condition %q; it has %s", s.GetStepId(), c.GetCondition(), conditionWords(s))
		case known[c.GetCondition()]:
			return invalid("CONDITION_TWICE", path+".condition", "condition %q is given twice; give it once, with how many show it", c.GetCondition())
		case condition.GetSound() && len(seen) > 1:
			return invalid("SOUND_AND_FAULTY", path+".condition", "sound cannot stand beside a fault; give the faults alone, or sound alone")
		}
		known[c.GetCondition()] = true
		if err := checkCount(s, condition, c.GetCount(), path+".count"); err != nil {
			return err
		}
	}
	return nil
}

func conditionOf(s *pb.CheckStep, id string) *pb.Condition {
	i := slices.IndexFunc(s.GetConditions(), func(c *pb.Condition) bool { return c.GetId() == id })
	if i < 0 {
		return nil
	}
	return s.GetConditions()[i]
}

func conditionWords(s *pb.CheckStep) string {
	if len(s.GetConditions()) == 0 {
		return "none"
	}
	ids := make([]string, len(s.GetConditions()))
	for i, c := range s.GetConditions() {
		ids[i] = c.GetId()
	}
	return quoted(ids)
}

func checkCount(s *pb.CheckStep, condition *pb.Condition, n *pb.Count, path string) error {
	alike := max(s.GetAlike(), 1)
	switch {
	case n == nil:
		return nil
	case n.GetOf() > alike:
		return invalid("COUNT_TOO_GREAT", path+".of", "there are %d at this step, not %d", alike, n.GetOf())
	case n.GetAffected() > n.GetOf():
		return invalid("COUNT_TOO_GREAT", path+".affected", "no more than %d of %d can show it", n.GetOf(), n.GetOf())
	case condition.GetSound() && n.GetAffected() > 0:
		return invalid("COUNT_OF_SOUND", path+".affected", "sound affects none; leave the count away")
	case !condition.GetSound() && n.GetAffected() == 0:
		return invalid("COUNT_ZERO", path+".affected", "a fault that none shows was not seen; count at least 1, or give sound")
	}
	return nil
}

// fits tells whether an answer given earlier still answers a step.
func fits(s *pb.CheckStep, r *pb.Result) bool {
	if answerKind(r) != s.GetAnswerKind() || !knowsAll(s, r.GetAlsoSeen()) {
		return false
	}
	switch answer := r.GetAnswer().(type) {
	case *pb.Result_Reading:
		return sameParts(s.GetParts(), answer.Reading.GetValues())
	case *pb.Result_Seen:
		return knowsAll(s, answer.Seen.GetConditions())
	}
	return true
}

// knowsAll tells that a step still has all conditions that were seen.
func knowsAll(s *pb.CheckStep, seen []*pb.ConditionSeen) bool {
	return !slices.ContainsFunc(seen, func(c *pb.ConditionSeen) bool { return conditionOf(s, c.GetCondition()) == nil })
}

// sameParts tells that values are given for exactly the parts, in any order.
func sameParts(parts []*pb.ReadingPart, values []*pb.Value) bool {
	if len(parts) != len(values) {
		return false
	}
	for _, p := range parts {
		if !slices.ContainsFunc(values, func(v *pb.Value) bool { return v.GetPart() == p.GetId() }) {
			return false
		}
	}
	return true
}
