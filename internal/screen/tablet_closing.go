package screen

import (
	"fmt"
	"slices"
	"strings"

	"bayround/internal/round"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// planLegend says what the signs on the plan mean.
const planLegend = "On the plan: ring, open · disc, answered · diamond, something found · crossed ring, not checked · square, waits for a cold engine · ringed dot, asked again after a run."

// stopLines is the open steps of one stop.
type stopLines struct {
	Title string
	Marks []round.Mark
}

// LeftByStop is what is still open, stop by stop, in walking order.
func (p pane) LeftByStop() []stopLines {
	var stops []stopLines
	last := -1
	for _, m := range p.Closing.Left {
		if m.Stop != last || len(stops) == 0 {
			last = m.Stop
			stops = append(stops, stopLines{Title: p.stopTitle(m.Stop)})
		}
		end := &stops[len(stops)-1]
		end.Marks = append(end.Marks, m)
	}
	return stops
}

func (p pane) stopTitle(n int) string {
	if p.Round == nil || n < 0 || n >= len(p.Round.Stops) {
		return "Other steps"
	}
	return p.Round.Stops[n].Title
}

// Answered are the steps with an answer of this round.
func (p pane) Answered() []round.Mark {
	if p.Round == nil {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(p.Round.Marks), func(m round.Mark) bool {
		return m.State != round.MarkAnswered && m.State != round.MarkFault
	})
}

// NoTime is how many open steps a short round has left out.
func (p pane) NoTime() (n int) {
	for _, m := range p.Closing.Left {
		if m.NoTime {
			n++
		}
	}
	return n
}

// WalkWord leads back to the steps, or to those that a short round has left out.
func (p pane) WalkWord() string {
	if n := p.NoTime(); n > 0 && n == len(p.Closing.Left) {
		return "Do the rest"
	}
	return "To the steps"
}

// OverviewTitle says how much is left.
func (p pane) OverviewTitle() string {
	switch left := len(p.Closing.Left); {
	case left == 0 && len(p.Closing.NotChecked) == 0:
		return "Every step is answered"
	case left == 0:
		return "No step is open"
	default:
		return counted(left, "step") + " open"
	}
}

// KnownWords say how much of the round was answered.
func (p pane) KnownWords() string {
	if p.Round == nil {
		return ""
	}
	looked := max(p.Round.Answered-p.Round.NotChecked, 0)
	return fmt.Sprintf("%d of %s were looked at and answered.", looked, counted(len(p.Round.Marks), "step"))
}

// StepCount is how many steps the round has.
func (p pane) StepCount() int {
	if p.Round == nil {
		return 0
	}
	return len(p.Round.Marks)
}

// UnknownCount is how many steps of the round say nothing.
func (p pane) UnknownCount() int {
	return len(p.Closing.NotChecked) + len(p.Closing.Left)
}

// Undone is how many things must still be put back before the vehicle leaves.
func (p pane) Undone() int {
	if p.Turnout == nil {
		return 0
	}
	n := 0
	for _, item := range p.Turnout.Items {
		if !item.Done {
			n++
		}
	}
	return n
}

// defectWords say a defect in one line: grade, what is wrong, how often.
func defectWords(d *pb.Defect) string {
	if len(d.GetFindings()) == 0 {
		return "defect at " + d.GetStepId()
	}
	worst := d.GetFindings()[0]
	words := gradeWord(worst.GetGrade()) + " · " + strings.TrimSuffix(worst.GetText(), ".")
	if n := d.GetTimesFound(); n > 1 {
		words += fmt.Sprintf(" · found %d times", n)
	}
	switch d.GetState() {
	case pb.DefectState_DEFECT_STATE_RECTIFIED:
		words += " · repaired, to be checked"
	case pb.DefectState_DEFECT_STATE_DEFERRED:
		words += " · may wait until " + d.GetDeferral().GetExpiresLocal()
	}
	return words
}

// worstOf is the verdict that a defect alone would give.
func worstOf(d *pb.Defect) pb.Verdict {
	worst := pb.Verdict_VERDICT_FIT
	for _, f := range d.GetFindings() {
		worst = max(worst, verdict.OfEffect(f.GetEffect()))
	}
	return worst
}

// lostWords name the capabilities that are lost now.
func lostWords(r *pb.Readiness) string {
	var lost []string
	for _, c := range r.GetCapabilities() {
		if !c.GetAvailable() {
			lost = append(lost, c.GetCapability())
		}
	}
	return strings.Join(lost, ", ")
}

// markStateWord says what is special about an open step.
func markStateWord(s round.MarkState) string {
	switch s {
	case round.MarkCold:
		return "waits for a cold engine"
	case round.MarkAgain:
		return "asked again after the run"
	}
	return ""
}
