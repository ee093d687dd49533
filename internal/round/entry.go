package round

import (
	"cmp"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// draft is the answer being made: what was typed and touched, and nothing else.
// The session file keeps it. Its functions change a copy.
type draft struct {
	Texts    map[string]string `json:"texts,omitempty"` // numbers as typed, by field
	Active   string            `json:"active,omitempty"`
	Section  int               `json:"section,omitempty"` // of a profile, from 1; 0 = the first
	Grooves  int               `json:"grooves,omitempty"` // of the tyre; 0 = as many as are usual
	Mark     pb.LevelMark      `json:"mark,omitempty"`
	Fraction float64           `json:"fraction,omitempty"`
	Seen     []seen            `json:"seen,omitempty"` // in the order they were touched
	Note     string            `json:"note,omitempty"`
	Proof    string            `json:"proof,omitempty"`
	Photos   []string          `json:"photos,omitempty"`
	Alone    bool              `json:"alone,omitempty"` // by the method for one person
	Left     left              `json:"left,omitempty"`
	Compared compared          `json:"compared,omitempty"` // with what was open here; empty while nothing was said

	Again []string `json:"again,omitempty"` // what a gauge showed before it was read again, as typed

	ByHand bool      `json:"by_hand,omitempty"` // the number is typed where it could be tapped, timed or watched
	Taken  []instant `json:"taken,omitempty"`
	Keyed  time.Time `json:"keyed,omitzero"` // when the first key of the pressure being typed was touched
	Cut    bool      `json:"cut,omitempty"`  // the tablet was started again while it was being taken
}

// left is how a place is left that was undone to look at it. Written out: the
// session file keeps it.
type left int

const (
	leftUnsaid  left = 0
	leftPutBack left = 1
	leftOpen    left = 2
)

// leftAsked is from which undo time on it is asked how a place is left, in seconds:
// what takes less nobody leaves.
const leftAsked = 15

// seen is one condition that was touched.
type seen struct {
	Condition string `json:"condition"`
	Affected  int32  `json:"affected,omitempty"` // 0 when not counted
}

// Limits of what is typed.
const (
	longestNumber = 9 // characters
	longestNote   = 1000
	longestProof  = 40
	mostPhotos    = 6
	mostSections  = 3 // places round a tyre
	usualGrooves  = 4 // of a tyre: a depth in each, evenly spread from the outer edge to the inner
	fewestGrooves = 2
	mostGrooves   = 12
)

func (d draft) clone() draft {
	d.Texts, d.Seen, d.Photos = maps.Clone(d.Texts), slices.Clone(d.Seen), slices.Clone(d.Photos)
	d.Taken, d.Again = slices.Clip(d.Taken), slices.Clip(d.Again)
	if d.Texts == nil {
		d.Texts = map[string]string{}
	}
	return d
}

// section is the place round the tyre that is being typed, from 1.
func (d draft) section() int { return max(d.Section, 1) }

// grooves is how many grooves the tyre has.
func (d draft) grooves() int { return cmp.Or(d.Grooves, usualGrooves) }

// withGrooves says how many grooves the tyre has. It has them all round: what was
// typed of one that is not there is forgotten at every place.
func (d draft) withGrooves(step *pb.CheckStep, n int) (draft, error) {
	if step.GetAnswerKind() != pb.AnswerKind_ANSWER_KIND_PROFILE || n < fewestGrooves || n > mostGrooves {
		return d, fault.New(fault.Invalid, "GROOVES_WRONG", "a tyre has %d to %d grooves", fewestGrooves, mostGrooves)
	}
	d = d.clone()
	d.Grooves, d.Active = n, ""
	for section := 1; section <= mostSections; section++ {
		kept := d.fieldIDs(step, section)
		maps.DeleteFunc(d.Texts, func(id, _ string) bool {
			return strings.HasPrefix(id, strconv.Itoa(section)+"-") && !slices.Contains(kept, id)
		})
	}
	return d, nil
}

// fieldIDs are the numbers that a step asks for; of a profile those of one section.
func (d draft) fieldIDs(step *pb.CheckStep, section int) []string {
	if how := d.taking(step); how == tapped || how == timed {
		return nil
	}
	switch step.GetAnswerKind() {
	case pb.AnswerKind_ANSWER_KIND_READING:
		ids := make([]string, len(step.GetParts()))
		for i, p := range step.GetParts() {
			ids[i] = p.GetId()
		}
		return ids
	case pb.AnswerKind_ANSWER_KIND_PROFILE:
		ids := make([]string, d.grooves())
		for i := range ids {
			ids[i] = strconv.Itoa(section) + "-" + strconv.Itoa(i+1)
		}
		return ids
	}
	return nil
}

// active is the field that keys go to: the one touched, or the first that is
// still empty, or the last.
func (d draft) active(step *pb.CheckStep) string {
	ids := d.fieldIDs(step, d.section())
	if slices.Contains(ids, d.Active) {
		return d.Active
	}
	for _, id := range ids {
		if d.Texts[id] == "" {
			return id
		}
	}
	if len(ids) == 0 {
		return ""
	}
	return ids[len(ids)-1]
}

// withField touches a field.
func (d draft) withField(step *pb.CheckStep, id string) (draft, error) {
	if !slices.Contains(d.fieldIDs(step, d.section()), id) {
		return d, fault.New(fault.Invalid, "FIELD_UNKNOWN", "there is no field %q at this step", id)
	}
	d = d.clone()
	d.Active = id
	return d, nil
}

// withKey presses one key of the number pad.
func (d draft) withKey(step *pb.CheckStep, key string) (draft, error) {
	id := d.active(step)
	if id == "" {
		return d, fault.New(fault.Invalid, "FIELD_UNKNOWN", "this step asks for no number")
	}
	text, ok := pressed(d.Texts[id], key)
	if !ok {
		return d, fault.New(fault.Invalid, "KEY_UNKNOWN", "there is no key %q", key)
	}
	d = d.clone()
	d.Active = id
	switch n := len(d.Again); {
	case key == "clear":
		d.Again = nil
	case key == "back" && d.Texts[id] == "" && n > 0: // to mend what was read before
		text, d.Again = d.Again[n-1], d.Again[:n-1]
	}
	d.Texts[id] = text
	if text == "" {
		delete(d.Texts, id)
	}
	return d, nil
}

// pressed is a number as typed after one more key. A key that makes no number of
// it changes nothing; false for what is no key.
func pressed(text, key string) (string, bool) {
	switch {
	case key == "clear":
		return "", true
	case key == "back":
		return text[:max(len(text)-1, 0)], true
	case key == "-":
		if after, negative := strings.CutPrefix(text, "-"); negative {
			return after, true
		}
		return "-" + text, true
	case key == ".":
		if strings.Contains(text, ".") {
			return text, true
		}
	case len(key) != 1 || key[0] < '0' || key[0] > '9':
		return text, false
	}
	if len(text) >= longestNumber {
		return text, true
	}
	return text + key, true
}

// number reads a number as typed; false while it is none yet.
func number(text string) (float64, bool) {
	digits := strings.TrimPrefix(text, "-")
	whole, part, pointed := strings.Cut(digits, ".")
	if whole+part == "" || pointed && part == "" || strings.Trim(whole+part, "0123456789") != "" {
		return 0, false
	}
	x, err := strconv.ParseFloat(text, 64)
	return x, err == nil
}

// withSection turns to another place round the tyre.
func (d draft) withSection(step *pb.CheckStep, n int) (draft, error) {
	if step.GetAnswerKind() != pb.AnswerKind_ANSWER_KIND_PROFILE || n < 1 || n > mostSections {
		return d, fault.New(fault.Invalid, "SECTION_UNKNOWN", "there are places 1 to %d round a tyre", mostSections)
	}
	d = d.clone()
	d.Section, d.Active = n, ""
	return d, nil
}

// withLevel sets the level; the fraction counts between the marks alone.
func (d draft) withLevel(step *pb.CheckStep, mark pb.LevelMark, fraction float64) (draft, error) {
	if step.GetAnswerKind() != pb.AnswerKind_ANSWER_KIND_LEVEL || mark == pb.LevelMark_LEVEL_MARK_UNSPECIFIED {
		return d, fault.New(fault.Invalid, "LEVEL_UNKNOWN", "a level is below, between or above the marks")
	}
	if !(fraction >= 0 && fraction <= 1) {
		return d, fault.New(fault.Invalid, "LEVEL_UNKNOWN", "between the marks a level is a share from 0 to 1")
	}
	d = d.clone()
	d.Mark, d.Fraction = mark, 0
	if mark == pb.LevelMark_LEVEL_MARK_BETWEEN {
		d.Fraction = fraction
	}
	return d, nil
}

// withSeen touches a condition, or takes the touch back. What is sound stands alone.
func (d draft) withSeen(step *pb.CheckStep, id string) (draft, error) {
	touched := conditionOf(step, id)
	if touched == nil {
		return d, fault.New(fault.Invalid, "CONDITION_UNKNOWN", "there is no condition %q at this step", id)
	}
	d = d.clone()
	if i := d.seenAt(id); i >= 0 {
		d.Seen = slices.Delete(d.Seen, i, i+1)
		return d, nil
	}
	d.Seen = slices.DeleteFunc(d.Seen, func(s seen) bool {
		return touched.GetSound() || conditionOf(step, s.Condition).GetSound()
	})
	d.Seen = append(d.Seen, seen{Condition: id})
	return d, nil
}

// withCount says how many show a condition that was touched.
func (d draft) withCount(step *pb.CheckStep, id string, affected int32) (draft, error) {
	i := d.seenAt(id)
	switch alike := step.GetAlike(); {
	case i < 0 || conditionOf(step, id).GetSound():
		return d, fault.New(fault.Precondition, "COUNT_OF_NOTHING", "say first what was seen, then how many show it")
	case affected < 1 || affected > max(alike, 1):
		return d, fault.New(fault.Invalid, "COUNT_WRONG", "between 1 and %d can show it", max(alike, 1))
	}
	d = d.clone()
	d.Seen[i].Affected = affected
	return d, nil
}

func (d draft) seenAt(id string) int {
	return slices.IndexFunc(d.Seen, func(s seen) bool { return s.Condition == id })
}

func conditionOf(step *pb.CheckStep, id string) *pb.Condition {
	i := slices.IndexFunc(step.GetConditions(), func(c *pb.Condition) bool { return c.GetId() == id })
	if i < 0 {
		return nil
	}
	return step.GetConditions()[i]
}
