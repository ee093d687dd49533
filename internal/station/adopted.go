package station

import (
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// standingAdopted takes over what differed at the station of record. A step
// without any result is one that nobody has answered there.
func (st *state) standingAdopted(v *vehicle, e *pb.Standing, rows *rowSet) error {
	if e.GetHolding() != nil {
		if err := st.callSignChanged(v, e.GetHolding(), rows); err != nil {
			return err
		}
	}
	for _, a := range e.GetAnswers() {
		if err := st.adoptAnswer(v, a, rows); err != nil {
			return err
		}
	}
	for _, d := range e.GetDefects() {
		if err := st.putDefect(v, d, rows); err != nil {
			return err
		}
	}
	for _, r := range e.GetRounds() {
		if err := st.adoptRound(v, r, rows); err != nil {
			return err
		}
	}
	if err := st.adoptUndone(v, e.GetUndone(), rows); err != nil {
		return err
	}
	st.adoptVerdict(v, e)
	return st.adoptHappenings(v, e, rows)
}

func (st *state) adoptHappenings(v *vehicle, e *pb.Standing, rows *rowSet) error {
	if e.GetHappenings() == nil && e.GetRegistered() == nil {
		return nil
	}
	h := v.happenings
	if e.GetRegistered() != nil {
		h.since = e.GetRegistered().AsTime()
	}
	if e.GetHappenings() != nil {
		h.told = e.GetHappenings()
	}
	v.happenings = h
	return st.putHappenings(v, h.told, rows)
}

func (st *state) adoptAnswer(v *vehicle, e *pb.StandingAnswer, rows *rowSet) error {
	id, s := e.GetStepId(), v.model.steps[e.GetStepId()]
	a := &verdict.Answer{Newest: e.GetNewest(), Real: takenFrom(e, true), VoidBefore: voidBefore(e)}
	if a.Newest != nil {
		a.Sequence = st.sequence
	}
	if a.Real != nil {
		a.RealSequence, a.RealFits = st.sequence, s != nil && fits(s.CheckStep, a.Real)
	}
	if before := v.answers[id]; before != nil && a.Real != nil {
		v.remember(before, a.Real)
	}
	if a.Newest == nil && a.Real == nil && a.VoidBefore.IsZero() {
		delete(v.answers, id)
		delete(v.former, id)
		v.proofs.doubt(id)
		rows.drop(stepRows + v.name + "/" + id)
	} else {
		st.putStep(v, id, a, rows)
	}
	if err := v.takeMeasured(id, e.GetSeries(), st.sequence, rows); err != nil {
		return err
	}
	v.reconsider(id)
	return nil
}

func voidBefore(a *pb.StandingAnswer) time.Time {
	if a.GetVoidBefore() == nil {
		return time.Time{}
	}
	return a.GetVoidBefore().AsTime()
}

// adoptUndone makes undone what is undone there, and nothing else.
func (st *state) adoptUndone(v *vehicle, undone []*pb.UndoneStep, rows *rowSet) error {
	there := map[string]bool{}
	for _, u := range undone {
		there[u.GetStepId()] = true
		if proto.Equal(u, v.undone[u.GetStepId()]) {
			continue
		}
		if err := st.undo(v, u, rows); err != nil {
			return err
		}
	}
	for _, id := range sortedKeys(v.undone) {
		if !there[id] {
			st.redo(v, id, rows)
		}
	}
	return nil
}

// adoptVerdict takes over since when the verdict holds, and walks it forward from
// there. What the walk meets on the way can only be worse: answers go stale,
// deferrals run out, and nothing else happens by itself.
func (st *state) adoptVerdict(v *vehicle, e *pb.Standing) {
	if e.GetVerdict() == pb.Verdict_VERDICT_UNSPECIFIED || e.GetSince() == nil {
		return
	}
	in := v.input()
	fold := func(at time.Time) (pb.Verdict, time.Time) { return verdict.Fold(in, at) }
	s := standing{verdict: e.GetVerdict(), since: e.GetSince().AsTime()}
	_, s.until = fold(s.since)
	v.standing = s.walk(fold, st.station)
}

// adoptRound takes over a round: its state, its conditions, and its results in
// the order they came there. An empty result stands for all that are known here,
// and an id alone for one of them; they stay as they were recorded here.
func (st *state) adoptRound(v *vehicle, e *pb.StandingRound, rows *rowSet) error {
	before, err := st.recall(e.GetRound().GetName())
	if err != nil {
		return err
	}
	r := newRound(st.adoptFrame(v, e, before))
	if err := r.adoptResults(e.GetResults(), before, st.sequence); err != nil {
		return err
	}
	r.rewrite(before, rows)
	st.place(v, r, before, rows)
	return st.putRound(r, rows)
}

// adoptFrame makes the frame of a round that is taken over; before is nil when
// it was not known.
func (st *state) adoptFrame(v *vehicle, e *pb.StandingRound, before *round) *frame {
	fixed := withoutProgress(e.GetRound())
	f := &frame{
		round: fixed, opening: st.sequence, said: before.saidThere(e),
		changed: e.GetRound().GetLastActivity().AsTime(), // or before; nobody can tell from what is given
	}
	if before != nil {
		f.opening = before.opening
		if before.state() == f.state() {
			f.changedDevice = before.changedDevice
		}
		if before.onPlanOf(fixed) {
			f.plan, f.planned = before.plan, before.planned
			return f
		}
	}
	f.planned = st.sequence
	f.plan = takenOver(v.model.planOf(fixed), fixed.GetPlanDigest())
	if f.plan.standsIn {
		for i, id := range e.GetRound().GetAnsweredSteps() {
			f.plan.positions[id] = i
		}
	}
	return f
}

// onPlanOf tells that a round is on the plan of a round that is taken over.
func (r *round) onPlanOf(there *pb.Round) bool {
	return r.round.GetPlanDigest() == there.GetPlanDigest() && !r.plan.standsIn
}

// withoutProgress is a round as a frame holds it.
func withoutProgress(r *pb.Round) *pb.Round {
	r = proto.CloneOf(r)
	r.Answered, r.NotChecked, r.AnsweredSteps, r.Sequence = 0, 0, nil, 0
	return r
}

// behindAnswered is the first position of a step that was not answered, in a
// plan that stands in for another.
const behindAnswered = 1 << 20

// takenOver is the outline of a plan for a round that is taken over. When it is
// not the plan the round was opened on, it stands in for that: the answered
// steps come first, in the order in which they are told.
func takenOver(p *pb.Plan, digest string) *outline {
	o := newOutline(p)
	if o.standsIn = p.GetDigest() != digest; o.standsIn {
		for id := range o.positions {
			o.positions[id] += behindAnswered
		}
	}
	return o
}

// adoptResults takes the results of a round as they came there.
func (r *round) adoptResults(results []*pb.Result, before *round, sequence int64) error {
	known := before.byResult()
	for i, res := range results {
		e, here := known[res.GetResultId()]
		switch {
		case proto.Size(res) == 0 && before != nil:
			for _, e := range before.entries {
				r.again(e)
			}
		case here:
			r.again(e)
		case res.GetStepId() == "":
			return unreadable("result "+res.GetResultId(), errEvent)
		default:
			r.take(res, source{sequence: sequence, place: i + 1}, res.GetStationTime().AsTime())
		}
	}
	return nil
}

// again takes an entry that the round had before it was taken over.
func (r *round) again(e entry) {
	e.position = r.plan.positions[e.stepID]
	r.put(e)
}

// byResult gives the entries of a round by the ids of their results; r may be nil.
func (r *round) byResult() map[string]entry {
	if r == nil {
		return nil
	}
	known := make(map[string]entry, len(r.entries))
	for _, e := range r.entries {
		known[e.resultID] = e
	}
	return known
}

// rewrite puts the rows of steps that are answered otherwise than before.
func (r *round) rewrite(before *round, rows *rowSet) {
	was := map[string][]int{}
	if before != nil {
		was = before.byStep
	}
	key := answeredRows + uuidOf(r.name()) + "/"
	for _, id := range sortedKeys(r.byStep) {
		row := r.answeredRow(id)
		if was[id] == nil || !slices.Equal(row, before.answeredRow(id)) {
			rows.put(key+id, row)
		}
	}
	for _, id := range sortedKeys(was) {
		if r.byStep[id] == nil {
			rows.drop(key + id)
		}
	}
}

// place puts a round that was taken over among the live or the ended ones.
func (st *state) place(v *vehicle, r, before *round, rows *rowSet) {
	name, live := r.name(), liveRows+v.name+"/"+uuidOf(r.name())
	if before == nil {
		st.opened = append(st.opened, roundRef{name: name, vehicle: v.name, opening: r.opening})
	}
	st.ended = slices.DeleteFunc(st.ended, func(ended string) bool { return ended == name })
	st.rounds[name] = r
	if r.live() {
		v.rounds[name] = r
		rows.put(live, nil)
		return
	}
	delete(v.rounds, name)
	st.ended = append(st.ended, name)
	rows.drop(live)
}
