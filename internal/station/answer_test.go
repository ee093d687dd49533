package station

import (
	"errors"
	"testing"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// stepWith is a step of one kind with the conditions of these ids, each of a fault.
func stepWith(kind pb.AnswerKind, conditions ...string) *pb.CheckStep {
	s := &pb.CheckStep{StepId: "OIL-010/engine", AnswerKind: kind, Alike: 1}
	for _, id := range conditions {
		s.Conditions = append(s.Conditions, &pb.Condition{Id: id, Meaning: &pb.Condition_Fault{Fault: "OIL-010-" + id}})
	}
	return s
}

// stood is a result of a level and of faults beside it.
func stood(beside ...string) *pb.Result {
	return &pb.Result{
		StepId: "OIL-010/engine", AlsoSeen: conditionsSeen(beside),
		Answer: &pb.Result_Level{Level: &pb.Level{Mark: pb.LevelMark_LEVEL_MARK_BETWEEN, Fraction: 0.5}},
	}
}

func conditionsSeen(ids []string) []*pb.ConditionSeen {
	var seen []*pb.ConditionSeen
	for _, id := range ids {
		seen = append(seen, &pb.ConditionSeen{Condition: id})
	}
	return seen
}

// An earlier answer goes on answering a step only while everything that was
// seen, beside a value too, still has a meaning there.
func TestFits(t *testing.T) {
	const (
		level     = pb.AnswerKind_ANSWER_KIND_LEVEL
		reading   = pb.AnswerKind_ANSWER_KIND_READING
		condition = pb.AnswerKind_ANSWER_KIND_CONDITION
	)
	saw := func(ids ...string) *pb.Result {
		return &pb.Result{Answer: &pb.Result_Seen{Seen: &pb.ConditionsSeen{Conditions: conditionsSeen(ids)}}}
	}
	for _, tc := range []struct {
		name   string
		step   *pb.CheckStep
		result *pb.Result
		want   bool
	}{
		{"a level", stepWith(level), stood(), true},
		{"a level, faults could now be seen too", stepWith(level, "01", "02"), stood(), true},
		{"a level and a fault", stepWith(level, "01", "02"), stood("02"), true},
		{"a level and a fault that is no more", stepWith(level, "01"), stood("01", "02"), false},
		{"a level and a fault, none can be seen any more", stepWith(level), stood("02"), false},
		{"a level for a reading", stepWith(reading, "02"), stood("02"), false},
		{"conditions", stepWith(condition, "01", "02"), saw("01", "02"), true},
		{"a condition that is no more", stepWith(condition, "01"), saw("01", "02"), false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if got := fits(tc.step, tc.result); got != tc.want {
				t.Errorf("fits: %v, want %v", got, tc.want)
			}
		})
	}
}

// The loader lets no condition beside a value be sound; should one be so all the
// same, it is no answer there.
func TestCheckAnswer_NothingSoundBesideAValue(t *testing.T) {
	step := stepWith(pb.AnswerKind_ANSWER_KIND_LEVEL, "01")
	step.Conditions = append(step.Conditions, &pb.Condition{Id: "sound", Meaning: &pb.Condition_Sound{Sound: true}})
	var f *fault.Fault
	if err := checkAnswer(step, stood("sound")); !errors.As(err, &f) || f.Reason != "SOUND_AND_FAULTY" || len(f.Fields) != 1 || f.Fields[0].Path != "result.also_seen[0].condition" {
		t.Errorf("sound beside a level: %v, want it refused at its place", err)
	}
}
