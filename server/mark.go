package main

import (
	"fmt"

	"bayround/internal/command"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// mark is how a verdict is shown beside its words: an outline that tells it apart
// without colour, and where there is colour one of the terminal's own.
type mark struct {
	shape  string
	colour string // SGR parameters
}

// markOf is the mark of a verdict. The outlines are those of the screens, in
// plain characters: a rectangle with an arrow up, a triangle, a disc with an
// arrow aside, a disc with a bar, a dashed outline with a question.
func markOf(v pb.Verdict) mark {
	switch v {
	case pb.Verdict_VERDICT_FIT:
		return mark{"[^]", "32"}
	case pb.Verdict_VERDICT_RESTRICTED:
		return mark{`/!\`, "33"}
	case pb.Verdict_VERDICT_MOVE_ONLY:
		return mark{"(>)", "34"}
	case pb.Verdict_VERDICT_UNFIT:
		return mark{"(-)", "31"}
	default:
		return mark{": ?", "1"}
	}
}

// wordsOf is the verdict of a readiness in words: what is open is counted.
func wordsOf(r *pb.Readiness) string { return verdict.OneLine(verdict.Said(r)) }

// paint colours a text, when colour may be used.
func (m mark) paint(text string, colourful bool) command.Painted {
	if !colourful {
		return command.Painted(text)
	}
	return command.Painted("\x1b[" + m.colour + "m" + text + "\x1b[0m")
}

// count is a number with its noun.
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
