package stationtest

import (
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/catalogue"
	pb "bayround/proto/bayround/v1"
)

// Complete fills in what a result needs beside step and answer.
func Complete(round string, r *pb.Result, id func() string, now time.Time) *pb.RecordResultRequest {
	r = proto.CloneOf(r)
	if r.GetResultId() == "" {
		r.ResultId = id()
	}
	if r.GetPerson() == "" {
		r.Person = "people/driver"
	}
	if r.GetDevice() == "" {
		r.Device = "tablet-1"
	}
	if r.GetDeviceTime() == nil {
		r.DeviceTime = timestamppb.New(now)
	}
	return &pb.RecordResultRequest{Round: round, Result: r}
}

// Seen is a result of conditions.
func Seen(step string, conditions ...string) *pb.Result {
	seen := &pb.ConditionsSeen{}
	for _, c := range conditions {
		seen.Conditions = append(seen.Conditions, &pb.ConditionSeen{Condition: c})
	}
	return &pb.Result{StepId: step, Answer: &pb.Result_Seen{Seen: seen}}
}

// Beside gives a result of a value the faults seen beside it, by their conditions.
func Beside(r *pb.Result, conditions ...string) *pb.Result {
	for _, c := range conditions {
		r.AlsoSeen = append(r.AlsoSeen, &pb.ConditionSeen{Condition: c})
	}
	return r
}

// Read is a result of one value.
func Read(step, part string, value float64, unit string) *pb.Result {
	return &pb.Result{StepId: step, Answer: &pb.Result_Reading{Reading: &pb.Reading{
		Values: []*pb.Value{{Part: part, AsTyped: value, Unit: unit}},
	}}}
}

// Stands is a result of a level; fraction counts between the marks.
func Stands(step string, mark pb.LevelMark, fraction float64) *pb.Result {
	return &pb.Result{StepId: step, Answer: &pb.Result_Level{Level: &pb.Level{Mark: mark, Fraction: fraction}}}
}

// Tread is a result of depths in millimetres, evenly spread across the tread.
func Tread(step string, depths ...float64) *pb.Result {
	section := &pb.TreadSection{}
	for i, d := range depths {
		section.Points = append(section.Points, &pb.TreadPoint{Across: float64(i) / float64(len(depths)-1), AsTyped: d})
	}
	return &pb.Result{StepId: step, Answer: &pb.Result_Profile{Profile: &pb.TreadProfile{
		Unit: "mm", Sections: []*pb.TreadSection{section},
	}}}
}

// NotChecked is a result of nobody having looked.
func NotChecked(step string, reason pb.NotCheckedReason) *pb.Result {
	return &pb.Result{StepId: step, Answer: &pb.Result_NotChecked{NotChecked: &pb.NotChecked{Reason: reason}}}
}

// Sound answers a step as it should be: the value aimed at, or the middle of
// what is plausible; between the marks; the sound condition.
func Sound(step *pb.CheckStep) *pb.Result {
	id := step.GetStepId()
	switch step.GetAnswerKind() {
	case pb.AnswerKind_ANSWER_KIND_READING:
		return soundReading(step)
	case pb.AnswerKind_ANSWER_KIND_PROFILE:
		r := Tread(id, 10, 10, 10)
		r.Confirmed = true
		return r
	case pb.AnswerKind_ANSWER_KIND_LEVEL:
		return Stands(id, pb.LevelMark_LEVEL_MARK_BETWEEN, 0.8)
	}
	for _, c := range step.GetConditions() {
		if c.GetSound() {
			return Seen(id, c.GetId())
		}
	}
	return NotChecked(id, pb.NotCheckedReason_NOT_CHECKED_REASON_NOT_CARRIED)
}

func soundReading(step *pb.CheckStep) *pb.Result {
	reading := &pb.Reading{}
	for i, p := range step.GetParts() {
		value := (p.GetPlausible().GetLeast() + p.GetPlausible().GetGreatest()) / 2
		if i == 0 && step.Target != nil {
			value = step.GetTarget()
		}
		reading.Values = append(reading.Values, &pb.Value{Part: p.GetId(), AsTyped: value, Unit: catalogue.UnitOf(p.GetQuantity())})
	}
	return &pb.Result{StepId: step.GetStepId(), Answer: &pb.Result_Reading{Reading: reading}, Confirmed: true}
}
