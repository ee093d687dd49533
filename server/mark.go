package main

import (
	"fmt"

	pb "bayround/proto/bayround/v1"
)

// mark is how a verdict is shown: an outline that tells it apart without colour,
// a word, and where there is colour one of the terminal's own.
type mark struct {
	shape  string
	word   string
	colour string // SGR parameters
}

// markOf is the mark of a verdict. The outlines are those of the screens, in
// plain characters: a rectangle with an arrow up, a triangle, a disc with an
// arrow aside, a disc with a bar, a dashed outline with a question.
func markOf(v pb.Verdict) mark {
	switch v {
	case pb.Verdict_VERDICT_FIT:
		return mark{"[^]", "FIT TO RESPOND", "32"}
	case pb.Verdict_VERDICT_RESTRICTED:
		return mark{`/!\`, "FIT WITH LIMITS", "33"}
	case pb.Verdict_VERDICT_MOVE_ONLY:
		return mark{"(>)", "MOVE ONLY – NOT TO RESPOND", "34"}
	case pb.Verdict_VERDICT_UNFIT:
		return mark{"(-)", "DO NOT MOVE", "31"}
	default:
		return mark{": ?", "NOT PROVEN", "1"}
	}
}

// words is the word of a readiness: what is open is counted.
func (m mark) words(r *pb.Readiness) string {
	for _, reason := range r.GetReasons() {
		if open := len(reason.GetUnproven().GetSteps()); open > 0 && r.GetVerdict() == pb.Verdict_VERDICT_UNPROVEN {
			return fmt.Sprintf("%s – %s open", m.word, count(open, "item"))
		}
	}
	return m.word
}

// paint colours a text, when colour may be used.
func (m mark) paint(text string, colourful bool) string {
	if !colourful {
		return text
	}
	return "\x1b[" + m.colour + "m" + text + "\x1b[0m"
}

// count is a number with its noun.
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
