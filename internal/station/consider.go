package station

import (
	"context"
	"slices"

	pb "bayround/proto/bayround/v1"
)

// Consider tells what the rules would say of a step if conditions were recorded
// there now; nothing is recorded. At a step that asks for a value they are
// considered as seen beside it; rules that need the value say nothing then.
func (s *Station) Consider(_ context.Context, vehicle, stepID string, seen []*pb.ConditionSeen) ([]*pb.Finding, error) {
	snap, err := s.current.Load().vehicle(vehicle)
	if err != nil {
		return nil, err
	}
	m := snap.model
	step := m.steps[stepID]
	if step == nil {
		return nil, unknown("step", stepID)
	}
	o := m.observe(step, considered(step.CheckStep, seen), nil)
	if o == nil {
		return nil, nil
	}
	found := slices.Clone(m.single(o))
	if step.island != noIsland {
		var others []*pb.Observation
		if i := snap.islands[step.island]; i != nil {
			others = i.observations
		}
		for _, f := range m.group(replaceObservation(others, stepID, o)) {
			if slices.Contains(f.GetStepIds(), stepID) {
				found = append(found, f)
			}
		}
	}
	if step.GetAnswerKind() != pb.AnswerKind_ANSWER_KIND_CONDITION {
		found = slices.DeleteFunc(found, func(f *pb.Finding) bool { return f.GetEffect() == pb.Effect_EFFECT_UNSPECIFIED })
	}
	return found, nil
}

// Counts tells that a rule in force for a vehicle asks how many show a fault. Where
// nothing can be judged it is asked of all.
func (s *Station) Counts(vehicle, fault string) (bool, error) {
	snap, err := s.current.Load().vehicle(vehicle)
	if err != nil || snap.model.judge == nil {
		return true, err
	}
	return snap.model.judge.Counts(fault), nil
}

// considered is a result of conditions, beside no value where one is asked for.
func considered(step *pb.CheckStep, seen []*pb.ConditionSeen) *pb.Result {
	r := &pb.Result{StepId: step.GetStepId(), AlsoSeen: seen}
	switch step.GetAnswerKind() {
	case pb.AnswerKind_ANSWER_KIND_CONDITION:
		r.AlsoSeen = nil
		r.Answer = &pb.Result_Seen{Seen: &pb.ConditionsSeen{Conditions: seen}}
	case pb.AnswerKind_ANSWER_KIND_READING:
		r.Answer = &pb.Result_Reading{Reading: &pb.Reading{}}
	case pb.AnswerKind_ANSWER_KIND_PROFILE:
		r.Answer = &pb.Result_Profile{Profile: &pb.TreadProfile{}}
	case pb.AnswerKind_ANSWER_KIND_LEVEL:
		r.Answer = &pb.Result_Level{Level: &pb.Level{}}
	}
	return r
}
