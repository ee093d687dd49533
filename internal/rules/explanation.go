package rules

import (
	"slices"
	"time"

	pb "bayround/proto/bayround/v1"
)

const (
	// mostLines is how many lines an explanation has at most: one screen.
	mostLines = 14
	// mostRead is how many observations of a group are told one by one.
	mostRead = 4
	// mostMade is how many lines tell what was made of one observation.
	mostMade = 4
)

// Reader is for whom an explanation is told. The zero value calls everybody by their
// ids and tells times in UTC.
type Reader struct {
	// People tells what people are called, by name.
	People map[string]*pb.Person
	// Zone is the time zone of the station; nil for UTC.
	Zone *time.Location
}

// account gathers the lines of an explanation.
type account struct {
	judge   *Judge
	reader  Reader
	finding *pb.Finding
	looked  []*pb.Observation
	rule    *compiled // nil when no rule in force made the finding
	lines   []*pb.ExplanationLine
}

// Explain tells how a finding came about, in one screen: what was read, what was
// made of it, what it is worth, which limit applied and why, how sure that is, what
// the history says, what it means and where the rule comes from. looked are the
// observations that the finding looked at, in its order.
func (j *Judge) Explain(f *pb.Finding, looked []*pb.Observation, to Reader) *pb.Explanation {
	a := &account{judge: j, reader: to, finding: f, rule: j.ruleOf(f)}
	for _, o := range looked {
		if o != nil {
			a.looked = append(a.looked, o)
		}
	}
	a.tellRead()
	a.tellMade()
	a.tellWorth()
	a.tellLimit()
	a.tellConfidence()
	a.tellHistory()
	a.tellMeaning()
	a.tellSource()
	return &pb.Explanation{Finding: f, Lines: a.fitting()}
}

// ruleOf finds the rule that made a finding.
func (j *Judge) ruleOf(f *pb.Finding) *compiled {
	p := j.engine.packs[f.GetPack()]
	if p == nil {
		return nil
	}
	i := slices.IndexFunc(p.rules, func(r *compiled) bool { return r.rule.GetId() == f.GetRule() })
	if i < 0 {
		return nil
	}
	return p.rules[i]
}

// say adds a line about all observations, or nothing when there is nothing to say.
func (a *account) say(part pb.ExplanationPart, text string) *pb.ExplanationLine {
	line := &pb.ExplanationLine{Part: part, Text: text}
	if len(a.looked) == 1 {
		line.StepId = a.looked[0].GetStep().GetStepId()
	}
	if text != "" {
		a.lines = append(a.lines, line)
	}
	return line
}

// arrives notes the number that a line arrives at.
func arrives(line *pb.ExplanationLine, x float64, unit string) {
	if isFinite(x) {
		line.Number, line.Unit = &x, unit
	}
}

// dispensable are the parts that give way, in this order, where a screen is too
// small; never changed.
var dispensable = []pb.ExplanationPart{
	pb.ExplanationPart_EXPLANATION_PART_HISTORY, pb.ExplanationPart_EXPLANATION_PART_MADE,
	pb.ExplanationPart_EXPLANATION_PART_READ, pb.ExplanationPart_EXPLANATION_PART_UNCERTAINTY,
}

// fitting are the lines that fit on a screen: of each part that has several, the
// last ones give way first.
func (a *account) fitting() []*pb.ExplanationLine {
	lines := a.lines
	for _, part := range dispensable {
		for len(lines) > mostLines {
			first := slices.IndexFunc(lines, func(l *pb.ExplanationLine) bool { return l.GetPart() == part })
			last := first
			for last >= 0 && last+1 < len(lines) && lines[last+1].GetPart() == part {
				last++
			}
			if first == last {
				break
			}
			lines = slices.Delete(lines, last, last+1)
		}
	}
	return lines
}
