package main

import (
	"fmt"
	"math"

	"bayround/internal/catalogue"
	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// This is how the player imagines what a driver sees on a vehicle that is in
// order. It exists here alone: a station never answers for anybody.

const (
	soundLevel      = 0.95
	soundTreadShare = 0.6 // of the depth when new
	soundTreadMM    = 9   // where the vehicle does not say how deep it was
	soundFrostK     = 15  // how far below the coldest that a station prepares for a coolant protects
)

// soundAnswer puts the sound answer of a step into a result.
func (r *roundFile) soundAnswer(into *pb.Result, step *pb.CheckStep, vehicle *pb.VehicleConfiguration) error {
	switch step.GetAnswerKind() {
	case pb.AnswerKind_ANSWER_KIND_READING:
		reading, err := r.soundReading(step)
		into.Answer = &pb.Result_Reading{Reading: reading}
		return err
	case pb.AnswerKind_ANSWER_KIND_PROFILE:
		into.Answer = &pb.Result_Profile{Profile: soundProfile(step, vehicle)}
	case pb.AnswerKind_ANSWER_KIND_LEVEL:
		share, err := r.soundShare(step)
		into.Answer = &pb.Result_Level{Level: &pb.Level{Mark: pb.LevelMark_LEVEL_MARK_BETWEEN, Fraction: share}}
		return err
	case pb.AnswerKind_ANSWER_KIND_CONDITION:
		seen, err := conditions(step, []seenFile{{word: "sound"}})
		into.Answer = &pb.Result_Seen{Seen: seen}
		return err
	default:
		return fmt.Errorf("%s asks for an answer that this player does not know", step.GetStepId())
	}
	return nil
}

// soundReading is the nominal value of each part, the target, or the middle of
// what is plausible.
func (r *roundFile) soundReading(step *pb.CheckStep) (*pb.Reading, error) {
	reading := &pb.Reading{}
	for i, part := range step.GetParts() {
		value, err := r.soundValue(step, i)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", step.GetStepId(), err)
		}
		reading.Values = append(reading.Values, &pb.Value{Part: part.GetId(), AsTyped: value.value, Unit: value.unit})
	}
	return reading, nil
}

// soundShare is how high a level stands between its marks.
func (r *roundFile) soundShare(step *pb.CheckStep) (float64, error) {
	value, ok := r.nominal[step.GetItem()]
	if !ok {
		return soundLevel, nil
	}
	share, err := measure.Convert(value.value, value.unit, catalogue.UnitOf(pb.Quantity_QUANTITY_FRACTION))
	if err != nil {
		return 0, fmt.Errorf("nominal %s: %w", step.GetItem(), err)
	}
	return share, nil
}

func (r *roundFile) soundValue(step *pb.CheckStep, i int) (amount, error) {
	part := step.GetParts()[i]
	if value, ok := r.nominal[step.GetItem()+"."+part.GetId()]; ok {
		return value, nil
	}
	if value, ok := r.nominal[step.GetItem()]; ok && len(step.GetParts()) == 1 {
		return value, nil
	}
	if i == 0 && step.Target != nil {
		return targetIn(step)
	}
	middle := (part.GetPlausible().GetLeast() + part.GetPlausible().GetGreatest()) / 2
	return inUnit(middle, step, i)
}

// targetIn is the target of a step in the unit it is read in. A coolant is to protect
// well below the coldest night, which is what its step is judged against.
func targetIn(step *pb.CheckStep) (amount, error) {
	target := step.GetTarget()
	if step.GetFluid() == pb.FluidKind_FLUID_KIND_COOLANT && step.GetParts()[0].GetQuantity() == pb.Quantity_QUANTITY_TEMPERATURE {
		target -= soundFrostK
	}
	return inUnit(target, step, 0)
}

// inUnit gives a value of one part in the unit in which it is read, as an
// instrument shows it: with four figures.
func inUnit(value float64, step *pb.CheckStep, i int) (amount, error) {
	kept := catalogue.UnitOf(step.GetParts()[i].GetQuantity())
	unit := kept
	if i < len(step.GetUnits()) && step.GetUnits()[i] != "" {
		unit = step.GetUnits()[i]
	}
	converted, err := measure.Convert(value, kept, unit)
	if err != nil {
		return amount{}, err
	}
	return amount{value: figures(converted, 4), unit: unit}, nil
}

// figures rounds to n significant figures.
func figures(x float64, n int) float64 {
	if x == 0 {
		return 0
	}
	scale := math.Pow10(n - 1 - int(math.Floor(math.Log10(math.Abs(x)))))
	return math.Round(x*scale) / scale
}

// soundProfile is a tread that is evenly worn to a part of its depth when new.
func soundProfile(step *pb.CheckStep, vehicle *pb.VehicleConfiguration) *pb.TreadProfile {
	depth := float64(soundTreadMM)
	if axle := int(step.GetAxle()); axle >= 1 && axle <= len(vehicle.GetAxles()) {
		if fresh := vehicle.GetAxles()[axle-1].GetTyre().GetNewTreadMm(); fresh > 0 {
			depth = figures(fresh*soundTreadShare, 3)
		}
	}
	section := &pb.TreadSection{}
	for _, across := range []float64{0, 0.25, 0.5, 0.75, 1} {
		section.Points = append(section.Points, &pb.TreadPoint{Across: across, AsTyped: depth})
	}
	return &pb.TreadProfile{Unit: "mm", Sections: []*pb.TreadSection{section}}
}

// conditions finds the conditions of a step that the words name: by their own
// id, by their fault, or as sound.
func conditions(step *pb.CheckStep, seen []seenFile) (*pb.ConditionsSeen, error) {
	all := &pb.ConditionsSeen{}
	for _, one := range seen {
		found := false
		for _, c := range step.GetConditions() {
			if c.GetId() == one.word || c.GetFault() == one.word || (one.word == "sound" && c.GetSound()) {
				all.Conditions = append(all.Conditions, &pb.ConditionSeen{Condition: c.GetId(), Count: one.count})
				found = true
				break
			}
		}
		if !found {
			return nil, fmt.Errorf("%s has no condition %q", step.GetStepId(), one.word)
		}
	}
	return all, nil
}
