package screen

import (
	"fmt"
	"html/template"
	"strings"
	"time"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// answerTemplate names how the step in the light is answered.
func (p pane) answerTemplate() string {
	if p.Step == nil {
		return ""
	}
	if p.Step.ColdAt != nil {
		return "answer-wait"
	}
	if p.Step.MustTellControl {
		return "answer-control"
	}
	if p.Step.AskKnown {
		return "answer-known"
	}
	if p.taking() != nil && !p.watching() {
		return "answer-taken"
	}
	switch p.Step.Entry.Kind {
	case pb.AnswerKind_ANSWER_KIND_READING, pb.AnswerKind_ANSWER_KIND_PROFILE:
		return "answer-keyed"
	default:
		return "answer-tiled"
	}
}

// ColdAt is when a waiting step can be done; empty when nobody knows.
func (p pane) ColdAt() string {
	if p.Step == nil || p.Step.ColdAt == nil || !p.Step.ColdAt.After(p.Now) {
		return ""
	}
	return p.At(*p.Step.ColdAt)
}

// Assisted tells that the assistant is told something at this step.
func (p pane) Assisted() bool {
	s := p.Step
	return s != nil && !s.Alone && !s.AloneMethod && s.GetAssistantCommand() != ""
}

// Confirming tells that a value waits to be confirmed or read again.
func (p pane) Confirming() bool { return p.Step.Confirm != "" }

// instantHeld is an instant until which a step is held.
type instantHeld struct {
	Millis int64
	Words  string
}

// HeldUntil is the end of the least time of looking; nil when nothing is held.
func (p pane) HeldUntil() *instantHeld {
	if left := p.Step.HeldUntil.Sub(p.Now); !p.Step.HeldUntil.IsZero() && left > 0 {
		return &instantHeld{p.Step.HeldUntil.Add(-p.Lag).UnixMilli(), fmt.Sprintf("%d s", int((left+time.Second-1)/time.Second))}
	}
	return nil
}

// HoldWords say why a step is held.
func (p pane) HoldWords() string {
	if p.HeldUntil() == nil {
		return ""
	}
	return fmt.Sprintf("Must not be missed: look for %s at least. What is rare is overlooked when one is quick.", lasting(time.Duration(p.Step.GetLeastLookS())*time.Second))
}

// EnterWord is what the key that records says.
func (p pane) EnterWord() string {
	s := p.Step
	if p.watching() {
		return p.watchWord()
	}
	if p.taking() != nil {
		return strings.TrimSpace("RECORD " + p.taking().Text)
	}
	if s.Entry.Kind == pb.AnswerKind_ANSWER_KIND_READING || s.Entry.Kind == pb.AnswerKind_ANSWER_KIND_PROFILE {
		if f := p.ActiveField(); f != nil && f.Text != "" && s.Entry.Ready {
			return "ENTER " + f.Text
		}
		if !s.Entry.Ready && len(s.Entry.Fields) > 1 {
			return "NEXT VALUE"
		}
		return "ENTER"
	}
	return "RECORD"
}

// typing is the number being typed.
type typing struct{ round.Field }

// Bounds say what is usual and how finely it is read.
func (f typing) Bounds() string {
	var words []string
	if f.Range != "" {
		words = append(words, "usual "+f.Range)
	}
	if f.Resolution != "" {
		words = append(words, "read to "+f.Resolution)
	}
	return strings.Join(words, " · ")
}

// ActiveField is the number being typed; nil when there is none.
func (p pane) ActiveField() *typing {
	for _, f := range p.Step.Entry.Fields {
		if f.Active {
			return &typing{f}
		}
	}
	return nil
}

// Fields are the values of a reading that has several.
func (p pane) Fields() []round.Field {
	if e := p.Step.Entry; e.Kind == pb.AnswerKind_ANSWER_KIND_READING && len(e.Fields) > 1 {
		return e.Fields
	}
	return nil
}

// Keys is the pad: digits as on a calculator and beside them what else a number
// needs, three rows high.
func (p pane) Keys() []key {
	back := key{Value: "back", Press: "Backspace", Face: "⌫", Name: "Take back the last digit"}
	point := key{Value: ".", Press: ".", Face: ".", Name: "Decimal point"}
	keys := append(digits("7", "8", "9"), back)
	keys = append(append(keys, digits("4", "5", "6")...), point)
	return append(keys, digits("1", "2", "3", "0")...)
}

// Negative tells that a value can lie below nothing, so that a minus is needed.
func (p pane) Negative() bool {
	for _, part := range p.Step.GetParts() {
		if part.GetPossible().GetLeast() < 0 {
			return true
		}
	}
	return false
}

// told is one fault that was chosen, and what it means.
type told struct {
	At, Condition, Text, Meaning string // At: the step
	Verdict                      pb.Verdict
	Affected, Of                 int32
	Less, More                   int32
	Numbers                      []number
}

type number struct {
	N      int32
	Chosen bool
}

// mostNumbers is how many of how many is asked by a row of numbers; beyond it, by
// one less and one more.
const mostNumbers = 4

// ChosenFaults are the faults chosen so far. What is sound means nothing to the
// vehicle and is seen on its tile.
func (p pane) ChosenFaults() []told {
	var faults []told
	for _, c := range p.Step.Entry.Choices {
		if !c.Chosen || c.Condition.GetSound() {
			continue
		}
		of := c.Of
		t := told{
			At: p.Step.GetStepId(), Condition: c.Condition.GetId(), Text: c.Condition.GetText(), Meaning: c.Meaning, Verdict: c.Verdict,
			Affected: c.Affected, Of: of, Less: max(c.Affected-1, 1), More: min(c.Affected+1, of),
		}
		for n := int32(1); of <= mostNumbers && n <= of; n++ {
			t.Numbers = append(t.Numbers, number{n, n == c.Affected})
		}
		faults = append(faults, t)
	}
	return faults
}

// AlsoSeen is what can be seen beside a value.
func (p pane) AlsoSeen() []round.Choice {
	if p.Step.Entry.Kind == pb.AnswerKind_ANSWER_KIND_CONDITION {
		return nil
	}
	return p.Step.Entry.Choices
}

// MoreWord names what else can be given beside the answer.
func (p pane) MoreWord() string {
	var words []string
	if p.Step.CanCure {
		words = append(words, "put right")
	}
	if p.Step.NeedsGauge && p.Step.Gauge != nil {
		words = append(words, "gauge")
	}
	if len(p.AlsoSeen()) > 0 {
		words = append(words, "fault")
	}
	words = append(words, "note", "photo")
	if kept := len(p.Step.Entry.Photos); kept > 0 {
		words[len(words)-1] = counted(kept, "photo")
	}
	const most = 3 // that fit on its control; what is left out is there all the same
	text := strings.Join(words[:min(len(words), most)], ", ")
	return strings.ToUpper(text[:1]) + text[1:]
}

// StepGauges are the gauges that fit the step.
func (p pane) StepGauges() []gaugeChoice {
	if len(p.Step.GetParts()) == 0 {
		return nil
	}
	return p.gaugesFor(p.Step.GetParts()[0].GetQuantity(), p.Step.Gauge.GetName())
}

// levelTile is one of the answers to a level.
type levelTile struct {
	Mark, Fraction, Words string
	Chosen                bool
	Drawing               template.HTML
}

// Levels are the answers to a level: below, five between the marks, above.
func (p pane) Levels() []levelTile {
	e := p.Step.Entry
	if e.Kind != pb.AnswerKind_ANSWER_KIND_LEVEL {
		return nil
	}
	kind := p.levelReading()
	words := [...]string{"below the lower mark", "at the lower mark", "a quarter", "half", "three quarters", "at the upper mark", "above the upper mark"}
	if kind == pb.FluidReading_FLUID_READING_CAB_GAUGE {
		words[0], words[1], words[5], words[6] = "below the empty mark", "at the empty mark", "at the full mark", "above the full mark"
	}
	var tiles []levelTile
	for i, word := range words {
		between := float64(i-1) / 4
		t := levelTile{Mark: "between", Fraction: fmt.Sprint(between), Words: word}
		t.Chosen = e.Mark == pb.LevelMark_LEVEL_MARK_BETWEEN && e.Fraction > between-0.125 && e.Fraction <= between+0.125
		switch i {
		case 0:
			t.Mark, t.Fraction, t.Chosen = "below", "0", e.Mark == pb.LevelMark_LEVEL_MARK_BELOW
		case len(words) - 1:
			t.Mark, t.Fraction, t.Chosen = "above", "1", e.Mark == pb.LevelMark_LEVEL_MARK_ABOVE
		}
		t.Drawing = drawLevel(kind, between)
		tiles = append(tiles, t)
	}
	return tiles
}

// levelReading is how the step's fluid is read on this vehicle.
func (p pane) levelReading() pb.FluidReading {
	if p.Chosen != nil {
		for _, f := range p.Chosen.Configuration.GetFluids() {
			if f.GetKind() == p.Step.GetFluid() && f.GetPlace().GetId() == p.Step.GetPlace().GetId() {
				return f.GetReading()
			}
		}
	}
	return pb.FluidReading_FLUID_READING_UNSPECIFIED
}
