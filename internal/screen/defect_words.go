package screen

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"

	"google.golang.org/protobuf/types/known/timestamppb"
)

// lifeLine is one thing that happened to a defect.
type lifeLine struct {
	At    time.Time
	When  string
	Words string
}

// LapseWords warn that the deferral of a defect is about to end, and what comes then.
func (p pane) LapseWords(d *pb.Defect) string {
	return "MAY WAIT UNTIL " + p.Since(d.GetDeferral().GetExpires()) + " ONLY: " + said(whatWords(d)) + ". Then " + effectWords(d.GetDeferral().GetWhenOver()) + "."
}

// named is what a person is called; somebody that this tablet does not know has no name here.
func (p pane) named(person string) string {
	for _, who := range p.People {
		if who.GetName() == person && who.GetTitle() != "" {
			return who.GetTitle()
		}
	}
	if person == "" {
		return "nobody said who"
	}
	return "somebody who is not on this tablet’s list"
}

// Life is what happened to a defect, oldest first: its earlier lives, and the present one.
func (p pane) Life(d *pb.Defect) (lines []lifeLine) {
	add := func(at *timestamppb.Timestamp, format string, with ...any) {
		if at != nil {
			lines = append(lines, lifeLine{At: at.AsTime(), When: p.Since(at), Words: fmt.Sprintf(format, with...)})
		}
	}
	for _, life := range slices.Backward(d.GetEarlier()) {
		add(life.GetFirstFound(), "Found, in an earlier life.")
		add(life.GetRepair().GetStationTime(), "%s", p.repairWords(life.GetRepair()))
		if life.GetClosed() == nil {
			add(life.GetRepair().GetStationTime(), "That repair did not hold.")
		}
		add(life.GetClosed(), "Found sound and closed; it has come back since.")
	}
	if stop := d.GetStop(); stop != nil {
		add(stop.GetStationTime(), "%s stopped the vehicle: %s.", p.named(stop.GetPerson()), said(stop.GetReason()))
	} else {
		add(d.GetFirstFound(), "Found by %s.", p.named(d.GetFoundBy()))
	}
	if d.GetTimesFound() > 1 {
		add(d.GetLastFound(), "Found again, %d times by now.", d.GetTimesFound())
	}
	answer := d.GetAcknowledgement()
	if answer.GetFirst().AsTime().Before(answer.GetStationTime().AsTime()) {
		add(answer.GetFirst(), "First answered by the workshop.")
	}
	add(answer.GetStationTime(), "%s", p.plannedWords(answer))
	p.deferralLife(d.GetDeferral(), add)
	add(d.GetRepair().GetStationTime(), "%s", p.repairWords(d.GetRepair()))
	if release := d.GetRelease(); release != nil {
		add(release.GetStationTime(), "Released by %s, who checked again: %s.", p.named(release.GetPerson()), said(release.GetChecked()))
	} else {
		add(d.GetClosed(), "%s", p.closedWords(d))
	}
	slices.SortStableFunc(lines, func(a, b lifeLine) int { return a.At.Compare(b.At) })
	return lines
}

func (p pane) deferralLife(decided *pb.Deferral, add func(*timestamppb.Timestamp, string, ...any)) {
	if decided == nil {
		return
	}
	extended := ""
	if n := decided.GetExtensions(); n > 0 {
		extended = " Its interval was extended " + times(n) + "."
	}
	add(decided.GetStationTime(), "%s let it wait until %s%s. %s%s", p.named(decided.GetPerson()), p.Since(decided.GetExpires()), limitWords(decided), p.Sentence(decided.GetReason()), extended)
	switch {
	case decided.GetEnded() != nil && decided.GetEndedBy() != "":
		add(decided.GetEnded(), "%s ended that: %s.", p.named(decided.GetEndedBy()), said(decided.GetEndedBecause()))
	case decided.GetEnded() != nil:
		add(decided.GetEnded(), "That ended: %s.", said(decided.GetEndedBecause()))
	case !decided.GetExpires().AsTime().After(p.Now):
		add(decided.GetExpires(), "It waits no longer: the time it was given is over.")
	}
}

// limitWords are the limits under which a defect waits, led by a comma; empty for none.
func limitWords(decided *pb.Deferral) string {
	var limits []string
	for _, limit := range decided.GetRestrictions() {
		limits = append(limits, said(limit.GetText()))
	}
	if len(limits) == 0 {
		return ""
	}
	return ", under: " + strings.Join(limits, "; ")
}

func (p pane) plannedWords(answer *pb.Acknowledgement) string {
	words := fmt.Sprintf("%s of the workshop: expected by %s.", p.named(answer.GetPerson()), p.Since(answer.GetPlanned()))
	if note := answer.GetNote(); note != "" {
		words += " " + p.Sentence(note)
	}
	return words
}

func (p pane) repairWords(r *pb.Repair) string {
	words := fmt.Sprintf("Repaired by %s: %s.", p.named(r.GetPerson()), said(r.GetDone()))
	if by := r.GetDoneBy(); by != "" {
		words = fmt.Sprintf("Repaired by %s, recorded by %s: %s.", by, p.named(r.GetPerson()), said(r.GetDone()))
	}
	if parts := r.GetParts(); len(parts) > 0 {
		words += " Fitted: " + strings.Join(parts, ", ") + "."
	}
	return words
}

func (p pane) closedWords(d *pb.Defect) string {
	if by := d.GetClosedBy(); by != "" {
		return "Found sound by " + p.named(by) + " and closed."
	}
	return "Closed; who looked is not known on this tablet."
}

// said is a text that somebody typed, without the stop at its end.
func said(text string) string { return strings.TrimRight(strings.TrimSpace(text), ".") }

// answerRow is what its reporter reads of a defect.
type answerRow struct {
	round.Answer
	Outcome string     // where it stands, in a few words
	Lines   []lifeLine // what happened, since it was found
}

// What is the defect in one line: how serious, and what is wrong.
func (a answerRow) What() string { return whatWords(a.Defect) }

// whatWords say how serious a defect is and what is wrong.
func whatWords(d *pb.Defect) string {
	f := firstFinding(d)
	if f == nil {
		return "defect at " + d.GetStepId()
	}
	return gradeWord(f.GetGrade()) + " · " + said(f.GetText())
}

// AnswerRows are the answers as they are read.
func (p pane) AnswerRows() (rows []answerRow) {
	for _, a := range p.Answers.All {
		rows = append(rows, answerRow{a, p.Outcome(a.Defect), p.Life(a.Defect)})
	}
	return rows
}

// Outcome says where a defect stands.
func (p pane) Outcome(d *pb.Defect) string {
	found := instant(d.GetFirstFound())
	switch d.GetState() {
	case pb.DefectState_DEFECT_STATE_CLOSED:
		return "Put right and closed."
	case pb.DefectState_DEFECT_STATE_RECTIFIED:
		return "Repaired. It waits to be checked again."
	case pb.DefectState_DEFECT_STATE_DEFERRED:
		return "It may wait until " + p.Since(d.GetDeferral().GetExpires()) + limitWords(d.GetDeferral()) + "."
	case pb.DefectState_DEFECT_STATE_ACKNOWLEDGED:
		planned := instant(d.GetAcknowledgement().GetPlanned())
		if planned.Before(p.Now) {
			return fmt.Sprintf("Expected by %s, and that is over: nothing is recorded.", p.At(planned))
		}
		return fmt.Sprintf("Expected by %s.", p.At(planned))
	}
	return fmt.Sprintf("No answer yet, since %s (%s).", p.At(found), lasting(p.Now.Sub(found)))
}

// AnswersWords ask to read the answers that nobody has read; empty when all are.
func (p pane) AnswersWords() string {
	if p.Answers == nil || p.Answers.New == 0 {
		return ""
	}
	return "Read " + counted(p.Answers.New, "answer")
}

// ShowsAnswers tells that the answers are on the screen.
func (p pane) ShowsAnswers() bool { return p.Answers != nil && p.Answers.Open }

// SourceWords say how far this tablet's own station can know what became of something.
func (p pane) SourceWords() string {
	if p.Link.Live {
		return ""
	}
	if p.Link.Since.IsZero() {
		return "The station has not been reached: what was done there since is not known here."
	}
	return "As the station told it until " + p.At(p.Link.Since) + "; what was done there since is not known here."
}
