// Package roundrecord lays out what is kept of one round: for paper, as an HTML page
// with a style for print, and for other programs as CSV and JSON Lines, one line for
// each value. It is told everything and asks for nothing: whoever calls it gathers
// the round's events and what belongs to them. A page loads nothing, escapes all that
// it is told, and tells nothing by colour.
package roundrecord

import (
	"cmp"
	"slices"
	"strings"
	"time"

	pb "bayround/proto/bayround/v1"
)

// Record is what is known of one round.
type Record struct {
	Round *pb.Round
	// Events are the round's own, oldest first.
	Events []*pb.JournalEvent
	// Plan is that of the round's routine as it is now; its digest says whether the
	// round was walked by the same one. Nil when there is none any more.
	Plan *pb.Plan
	// Vehicle is the configuration on which the round was opened; nil when not known.
	Vehicle *pb.VehicleConfiguration
	// People are names as spoken, by people/{person}.
	People map[string]string
	// AtEnd is the readiness when the round ended, as it was then known; nil when the
	// round has not ended or nobody can say.
	AtEnd *pb.Readiness
	// Now is the readiness when the page was made.
	Now *pb.Readiness
	// Made is when the page was made, in the zone of the station.
	Made time.Time
	// Defects are all of the vehicle when the page was made, closed ones too; none when not known.
	Defects []*pb.Defect
	// Checkpoint is the newest signed head of the record; VerifierKey is the station's.
	Checkpoint, VerifierKey string
}

// Row is one answer: what was recorded at a step, and what was said of it then.
type Row struct {
	Sequence int64 // of the event that holds it
	Step     *pb.CheckStep
	Result   *pb.Result
	// Findings are those the rules gave with the answer, and those of several answers
	// together, this one among them, given with another or standing when the round ended.
	Findings []*pb.Finding
	// Superseded is the event that holds a later answer to the same step in this
	// round; 0 when there is none.
	Superseded int64
	// Sender is who sent it, by the certificate of the connection; nil when not recorded.
	Sender *pb.Sender
}

// Rows are the round's answers in the order in which they were recorded. A step that
// the plan does not know any more is told by its id alone.
func (r *Record) Rows() []Row {
	steps := map[string]*pb.CheckStep{}
	for _, step := range r.Plan.GetSteps() {
		steps[step.GetStepId()] = step
	}
	var rows []Row
	newest := map[string]int{}
	for _, ev := range r.Events {
		recorded := ev.GetResultRecorded()
		if recorded == nil {
			continue
		}
		id := recorded.GetResult().GetStepId()
		if before, answered := newest[id]; answered {
			rows[before].Superseded = ev.GetSequence()
		}
		newest[id] = len(rows)
		step := cmp.Or(steps[id], &pb.CheckStep{StepId: id})
		rows = append(rows, Row{Sequence: ev.GetSequence(), Step: step, Result: recorded.GetResult(), Findings: r.about(recorded), Sender: ev.GetSender()})
	}
	return rows
}

// about are the findings about an answer, each once.
func (r *Record) about(recorded *pb.ResultRecorded) []*pb.Finding {
	all := slices.Clone(recorded.GetFindings())
	add := func(f *pb.Finding) {
		same := func(g *pb.Finding) bool { return g.GetFindingId() == f.GetFindingId() }
		if slices.Contains(f.GetResultIds(), recorded.GetResult().GetResultId()) && !slices.ContainsFunc(all, same) {
			all = append(all, f)
		}
	}
	for _, reason := range r.AtEnd.GetReasons() {
		add(reason.GetFinding())
	}
	for _, ev := range r.Events { // given with another answer, which made it whole
		for _, f := range ev.GetResultRecorded().GetFindings() {
			add(f)
		}
	}
	return all
}

// Unanswered are the steps of the plan that have no answer in this round.
func (r *Record) Unanswered() (steps []*pb.CheckStep) {
	answered := map[string]bool{}
	for _, row := range r.Rows() {
		answered[row.Step.GetStepId()] = true
	}
	for _, step := range r.Plan.GetSteps() {
		if !answered[step.GetStepId()] {
			steps = append(steps, step)
		}
	}
	return steps
}

// PlanChanged says that the plan told here is not the one the round was opened on.
func (r *Record) PlanChanged() bool {
	return r.Plan != nil && r.Plan.GetDigest() != r.Round.GetPlanDigest()
}

// Found is a finding about this round.
type Found struct {
	*pb.Finding
	// Sequence is the event with the newest answer it was about.
	Sequence int64
	// Superseded is the event with a later answer to its step; 0 when there is none.
	Superseded int64
}

// Found are the findings about this round's answers, each once, what takes most away
// first. The newest answer that a finding is about speaks for it.
func (r *Record) Found() (all []Found) {
	seen := map[string]bool{}
	for _, row := range slices.Backward(r.Rows()) {
		for _, f := range row.Findings {
			if !seen[f.GetFindingId()] {
				seen[f.GetFindingId()] = true
				all = append(all, Found{f, row.Sequence, row.Superseded})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b Found) int {
		return cmp.Or(cmp.Compare(b.GetEffect(), a.GetEffect()), cmp.Compare(b.GetGrade(), a.GetGrade()), cmp.Compare(a.Sequence, b.Sequence))
	})
	return all
}

// Ended is the event that ended the round; nil while it has not ended.
func (r *Record) Ended() *pb.JournalEvent {
	for _, ev := range slices.Backward(r.Events) {
		switch ev.GetRoundStateChanged().GetState() {
		case pb.RoundState_ROUND_STATE_FINISHED, pb.RoundState_ROUND_STATE_GIVEN_UP:
			return ev
		}
	}
	return nil
}

// Signed is the event with which the driver signed the round; nil when the round has
// not ended or was given up.
func (r *Record) Signed() *pb.JournalEvent {
	if ended := r.Ended(); ended.GetRoundStateChanged().GetState() == pb.RoundState_ROUND_STATE_FINISHED {
		return ended
	}
	return nil
}

// Whole tells that the events begin with the opening of the round. Where they do not,
// what was recorded is not all here, and what is missing is not known.
func (r *Record) Whole() bool { return len(r.Events) > 0 && r.Events[0].GetRoundOpened() != nil }

// Sequences are the first and the last event of the round; 0 when there is none.
func (r *Record) Sequences() (first, last int64) {
	if len(r.Events) == 0 {
		return 0, 0
	}
	return r.Events[0].GetSequence(), r.Events[len(r.Events)-1].GetSequence()
}

// Person is what a person is called, with the id that the record keeps; empty for nobody.
func (r *Record) Person(name string) string {
	id := strings.TrimPrefix(name, "people/")
	if title := r.People[name]; title != "" && id != "" {
		return title + " (" + id + ")"
	}
	return id
}
