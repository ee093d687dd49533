package station

import (
	"cmp"
	"slices"

	"google.golang.org/protobuf/proto"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// A round notes of its answers what a reader of the record may want to know:
// how many were given faster than anybody can look, and how many readings are,
// digit for digit, those of an earlier round. Both happen to honest drivers;
// neither touches a finding or the verdict.

// former is the newest look at a step before that of the round that looked last.
type former struct {
	result   *pb.Result // nil while it need not be known
	sequence int64
}

// formerOf returns the look that a result may repeat: the newest one of another
// round, from before it; nil when there is none.
func (st *state) formerOf(v *vehicle, res *pb.Result) (*pb.Result, error) {
	before := v.former[res.GetStepId()]
	if before.result == nil && before.sequence != 0 {
		var err error
		if before.result, err = st.archive.result(before.sequence, res.GetStepId()); err != nil {
			return nil, err
		}
		v.former[res.GetStepId()] = before
	}
	earlier := before.result
	if a := v.answers[res.GetStepId()]; a != nil && a.Real != nil && a.Real.GetRound() != res.GetRound() {
		earlier = a.Real
	}
	if earlier.GetRound() == res.GetRound() || verdict.Looked(res).Before(verdict.Looked(earlier)) {
		return nil, nil
	}
	return earlier, nil
}

// remember keeps the newest look at a step before one of another round takes its place.
func (v *vehicle) remember(a *verdict.Answer, res *pb.Result) {
	if a.Real != nil && a.Real.GetRound() != res.GetRound() {
		v.former[res.GetStepId()] = former{a.Real, a.RealSequence}
	}
}

// paced notes in a round how a result was given.
func (st *state) paced(v *vehicle, r *round, res *pb.Result, rows *rowSet) error {
	earlier, err := st.formerOf(v, res)
	if err != nil {
		return err
	}
	fast, again := tooFast(r.plan.steps[res.GetStepId()], res), repeats(res, earlier)
	if !fast && !again {
		return nil
	}
	f := *r.frame
	f.round = proto.CloneOf(f.round)
	if fast {
		f.round.AnsweredTooFast++
	}
	if again {
		f.round.RepeatedValues++
	}
	r.frame = &f
	return st.putFrame(r, rows)
}

// leastLookS is the least believable time of looking, in seconds, where the step
// has none of its own: reading the prompt takes longer (common practice).
const leastLookS = 1

// tooFast tells that somebody looked for less time than the step needs, as the
// device measured it. planned is nil when the plan has no such step any more.
func tooFast(planned *pb.CheckStep, res *pb.Result) bool {
	least := float64(planned.GetLeastLookS())
	if least == 0 {
		least = leastLookS
	}
	return res.GetNotChecked() == nil && res.GetLookedS() > 0 && res.GetLookedS() < least
}

// repeats tells that a reading or a profile is equal to an earlier one in every
// digit, as both were typed.
func repeats(res, earlier *pb.Result) bool {
	switch {
	case res.GetReading() != nil && earlier.GetReading() != nil:
		return slices.Equal(typedReading(res.GetReading()), typedReading(earlier.GetReading()))
	case res.GetProfile() != nil && earlier.GetProfile() != nil:
		return slices.Equal(typedProfile(res.GetProfile()), typedProfile(earlier.GetProfile()))
	}
	return false
}

// typed is one number as somebody typed it.
type typed struct {
	what   string  // part of a reading; "" in a profile
	number int     // of the section of a profile
	across float64 // where in the section
	value  float64
	unit   string
}

// typedReading gives the values of a reading in the order of parts.
func typedReading(r *pb.Reading) []typed {
	all := make([]typed, len(r.GetValues()))
	for i, v := range r.GetValues() {
		all[i] = typed{what: v.GetPart(), value: v.GetAsTyped(), unit: v.GetUnit()}
	}
	slices.SortFunc(all, func(a, b typed) int { return cmp.Compare(a.what, b.what) })
	return all
}

func typedProfile(p *pb.TreadProfile) (all []typed) {
	for i, section := range p.GetSections() {
		for _, point := range section.GetPoints() {
			all = append(all, typed{number: i, across: point.GetAcross(), value: point.GetAsTyped(), unit: p.GetUnit()})
		}
	}
	return all
}
