package station

import (
	"fmt"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"

	"google.golang.org/protobuf/proto"
)

// roundOpened opens a round.
func (st *state) roundOpened(v *vehicle, e *pb.RoundOpened, rows *rowSet) error {
	name := e.GetRound().GetName()
	r := newRound(&frame{
		round: proto.CloneOf(e.GetRound()), opening: st.sequence, changed: st.station,
		said: []statement{saidAt(e.GetRound().GetConditions(), st.station, e.GetRound().GetOpenedDeviceTime())},
		plan: newOutline(v.model.planOf(e.GetRound())),
	})
	st.rounds[name] = r
	v.rounds[name] = r
	st.opened = append(st.opened, roundRef{name: name, vehicle: v.name, opening: st.sequence})
	rows.put(liveRows+v.name+"/"+uuidOf(name), nil)
	if err := st.said(v, e.GetRound().GetConditions(), e.GetRound().GetOpenedDeviceTime(), rows); err != nil {
		return err
	}
	return st.putRound(r, rows)
}

// putRound notes an event of a round that is no result.
func (st *state) putRound(r *round, rows *rowSet) error {
	r.newest = st.sequence
	return st.putFrame(r, rows)
}

// putFrame notes that a round's frame has changed.
func (st *state) putFrame(r *round, rows *rowSet) error {
	st.reframed = true
	st.noteUnsigned(r.frame)
	fixed, err := proto.Marshal(r.frame.round)
	if err != nil {
		return fmt.Errorf("encode %s: %w", r.name(), err)
	}
	row := record{}.message(1, fixed).number(2, r.opening).instant(3, r.changed)
	for _, s := range r.said {
		b, err := proto.Marshal(s.conditions)
		if err != nil {
			return fmt.Errorf("encode conditions of %s: %w", r.name(), err)
		}
		row = row.message(4, b).moment(8, s.station).moment(9, s.device)
	}
	row = row.number(5, r.newest).number(6, r.planned)
	if r.changedDevice != nil {
		b, err := proto.Marshal(r.changedDevice)
		if err != nil {
			return fmt.Errorf("encode when %s was interrupted: %w", r.name(), err)
		}
		row = row.message(7, b)
	}
	rows.put(roundRows+uuidOf(r.name()), row)
	return nil
}

func (st *state) roundStateChanged(v *vehicle, ev *pb.JournalEvent, rows *rowSet) error {
	e := ev.GetRoundStateChanged()
	r := v.rounds[e.GetRound()]
	if r == nil {
		return unknownRound(e.GetRound())
	}
	if e.GetConditions() != nil {
		r.frame = r.under(saidAt(e.GetConditions(), st.station, ev.GetDeviceTime()))
		if err := st.said(v, e.GetConditions(), ev.GetDeviceTime(), rows); err != nil {
			return err
		}
	}
	r.frame = r.turnedOut(e, ev, int32(len(r.entries)))
	if r.state() != e.GetState() {
		r.frame = r.in(e.GetState(), st.station, ev.GetDeviceTime())
	}
	if e.GetState() == pb.RoundState_ROUND_STATE_FINISHED {
		r.round.ClosingNote = e.GetNote() // in has copied it
	}
	if e.GetSignature() != nil {
		r.frame = r.signedBy(e.GetSignature())
	}
	if r.ended() {
		delete(v.rounds, r.name())
		st.ended = append(st.ended, r.name())
		rows.drop(liveRows + v.name + "/" + uuidOf(r.name()))
	}
	return st.putRound(r, rows)
}

func (st *state) stepBegun(v *vehicle, e *pb.StepBegun, rows *rowSet) error {
	if err := st.undo(v, e.GetUndone(), rows); err != nil {
		return err
	}
	return st.touchRound(e.GetRound(), rows)
}

// touchRound notes that something happened in a round, if it is in one.
func (st *state) touchRound(name string, rows *rowSet) error {
	if name == "" {
		return nil
	}
	r, err := st.recall(name)
	if err != nil {
		return err
	}
	if r == nil {
		return unknownRound(name)
	}
	return st.putRound(r, rows)
}

func (st *state) undo(v *vehicle, u *pb.UndoneStep, rows *rowSet) error {
	v.undone[u.GetStepId()] = u
	v.pending = nil
	return rows.putMessage(undoneRows+v.name+"/"+u.GetStepId(), u)
}

func (st *state) redo(v *vehicle, stepID string, rows *rowSet) {
	if v.undone[stepID] == nil {
		return
	}
	delete(v.undone, stepID)
	v.pending = nil
	rows.drop(undoneRows + v.name + "/" + stepID)
}

func (st *state) madeSafe(v *vehicle, e *pb.MadeSafe, rows *rowSet) error {
	for _, id := range e.GetStepIds() {
		st.redo(v, id, rows)
	}
	return st.touchRound(e.GetRound(), rows)
}

// resultRecorded takes a result: among the looks at its step, into its round,
// into the readiness debt and into the defects.
func (st *state) resultRecorded(v *vehicle, e *pb.ResultRecorded, known *judgement, rows *rowSet) error {
	res := e.GetResult()
	r, err := st.recall(res.GetRound())
	if err != nil {
		return err
	}
	if r == nil {
		return unknownRound(res.GetRound())
	}
	if err := st.paced(v, r, res, rows); err != nil {
		return err
	}
	st.putAnswered(r, r.take(res, source{sequence: st.sequence}, st.station), rows)
	if err := st.outgrow(r, rows); err != nil {
		return err
	}
	if err := st.answered(v, r, res, known, rows); err != nil {
		return err
	}
	switch u := v.undone[res.GetStepId()]; {
	case res.GetLeftOpen():
		err = st.undo(v, undoneAt(r.plan.steps[res.GetStepId()], res.GetStepId(), r.name()), rows)
	case v.answers[res.GetStepId()].Newest == res || u.GetRound() == r.name():
		st.redo(v, res.GetStepId(), rows)
	}
	if err != nil || res.GetNotChecked() != nil {
		return err
	}
	if err := st.wheelTorqued(v, res, rows); err != nil {
		return err
	}
	return st.updateDefects(v, r, e, rows)
}

// answered puts a result in its place among the looks at its step and in the
// series there, and has the step judged anew when that changes anything.
func (st *state) answered(v *vehicle, r *round, res *pb.Result, known *judgement, rows *rowSet) error {
	id := res.GetStepId()
	joined, err := st.measure(v, r, res, rows)
	if err != nil {
		return err
	}
	a := &verdict.Answer{}
	if before := v.answers[id]; before != nil {
		*a = *before
	}
	s := v.model.steps[id]
	newest, real := supersedes(res, a.Newest), res.GetNotChecked() == nil && supersedes(res, a.Real)
	if newest {
		a.Newest, a.Sequence = res, st.sequence
	}
	if real {
		v.remember(a, res)
		a.Real, a.RealSequence = res, st.sequence
		a.RealFits = s != nil && fits(s.CheckStep, res)
	}
	if newest || real {
		st.putStep(v, id, a, rows)
	}
	switch {
	case real && known != nil && a.RealFits:
		v.settle(s, known)
	case real || joined: // a look that came late changes what the newest is held against
		v.reconsider(id)
	}
	return nil
}

// supersedes tells that a result that has just come is a newer look than an
// earlier one of its step: results count by when somebody looked, so that what
// is delivered late takes no newer look's place. Of two looks at the same
// instant the one that came later counts.
func supersedes(res, earlier *pb.Result) bool {
	return earlier == nil || !verdict.Looked(res).Before(verdict.Looked(earlier))
}

// speaks tells that a result, once it is recorded, is what rules see at its
// step: it is the newest look, and no repair came after it.
func (v *vehicle) speaks(res *pb.Result) bool {
	a := v.answers[res.GetStepId()]
	return a == nil || supersedes(res, a.Real) && !verdict.Looked(res).Before(a.VoidBefore)
}

// putStep puts an answer in the place of what is known of a step.
func (st *state) putStep(v *vehicle, id string, a *verdict.Answer, rows *rowSet) {
	v.answers[id] = a
	v.proofs.doubt(id)
	rows.put(stepRows+v.name+"/"+id, record{}.number(1, a.Sequence).number(2, a.RealSequence).instant(3, a.VoidBefore).number(4, v.former[id].sequence))
}

func (st *state) putAnswered(r *round, e entry, rows *rowSet) {
	rows.put(answeredRows+uuidOf(r.name())+"/"+e.stepID, r.answeredRow(e.stepID))
}

// answeredRow is the row of a step that was answered in the round.
func (r *round) answeredRow(stepID string) record {
	row, results := record{}, r.of(stepID)
	takenOver := false
	for _, a := range results {
		row = row.number(1, a.sequence)
		takenOver = takenOver || a.place > 0
	}
	newest := results[len(results)-1]
	row = row.number(2, int64(newest.position))
	if newest.notChecked {
		row = row.number(3, 1)
	}
	row = row.instant(4, newest.at)
	if takenOver {
		for _, a := range results {
			row = row.each(5, int64(a.place))
		}
	}
	return row
}

// undoneAt is what a step has undone. s is nil when the step is not in the
// plan as this version makes it.
func undoneAt(s *pb.CheckStep, stepID, round string) *pb.UndoneStep {
	return &pb.UndoneStep{
		StepId: stepID, Title: s.GetTitle(), Place: s.GetPlace().GetTitle(), UndoS: s.GetUndoS(), Round: round,
	}
}

// unknownRound says that an event speaks of a round that is not there.
func unknownRound(name string) error { return fmt.Errorf("round %q: %w", name, errEvent) }
