package county

import (
	"fmt"

	"bayround/internal/catalogue"
	pb "bayround/proto/bayround/v1"
)

// reads is a result of one value.
func reads(step *pb.CheckStep, value float64, unit string) *pb.Result {
	return &pb.Result{StepId: step.GetStepId(), Answer: &pb.Result_Reading{Reading: &pb.Reading{
		Values: []*pb.Value{{Part: step.GetParts()[0].GetId(), AsTyped: value, Unit: unit}},
	}}}
}

// stands is a result of a level; a share of 0 or less is below the lower mark.
func stands(stepID string, share float64) *pb.Result {
	level := &pb.Level{Mark: pb.LevelMark_LEVEL_MARK_BETWEEN, Fraction: share}
	switch {
	case share <= 0:
		level = &pb.Level{Mark: pb.LevelMark_LEVEL_MARK_BELOW}
	case share > 1:
		level = &pb.Level{Mark: pb.LevelMark_LEVEL_MARK_ABOVE}
	}
	return &pb.Result{StepId: stepID, Answer: &pb.Result_Level{Level: level}}
}

// worn is a result of depths across a tread, in millimetres.
func worn(stepID string, depths ...float64) *pb.Result {
	section := &pb.TreadSection{}
	for i, depth := range depths {
		across := float64(i) / float64(len(depths)-1)
		section.Points = append(section.Points, &pb.TreadPoint{Across: across, AsTyped: depth})
	}
	return &pb.Result{StepId: stepID, Answer: &pb.Result_Profile{Profile: &pb.TreadProfile{
		Unit: "mm", Sections: []*pb.TreadSection{section},
	}}}
}

// shows is a result of one condition, named by its id.
func shows(stepID, condition string) *pb.Result {
	return &pb.Result{StepId: stepID, Answer: &pb.Result_Seen{Seen: &pb.ConditionsSeen{
		Conditions: []*pb.ConditionSeen{{Condition: condition}},
	}}}
}

// tooWarm is a result of nobody having looked because the engine was warm.
func tooWarm(stepID string) *pb.Result {
	return &pb.Result{StepId: stepID, Answer: &pb.Result_NotChecked{NotChecked: &pb.NotChecked{
		Reason: pb.NotCheckedReason_NOT_CHECKED_REASON_ENGINE_WARM,
	}}}
}

// cured says that a result was given after something was put right.
func cured(r *pb.Result, done string, amount float64, unit string) *pb.Result {
	r.Cure = &pb.Cure{Done: done, Amount: amount, Unit: unit}
	return r
}

// noted gives a result a note.
func noted(r *pb.Result, note string) *pb.Result {
	r.Note = note
	return r
}

// nominal is what sound means where the plan aims at nothing: by item, or by item
// and part. The rounds of the demonstration's day say the same.
func nominal(vehicle *pb.VehicleConfiguration, now *pb.RoundConditions) map[string]typedValue {
	volts := vehicle.GetSystemVoltageV() / 12
	return map[string]typedValue{
		"INS-050.odometer": {now.GetOdometerKm(), "km"}, "INS-050.engine_hours": {now.GetEngineHours(), "h"},
		"INS-050.pump_hours": {rounded(now.GetEngineHours()/15, 0.1), "h"}, "ELE-010": {12.8 * volts, "V"},
		"PRE-020": {12, "h"}, "PAP-010": {200, "d"}, "PAP-020": {90, "d"}, "PAP-030": {140, "d"}, "PAP-060.days_left": {200, "d"},
		"CAB-140": {2, "cm"}, "LMP-041": {92, "1/min"}, "LMP-042": {92, "1/min"}, "LMP-121": {130, "1/min"},
		"FLU-040": {-35, "degC"}, "FLU-110": {90, "%"}, "FLU-120": {80, "%"},
		"ENG-110": {2, "s"}, "ENG-120": {2, "s"}, "ENG-140": {14.1 * volts, "V"}, "ENG-150": {10 * volts, "V"}, "ENG-160": {86, "degC"}, "RSV-030": {2, "d"},
		"BRA-040": {8.2, "bar"}, "BRA-100": {32, "s"}, "BRA-110": {8.5, "bar"}, "BRA-120": {0.04, "bar/min"},
		"BRA-130": {0.07, "bar/min"}, "BRA-140": {4.6, "bar"},
		"PMP-030": {10, "bar"}, "PMP-040.vacuum": {0.85, "bar"}, "PMP-040.loss": {0.03, "bar/min"},
		"HVE-010": {96, "%"}, "HVE-050": {18, "degC"}, "HVE-070": {25.6, "V"},
		"AMB-030.main": {160, "bar"}, "AMB-030.portable": {180, "bar"}, "TYR-200": {3, "a"}, "AMB-040": {70, "kPa"}, "AMB-080": {5, "degC"},
		"TRL-080": {60, "kg"}, "CLN-030.volume": {0, "L"}, "CLN-030.mass": {0, "kg"}, "CLN-030.pressure": {0, "bar"},
	}
}

// typedValue is a value as somebody types it.
type typedValue struct {
	value float64
	unit  string
}

// sound is the answer of a step at which all is well on a visit.
func (l *life) sound(step *pb.CheckStep, v *visit) (*pb.Result, error) {
	switch step.GetAnswerKind() {
	case pb.AnswerKind_ANSWER_KIND_READING:
		return l.soundReading(step, v), nil
	case pb.AnswerKind_ANSWER_KIND_PROFILE:
		return worn(step.GetStepId(), 9, 9, 9, 9, 9), nil
	case pb.AnswerKind_ANSWER_KIND_LEVEL:
		return stands(step.GetStepId(), 0.9), nil
	}
	for _, c := range step.GetConditions() {
		if c.GetSound() {
			return shows(step.GetStepId(), c.GetId()), nil
		}
	}
	return nil, fmt.Errorf("%s has no sound answer", step.GetStepId())
}

// soundReading is the nominal value of each part, else the target, else the
// middle of what is plausible.
func (l *life) soundReading(step *pb.CheckStep, v *visit) *pb.Result {
	nominal := nominal(l.vehicle, v.conditions)
	reading := &pb.Reading{}
	for i, part := range step.GetParts() {
		value, ok := nominal[step.GetItem()+"."+part.GetId()]
		if !ok && len(step.GetParts()) == 1 {
			value, ok = nominal[step.GetItem()]
		}
		if !ok {
			si := (part.GetPlausible().GetLeast() + part.GetPlausible().GetGreatest()) / 2
			if i == 0 && step.Target != nil {
				si = step.GetTarget()
			}
			value = typedValue{si, catalogue.UnitOf(part.GetQuantity())}
		}
		reading.Values = append(reading.Values, &pb.Value{Part: part.GetId(), AsTyped: value.value, Unit: value.unit})
	}
	return &pb.Result{StepId: step.GetStepId(), Answer: &pb.Result_Reading{Reading: reading}}
}
