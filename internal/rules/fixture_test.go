package rules_test

import (
	"testing"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// catalogue is a small catalogue: tyres, a lamp, wheel nuts, oil, an air test
// and the battery. Faults and words are invented for the tests.
func catalogue() *pb.Catalogue {
	fault := func(id, text string, now bool) *pb.Fault {
		return &pb.Fault{Id: id, Text: text, DriverDoes: "Report it: " + text, PutRightNow: now, Source: "invented"}
	}
	part := func(id string, q pb.Quantity) []*pb.ReadingPart { return []*pb.ReadingPart{{Id: id, Quantity: q}} }
	return &pb.Catalogue{Version: "test", Items: []*pb.Item{
		{Id: "TYR-010", Title: "Tyre pressure", AnswerKind: pb.AnswerKind_ANSWER_KIND_READING, Parts: part("pressure", pb.Quantity_QUANTITY_PRESSURE), Faults: []*pb.Fault{fault("TYR-010-01", "tyre too soft", true)}},
		{Id: "TYR-020", Title: "Tyre condition", AnswerKind: pb.AnswerKind_ANSWER_KIND_CONDITION, Faults: []*pb.Fault{
			fault("TYR-020-01", "cut to the cord", false), fault("TYR-020-02", "bulge", false), fault("TYR-020-03", "stone in the tread", true),
		}},
		{Id: "TYR-030", Title: "Tread depth", AnswerKind: pb.AnswerKind_ANSWER_KIND_PROFILE, Parts: part("tread_depth", pb.Quantity_QUANTITY_LENGTH), Faults: []*pb.Fault{fault("TYR-030-01", "tread too shallow", false)}},
		{Id: "WHL-010", Title: "Wheel nuts", AnswerKind: pb.AnswerKind_ANSWER_KIND_CONDITION, Faults: []*pb.Fault{fault("WHL-010-01", "nuts missing or loose", false)}},
		{Id: "LMP-010", Title: "Stop lamp", AnswerKind: pb.AnswerKind_ANSWER_KIND_CONDITION, Faults: []*pb.Fault{
			fault("LMP-010-01", "does not light", false), fault("LMP-010-02", "glass broken", false),
		}},
		{Id: "FLU-010", Title: "Engine oil", AnswerKind: pb.AnswerKind_ANSWER_KIND_LEVEL, Faults: []*pb.Fault{fault("FLU-010-01", "oil below the mark", true)}},
		{Id: "FLU-020", Title: "Brake fluid", AnswerKind: pb.AnswerKind_ANSWER_KIND_LEVEL, Faults: []*pb.Fault{
			fault("FLU-020-01", "fluid low", true), fault("FLU-020-02", "fluid dirty", false), fault("FLU-020-03", "cap loose", true),
		}},
		{Id: "AIR-010", Title: "Air test", AnswerKind: pb.AnswerKind_ANSWER_KIND_READING, Parts: part("leak", pb.Quantity_QUANTITY_PRESSURE_RATE)},
		{Id: "BAT-010", Title: "Battery at rest", AnswerKind: pb.AnswerKind_ANSWER_KIND_READING, Parts: part("rest_voltage", pb.Quantity_QUANTITY_VOLTAGE)},
	}}
}

// vehicle has a steering axle and a driven one with twins.
func vehicle(packs ...string) *pb.VehicleConfiguration {
	tyre := &pb.Tyre{Size: "295/80 R22.5", ColdPressureKpa: 850}
	return &pb.VehicleConfiguration{
		Name: "vehicles/wn11", CallSign: "WN11", Title: "pump, 18 t, newer",
		Category: pb.VehicleCategory_VEHICLE_CATEGORY_N3, GrossMassKg: 18000,
		Dimensions: &pb.Dimensions{LengthM: 8.2, WidthM: 2.5, HeightM: 3.3},
		PowerTrain: pb.PowerTrain_POWER_TRAIN_DIESEL, BrakingSystem: pb.BrakingSystem_BRAKING_SYSTEM_AIR,
		Axles:    []*pb.Axle{{Steers: true, WheelsPerSide: 1, Tyre: tyre}, {Driven: true, WheelsPerSide: 2, Tyre: tyre}},
		Features: []string{"pump", "newer"}, RulePacks: packs, SystemVoltageV: 24,
	}
}

// rule is a rule on one result with everything a rule must have.
func rule(id string, change func(*pb.Rule)) *pb.Rule {
	r := &pb.Rule{
		Id: id, Scope: pb.RuleScope_RULE_SCOPE_RESULT,
		Grade: pb.Grade_GRADE_MAJOR, Effect: pb.Effect_EFFECT_RESPONDING, Text: "Found by " + id,
		Source: &pb.Source{Title: "invented for the test", Status: pb.SourceStatus_SOURCE_STATUS_SERVICE_POLICY},
	}
	change(r)
	return r
}

func pack(rs ...*pb.Rule) *pb.RulePack {
	return &pb.RulePack{Name: "packs/test", Version: "1", Title: "test", Authority: "test", Rules: rs}
}

// judge compiles packs and prepares the judge of a vehicle that is under all of them.
func judge(t testing.TB, packs ...*pb.RulePack) *rules.Judge {
	t.Helper()
	e, err := rules.Compile(packs, catalogue())
	if err != nil {
		t.Fatalf("compile: %v", err)
	}
	names := make([]string, len(packs))
	for i, p := range packs {
		names[i] = p.GetName()
	}
	j, err := e.For(vehicle(names...))
	if err != nil {
		t.Fatalf("judge of the vehicle: %v", err)
	}
	return j
}

// step makes a step of an item at a place; the parts of reading items are set
// here. Two tanks of brake fluid are looked at together.
func step(item, place string) *pb.CheckStep {
	s := &pb.CheckStep{StepId: item + "/" + place, Item: item, Title: item, Alike: 1, Place: &pb.Place{Id: place, Title: place}}
	part := func(id string, q pb.Quantity) { s.Parts = append(s.Parts, &pb.ReadingPart{Id: id, Quantity: q}) }
	condition := func(id, fault string) {
		s.Conditions = append(s.Conditions, &pb.Condition{Id: id, Meaning: &pb.Condition_Fault{Fault: fault}})
	}
	for _, i := range catalogue().GetItems() {
		if i.GetId() == item {
			s.AnswerKind = i.GetAnswerKind()
		}
	}
	if s.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_CONDITION {
		s.Conditions = []*pb.Condition{{Id: "sound", Meaning: &pb.Condition_Sound{Sound: true}}}
	}
	switch item {
	case "TYR-010":
		part("pressure", pb.Quantity_QUANTITY_PRESSURE)
		s.Target = new(float64)
		*s.Target = 850
	case "TYR-020":
		condition("01", "TYR-020-01")
		condition("02", "TYR-020-02")
		condition("03", "TYR-020-03")
	case "TYR-030":
		part("tread_depth", pb.Quantity_QUANTITY_LENGTH)
	case "WHL-010":
		condition("01", "WHL-010-01")
		s.Alike = 10
	case "LMP-010":
		condition("01", "LMP-010-01")
		condition("02", "LMP-010-02")
		s.LampFunction = pb.LampFunction_LAMP_FUNCTION_STOP
	case "FLU-020":
		condition("01", "FLU-020-01")
		condition("02", "FLU-020-02")
		condition("03", "FLU-020-03")
		s.Alike = 2
	case "AIR-010":
		part("leak", pb.Quantity_QUANTITY_PRESSURE_RATE)
		part("warning", pb.Quantity_QUANTITY_PRESSURE)
		part("build_up", pb.Quantity_QUANTITY_DURATION)
	case "BAT-010":
		part("rest_voltage", pb.Quantity_QUANTITY_VOLTAGE)
	}
	return s
}

// wheel makes a step at a wheel.
func wheel(item string, axle int32, side pb.Side, twin pb.TwinPosition) *pb.CheckStep {
	places := map[pb.Side]string{pb.Side_SIDE_NEARSIDE: "nearside", pb.Side_SIDE_OFFSIDE: "offside"}
	twins := map[pb.TwinPosition]string{pb.TwinPosition_TWIN_POSITION_OUTER: "-outer", pb.TwinPosition_TWIN_POSITION_INNER: "-inner"}
	s := step(item, "axle-"+string(rune('0'+axle))+"-"+places[side]+twins[twin])
	s.Axle, s.Side, s.Twin = axle, side, twin
	return s
}

// result makes an answer; number tells results apart and orders them in time.
func result(s *pb.CheckStep, number int, change func(*pb.Result)) *pb.Result {
	r := &pb.Result{
		ResultId: "00000000-0000-4000-8000-" + string([]byte{byte('a' + number/26%26), byte('a' + number%26)}), StepId: s.GetStepId(),
		StationTime: &timestamppb.Timestamp{Seconds: int64(1_750_000_000 + number)}, Round: "rounds/today",
	}
	change(r)
	return r
}

// reading observes values in the order of the step's parts.
func reading(s *pb.CheckStep, number int, values ...float64) *pb.Observation {
	return rules.Observe(s, result(s, number, func(r *pb.Result) {
		answer := &pb.Reading{}
		for i, v := range values {
			answer.Values = append(answer.Values, &pb.Value{Part: s.GetParts()[i].GetId(), AsTyped: v, Si: v})
		}
		r.Answer = &pb.Result_Reading{Reading: answer}
	}))
}

// seen observes conditions, by id.
func seen(s *pb.CheckStep, number int, conditions ...string) *pb.Observation {
	return rules.Observe(s, result(s, number, func(r *pb.Result) {
		answer := &pb.ConditionsSeen{}
		for _, c := range conditions {
			answer.Conditions = append(answer.Conditions, &pb.ConditionSeen{Condition: c})
		}
		r.Answer = &pb.Result_Seen{Seen: answer}
	}))
}

// seenCount observes one condition on so many of so many.
func seenCount(s *pb.CheckStep, condition string, affected, of int32) *pb.Observation {
	return rules.Observe(s, result(s, 1, func(r *pb.Result) {
		r.Answer = &pb.Result_Seen{Seen: &pb.ConditionsSeen{Conditions: []*pb.ConditionSeen{
			{Condition: condition, Count: &pb.Count{Affected: affected, Of: of}},
		}}}
	}))
}

// tread observes one profile with depths at even distances across the tread.
func tread(s *pb.CheckStep, depths ...float64) *pb.Observation {
	return rules.Observe(s, result(s, 1, func(r *pb.Result) {
		section := &pb.TreadSection{}
		for i, d := range depths {
			section.Points = append(section.Points, &pb.TreadPoint{Across: float64(i) / float64(len(depths)-1), AsTyped: d, DepthMm: d})
		}
		r.Answer = &pb.Result_Profile{Profile: &pb.TreadProfile{Unit: "mm", Sections: []*pb.TreadSection{section}}}
	}))
}

// level observes a level.
func level(s *pb.CheckStep, mark pb.LevelMark, fraction float64) *pb.Observation {
	return rules.Observe(s, result(s, 1, func(r *pb.Result) {
		r.Answer = &pb.Result_Level{Level: &pb.Level{Mark: mark, Fraction: fraction}}
	}))
}

// beside observes a level and, beside it, conditions by id.
func beside(s *pb.CheckStep, mark pb.LevelMark, conditions ...string) *pb.Observation {
	o := level(s, mark, 0)
	for _, c := range conditions {
		o.Result.AlsoSeen = append(o.Result.AlsoSeen, &pb.ConditionSeen{Condition: c})
	}
	return rules.Observe(s, o.GetResult())
}

// ruleIDs names the rules of findings, in order.
func ruleIDs(fs []*pb.Finding) []string {
	ids := []string{}
	for _, f := range fs {
		ids = append(ids, f.GetRule())
	}
	return ids
}
