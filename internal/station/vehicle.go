package station

import (
	"cmp"
	"maps"
	"slices"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// vehicle is what is known about one vehicle. It belongs to whoever made it:
// the committer for the working state, the caller for a state of the past.
// What its maps hold is never changed but replaced, so that snapshots share it.
type vehicle struct {
	name       string
	model      *model
	answers    map[string]*verdict.Answer // by step id
	former     map[string]former          // by step id
	measured   map[string]*measured       // by step id
	single     map[string][]*pb.Finding   // of the rules that look at one result, by step id
	islands    map[int]*island            // by number
	defects    map[string]*pb.Defect      // closed ones too, by name
	undone     map[string]*pb.UndoneStep  // by step id
	rounds     map[string]*round          // open and paused, by name
	holding    *pb.CallSignHolding        // nil while it has always answered to its own call sign
	takeover   *verdict.Takeover          // the check it needs for that; nil when it needs none
	standing   standing
	happenings happenings
	proofs     proofs // of the required steps, by answers and repairs

	findings []*pb.Finding    // all live ones, in walking order; nil = to be gathered
	open     []*pb.Defect     // those not closed, in walking order; nil = to be gathered
	pending  []*pb.UndoneStep // what is undone, in walking order; nil = to be gathered
}

// island is the observations that group rules look at together, and what they say.
type island struct {
	observations []*pb.Observation // in the order of step ids
	findings     []*pb.Finding
}

func newVehicle(name string, m *model) *vehicle {
	return &vehicle{
		name: name, model: m,
		answers: map[string]*verdict.Answer{}, former: map[string]former{}, measured: map[string]*measured{}, single: map[string][]*pb.Finding{},
		islands: map[int]*island{}, defects: map[string]*pb.Defect{},
		undone: map[string]*pb.UndoneStep{}, rounds: map[string]*round{}, happenings: happenings{told: &pb.Happenings{}},
	}
}

// judgement is what the rules say when one observation takes its place.
type judgement struct {
	observation *pb.Observation // nil when rules see nothing at the step
	single      []*pb.Finding
	island      *island // nil when no group rule looks at the step
}

// about gives all findings that looked at a step.
func (j *judgement) about(stepID string) []*pb.Finding {
	found := slices.Clone(j.single)
	if j.island == nil {
		return found
	}
	for _, f := range j.island.findings {
		if slices.Contains(f.GetStepIds(), stepID) {
			found = append(found, f)
		}
	}
	return found
}

// judge works out what the rules would say if o were the newest observation of
// the step; nothing is changed. single are the findings of the rules that look
// at one result.
func (v *vehicle) judge(s *step, o *pb.Observation, single []*pb.Finding) *judgement {
	j := &judgement{observation: o, single: single}
	if s.island == noIsland {
		return j
	}
	others := v.islands[s.island]
	if others == nil {
		others = &island{}
	}
	j.island = &island{observations: replaceObservation(others.observations, s.GetStepId(), o)}
	j.island.findings = v.model.group(j.island.observations)
	return j
}

// replaceObservation returns a new list in which o has taken the place of the
// step's observation; o may be nil.
func replaceObservation(os []*pb.Observation, stepID string, o *pb.Observation) []*pb.Observation {
	at, found := slices.BinarySearchFunc(os, stepID, func(o *pb.Observation, id string) int {
		return cmp.Compare(o.GetStep().GetStepId(), id)
	})
	with := make([]*pb.Observation, 0, len(os)+1)
	with = append(with, os[:at]...)
	if o != nil {
		with = append(with, o)
	}
	if found {
		at++
	}
	return append(with, os[at:]...)
}

// settle puts a judgement in force.
func (v *vehicle) settle(s *step, j *judgement) {
	id := s.GetStepId()
	if len(j.single) > 0 || len(v.single[id]) > 0 {
		v.findings = nil
	}
	if len(j.single) > 0 {
		v.single[id] = j.single
	} else {
		delete(v.single, id)
	}
	if j.island == nil {
		return
	}
	if before := v.islands[s.island]; len(j.island.findings) > 0 || before != nil && len(before.findings) > 0 {
		v.findings = nil
	}
	v.islands[s.island] = j.island
}

// reconsider judges a step's newest real answer anew, after the answer or what
// it means has changed.
func (v *vehicle) reconsider(stepID string) {
	s := v.model.steps[stepID]
	if s == nil {
		v.findings = nil
		delete(v.single, stepID)
		return
	}
	o := v.observation(s, v.answers[stepID])
	v.settle(s, v.judge(s, o, v.model.single(o)))
}

// observation makes what the rules see of an answer: nothing when nobody has
// looked, when the answer no longer fits the step, or when a repair came later.
func (v *vehicle) observation(s *step, a *verdict.Answer) *pb.Observation {
	if a == nil || a.Real == nil || !a.RealFits || verdict.Looked(a.Real).Before(a.VoidBefore) {
		return nil
	}
	return v.model.observe(s, a.Real, v.measured[s.GetStepId()])
}

// adopt puts another model in force: answers are held against the steps of
// now, and everything is judged anew.
func (v *vehicle) adopt(m *model) {
	v.model = m
	v.takeUp()
	clear(v.single)
	clear(v.islands)
	v.findings, v.open, v.pending = nil, nil, nil
	v.proofs.doubtAll()
	byIsland := map[int][]*pb.Observation{}
	for _, id := range sortedKeys(v.answers) {
		a := *v.answers[id]
		s := m.steps[id]
		a.RealFits = s != nil && a.Real != nil && fits(s.CheckStep, a.Real)
		v.answers[id] = &a
		if s == nil {
			continue
		}
		o := v.observation(s, &a)
		if single := m.single(o); len(single) > 0 {
			v.single[id] = single
		}
		if o != nil && s.island != noIsland {
			byIsland[s.island] = append(byIsland[s.island], o)
		}
	}
	for number, os := range byIsland {
		v.islands[number] = &island{observations: os, findings: m.group(os)}
	}
}

// input gathers what a verdict rests on. Its Latest map is the working one.
func (v *vehicle) input() *verdict.Input {
	if v.findings == nil {
		v.findings = v.gatherFindings()
	}
	if v.open == nil {
		v.open = v.gatherDefects()
	}
	if v.pending == nil {
		v.pending = v.gatherUndone()
	}
	return &verdict.Input{
		Vehicle: v.model.vehicle, Required: v.model.required, Latest: v.answers,
		Findings: v.findings, Defects: v.open, Undone: v.pending, Packs: v.model.packs,
		Systems: v.model.deferral.GetDeferral().GetSystems(), Takeover: v.takeover, Holding: v.holding,
	}
}

func (v *vehicle) gatherFindings() []*pb.Finding {
	all := make([]*pb.Finding, 0, len(v.single)+len(v.model.broken))
	all = append(all, v.model.broken...)
	for _, found := range v.single {
		all = append(all, found...)
	}
	for _, i := range v.islands {
		all = append(all, i.findings...)
	}
	slices.SortFunc(all, func(a, b *pb.Finding) int {
		return cmp.Or(cmp.Compare(v.firstRank(a), v.firstRank(b)), cmp.Compare(a.GetFindingId(), b.GetFindingId()))
	})
	return all
}

func (v *vehicle) firstRank(f *pb.Finding) int {
	if len(f.GetStepIds()) == 0 {
		return -1
	}
	return v.model.rank(f.GetStepIds()[0])
}

func (v *vehicle) gatherDefects() []*pb.Defect {
	open := make([]*pb.Defect, 0, len(v.defects))
	for _, d := range v.defects {
		if d.GetState() != pb.DefectState_DEFECT_STATE_CLOSED {
			open = append(open, d)
		}
	}
	slices.SortFunc(open, func(a, b *pb.Defect) int {
		return cmp.Or(cmp.Compare(v.model.rank(a.GetStepId()), v.model.rank(b.GetStepId())), cmp.Compare(a.GetName(), b.GetName()))
	})
	return open
}

func (v *vehicle) gatherUndone() []*pb.UndoneStep {
	undone := make([]*pb.UndoneStep, 0, len(v.undone))
	undone = slices.AppendSeq(undone, maps.Values(v.undone))
	slices.SortFunc(undone, func(a, b *pb.UndoneStep) int {
		return cmp.Or(cmp.Compare(v.model.rank(a.GetStepId()), v.model.rank(b.GetStepId())), cmp.Compare(a.GetStepId(), b.GetStepId()))
	})
	return undone
}

// debt is what a turnout would cost now, in seconds.
func (v *vehicle) debt() int32 {
	var s int32
	for _, u := range v.undone {
		s += u.GetUndoS()
	}
	return s
}
