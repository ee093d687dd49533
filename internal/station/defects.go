package station

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// defectName names the defect that a finding at a step belongs to: the same
// fault, or without one the same rule, at the same step is the same defect.
func defectName(vehicle, stepID string, f *pb.Finding) string {
	what := f.GetFault()
	if what == "" {
		what = f.GetPack() + "/" + f.GetRule()
	}
	sum := sha256.Sum256([]byte(stepID + "\n" + what))
	return vehicle + "/defects/" + hex.EncodeToString(sum[:6])
}

// bearsDefect tells that a finding lives on until somebody puts it right. What
// is said of several results together is worked out from the newest ones each
// time; and that a rule could not be worked out is nothing to be repaired.
func bearsDefect(f *pb.Finding) bool {
	return f.GetScope() == pb.RuleScope_RULE_SCOPE_RESULT && f.GetEffect() != pb.Effect_EFFECT_UNSPECIFIED
}

// inconclusive tells that the rules could not say what a result shows. Then it
// does not show that a defect is gone either.
func inconclusive(findings []*pb.Finding) bool {
	return slices.ContainsFunc(findings, func(f *pb.Finding) bool {
		return f.GetEffect() == pb.Effect_EFFECT_UNSPECIFIED &&
			(f.GetScope() == pb.RuleScope_RULE_SCOPE_RESULT || f.GetFindingId() == rulesUnusable)
	})
}

// updateDefects raises, finds again and closes defects of the step that a
// result of a round answers.
func (st *state) updateDefects(v *vehicle, r *round, e *pb.ResultRecorded, rows *rowSet) error {
	id := e.GetResult().GetStepId()
	found := map[string][]*pb.Finding{}
	for _, f := range e.GetFindings() {
		if bearsDefect(f) {
			name := defectName(v.name, id, f)
			found[name] = append(found[name], f)
		}
	}
	for _, name := range sortedKeys(found) {
		if err := st.putDefect(v, st.foundAgain(v, name, e.GetResult(), found[name]), rows); err != nil {
			return err
		}
	}
	if inconclusive(e.GetFindings()) {
		return nil
	}
	for _, name := range v.openAt(id) {
		d := v.defects[name]
		if found[name] != nil || !closes(d, e.GetResult(), r) {
			continue
		}
		if err := st.putDefect(v, st.closed(d, e.GetResult().GetPerson()), rows); err != nil {
			return err
		}
	}
	return nil
}

// openAt names the defects at a step that are not closed, in order.
func (v *vehicle) openAt(stepID string) []string {
	var names []string
	for name, d := range v.defects {
		if d.GetStepId() == stepID && d.GetState() != pb.DefectState_DEFECT_STATE_CLOSED {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}

func (st *state) putDefect(v *vehicle, d *pb.Defect, rows *rowSet) error {
	v.defects[d.GetName()] = d
	v.open = nil
	v.proofs.doubt(d.GetStepId())
	return rows.putMessage(defectRows+v.name+"/"+uuidOf(d.GetName()), d)
}

// foundAgain is a defect after a result that shows it. One that was closed and
// is found again begins anew; the journal keeps what was before.
func (st *state) foundAgain(v *vehicle, name string, res *pb.Result, findings []*pb.Finding) *pb.Defect {
	now := timestamppb.New(st.station)
	slices.SortFunc(findings, func(a, b *pb.Finding) int {
		return cmp.Or(
			-cmp.Compare(a.GetEffect(), b.GetEffect()), -cmp.Compare(a.GetGrade(), b.GetGrade()),
			cmp.Compare(a.GetPack(), b.GetPack()), cmp.Compare(a.GetRule(), b.GetRule()))
	})
	d, looked := v.defects[name], verdict.Looked(res)
	next := &pb.Defect{
		Name: name, StepId: res.GetStepId(), FirstFound: now, FoundBy: res.GetPerson(), State: pb.DefectState_DEFECT_STATE_OPEN,
	}
	if d != nil && d.GetState() == pb.DefectState_DEFECT_STATE_CLOSED {
		next.Earlier, next.Repeats = withLife(d, d.GetClosed()), v.comesBack(d, st.station)
	} else if d != nil {
		next = goesOn(d, looked)
		looked = later(looked, d.GetLastLooked().AsTime()) // this one may have come late
	}
	next.TimesFound++
	next.Findings, next.LastFound, next.Note, next.Round = findings, now, res.GetNote(), res.GetRound()
	next.LastLooked, next.Photos = timestamppb.New(looked), withPhotos(next.GetPhotos(), res.GetPhotos())
	next.Deferral = st.stillDeferred(next, res)
	return next
}

// closed is a defect that a person found sound again; "" when nobody could look any more.
func (st *state) closed(d *pb.Defect, person string) *pb.Defect {
	c := proto.CloneOf(d)
	c.State = pb.DefectState_DEFECT_STATE_CLOSED
	c.Closed, c.ClosedBy = timestamppb.New(st.station), person
	return c
}

// closes tells whether a result that does not show a defect ends it. A sound
// look alone is enough after a repair, and where the rules say so; they say so
// of every fault that can be put right on the spot, so that found, cured, read
// again ends it, too. But what was delivered late from before the repair, or
// from before the defect was seen, tells nothing of it. Otherwise what was found
// may only be taken back as a slip of the person who made it, in the round that
// found it.
func closes(d *pb.Defect, res *pb.Result, r *round) bool {
	if d.GetStop() != nil {
		return false // a second person releases the vehicle
	}
	looked := verdict.Looked(res)
	if d.GetState() == pb.DefectState_DEFECT_STATE_RECTIFIED {
		return !looked.Before(d.GetRepair().GetStationTime().AsTime())
	}
	recheckCloses := !slices.ContainsFunc(d.GetFindings(), func(f *pb.Finding) bool { return !f.GetRecheckCloses() })
	since := !looked.Before(d.GetLastLooked().AsTime()) || foundBy(d, res.GetCure().GetFoundResultId())
	if recheckCloses && since {
		return true
	}
	return res.GetCorrection() && foundByPerson(d, res.GetPerson(), r.of(res.GetStepId()))
}

// foundBy tells that a result is the one that last found a defect.
func foundBy(d *pb.Defect, resultID string) bool {
	return slices.ContainsFunc(d.GetFindings(), func(f *pb.Finding) bool {
		return slices.Contains(f.GetResultIds(), resultID)
	})
}

// foundByPerson tells that a person recorded the result that last found a
// defect; it is among the results of its step in its round.
func foundByPerson(d *pb.Defect, person string, results []entry) bool {
	return slices.ContainsFunc(results, func(e entry) bool { return e.person == person && foundBy(d, e.resultID) })
}

// repairRecorded makes a defect rectified and its step unproven. When its step
// is no longer on the vehicle nothing is left to be checked, and it is closed.
func (st *state) repairRecorded(v *vehicle, e *pb.RepairRecorded, rows *rowSet) error {
	d := v.defects[e.GetDefect()]
	if d == nil && !st.mayBeUnknown() {
		return unreadable("the repair of "+e.GetDefect(), errEvent)
	}
	if err := st.happened(v, pb.HappeningKind_HAPPENING_KIND_REPAIR, st.station, rows); err != nil {
		return err
	}
	for _, id := range e.GetRecheckSteps() {
		a := &verdict.Answer{}
		if before := v.answers[id]; before != nil {
			*a = *before
		}
		a.VoidBefore = st.station
		st.putStep(v, id, a, rows)
		v.reconsider(id)
	}
	if d == nil {
		return nil
	}
	next := proto.CloneOf(d)
	next.State, next.Repair = pb.DefectState_DEFECT_STATE_RECTIFIED, e.GetRepair()
	if v.model.steps[d.GetStepId()] == nil && d.GetStop() == nil {
		next = st.closed(next, "")
	}
	return st.putDefect(v, next, rows)
}

// closeOfVanished closes rectified defects whose step a change of the
// configuration took off the vehicle: nobody could check it any more.
func (st *state) closeOfVanished(v *vehicle, rows *rowSet) error {
	for _, name := range sortedKeys(v.defects) {
		d := v.defects[name]
		if d.GetState() != pb.DefectState_DEFECT_STATE_RECTIFIED || v.model.steps[d.GetStepId()] != nil || d.GetStop() != nil {
			continue
		}
		if err := st.putDefect(v, st.closed(d, ""), rows); err != nil {
			return err
		}
	}
	return nil
}
