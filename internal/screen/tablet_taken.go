package screen

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// target is the one large thing to be touched while a number is taken.
type target struct {
	Do, Word, Number, Least string
}

// taking is what is being tapped, timed or watched; nil where the number is typed.
func (p pane) taking() *round.Taking { return p.Step.Entry.Taking }

// watching tells that a pressure is watched, so that pressures are typed on the pad.
func (p pane) watching() bool {
	return p.taking() != nil && p.taking().How == pb.ReadingHow_READING_HOW_WATCHED
}

// WatchCut tells that the tablet was started again while a pressure was watched: beside
// the keys there is no room to say so.
func (p pane) WatchCut() bool { return p.watching() && p.taking().Cut }

// Target is what is touched with each flash, to start and to stop; nil when the time
// has been stopped.
func (p pane) Target() *target {
	t := p.taking()
	switch {
	case t.How == pb.ReadingHow_READING_HOW_TAPPED && t.Count < t.Least:
		return &target{"tap", "TAP WITH EACH FLASH", fmt.Sprint(t.Count), fmt.Sprintf("of at least %d", t.Least)}
	case t.How == pb.ReadingHow_READING_HOW_TAPPED:
		return &target{"tap", "TAP WITH EACH FLASH", fmt.Sprint(t.Count), "enough; more taps make it surer"}
	case t.Count == 0:
		return &target{Do: "start", Word: "START"}
	case t.Count == 1:
		return &target{Do: "stop", Word: "STOP"}
	}
	return nil
}

// Running is since when the time runs, with how much has run; nil when none does.
func (p pane) Running() *instantHeld {
	t := p.taking()
	if t == nil || t.Since.IsZero() {
		return nil
	}
	return &instantHeld{t.Since.Add(-p.Lag).UnixMilli(), fmt.Sprintf("%.0f s", p.Now.Sub(t.Since).Seconds())}
}

// LastRead is the pressure read last; empty while there is none but the first.
func (p pane) LastRead() string {
	all := p.taking().Readings
	if len(all) < 2 {
		return ""
	}
	return all[len(all)-1]
}

// ReadAgain tells that the gauge can be read once more.
func (p pane) ReadAgain() bool {
	f := p.ActiveField()
	return f != nil && f.CanAgain
}

// TakeWord offers to take the number after all, instead of typing it.
func (p pane) TakeWord() string {
	for _, part := range p.Step.GetParts() {
		switch part.GetHow() {
		case pb.ReadingHow_READING_HOW_TAPPED:
			return "Tap along instead"
		case pb.ReadingHow_READING_HOW_TIMED:
			return "Time it instead"
		}
	}
	return "Watch the gauge instead"
}

// watchWord is what the key says that takes a pressure, or records.
func (p pane) watchWord() string {
	f := p.ActiveField()
	switch typed := f != nil && f.Text != ""; {
	case typed && p.taking().Count == 0:
		return "START at " + f.Text
	case typed:
		return "TAKE " + f.Text
	case p.taking().Count == 0:
		return "START"
	}
	return "RECORD"
}

// Sentence is words that begin with a capital and end with a full stop.
func (p pane) Sentence(words string) string {
	first, size := utf8.DecodeRuneInString(words)
	return string(unicode.ToUpper(first)) + strings.TrimSuffix(words[size:], ".") + "."
}
