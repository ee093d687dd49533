package screen

import (
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// sampleNow is a cold morning at Skarholm Quay.
var sampleNow = time.Date(2026, 11, 25, 7, 42, 0, 0, time.UTC)

func ago(d time.Duration) *timestamppb.Timestamp { return timestamppb.New(sampleNow.Add(-d)) }

// sampleViews is one view of every phase, every kind of answer and every state
// that looks different, made of the demo county's own configurations and plans.
func sampleViews(t testing.TB) map[string]*round.View {
	t.Helper()
	views := map[string]*round.View{}
	for _, add := range []func(testing.TB, map[string]*round.View){startViews, stepViews, takenViews, askedViews, stateViews, closingViews, turnoutViews, answerViews, tellViews} {
		add(t, views)
	}
	return views
}

// sampleNames is the names of all samples, in order.
func sampleNames(t testing.TB) []string {
	return slices.Sorted(maps.Keys(sampleViews(t)))
}

func baseView(t testing.TB) *round.View {
	loaded := loadCounty(t)
	v := &round.View{
		Version: 1, Now: sampleNow, TimeZone: time.UTC, Station: "Skarholm Quay",
		Link: round.Link{Live: true, Since: sampleNow.Add(-3 * time.Hour)}, People: loaded.People,
	}
	oil := &pb.StockedMaterial{Id: "engine-oil", Title: "engine oil", Unit: pb.StockUnit_STOCK_UNIT_ML, Items: []string{"FLU-010"}}
	coolant := &pb.StockedMaterial{Id: "coolant", Title: "coolant mix", Unit: pb.StockUnit_STOCK_UNIT_ML, Items: []string{"FLU-030"}}
	v.Stock = []*pb.Stock{
		{Station: "stations/skarholm-quay", StationTitle: "Skarholm Quay", Material: oil, Text: "engine oil: 3 l left, low", Low: true},
		{Station: "stations/skarholm-quay", StationTitle: "Skarholm Quay", Material: coolant, Text: "coolant mix: 20 l left"},
	}
	v.StockTold = sampleNow.Add(-time.Hour)
	for _, g := range loaded.Gauges {
		if g.GetStation() == "stations/skarholm-quay" {
			v.Gauges = append(v.Gauges, g)
		}
	}
	return v
}

func person(t testing.TB, name string) *pb.Person {
	t.Helper()
	for _, p := range loadCounty(t).People {
		if strings.HasSuffix(p.GetName(), name) {
			return p
		}
	}
	t.Fatalf("nobody is called %s", name)
	return nil
}

// walkView is a view of the tablet at one step of a round.
func walkView(t testing.TB, callSign, routineName, stepID string) *round.View {
	t.Helper()
	v := baseView(t)
	all := steps(t, callSign, routineName)
	at := slices.IndexFunc(all, func(s *pb.CheckStep) bool { return s.GetStepId() == stepID })
	if at < 0 {
		t.Fatalf("%s has no %s in its %s check", callSign, stepID, routineName)
	}
	v.Phase = round.PhaseStep
	v.Chosen = sampleVehicle(t, callSign)
	v.Session = &round.Session{Driver: person(t, "arkwith"), Assistant: person(t, "venholt")}
	v.Round = walkOf(routine(t, routineName), all, at)
	v.Round.Walk = walkFor(t, callSign, routineName, false)
	s := proto.Clone(all[at]).(*pb.CheckStep) // samples change their step
	v.Step = &round.Step{CheckStep: s, Entry: round.Entry{Kind: s.GetAnswerKind()}, Undoes: s.GetUndoS()}
	for _, c := range s.GetConditions() {
		v.Step.Entry.Choices = append(v.Step.Entry.Choices, round.Choice{Condition: c})
	}
	for i, part := range s.GetParts() {
		v.Step.Entry.Fields = append(v.Step.Entry.Fields, round.Field{ID: part.GetId(), Title: part.GetTitle(), Unit: s.GetUnits()[i], Active: i == 0})
	}
	return v
}

func sampleVehicle(t testing.TB, callSign string) *round.Vehicle {
	v := round.Vehicle{Configuration: vehicle(t, callSign), Readiness: sampleReadiness(callSign)}
	for _, r := range loadCounty(t).Routines {
		n := len(steps(t, callSign, strings.TrimPrefix(r.GetName(), "routines/")))
		due := 0
		if r.GetName() == "routines/shift" || r.GetName() == "routines/weekly" && callSign != "WN11" {
			due = n
		}
		one := round.RoutineDue{Routine: r, Steps: n, Unproven: due}
		if r.GetName() == "routines/shift" {
			one.Along = "with 29 of the weekly check, 1 of the monthly check"
		}
		v.Routines = append(v.Routines, one)
	}
	return &v
}

var (
	beltFinding = &pb.Finding{
		FindingId: "00000000000000000000000000000001", Grade: pb.Grade_GRADE_MINOR, Effect: pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT, Text: "Belt of crew seat 3 does not latch.",
		Restrictions: []*pb.Restriction{{Kind: pb.RestrictionKind_RESTRICTION_KIND_RIDERS, Text: "five riders at most, none on crew seat 3"}},
		DriverDoes:   "Mark the seat, tell the officer in charge.",
	}
	tyreFinding = &pb.Finding{
		FindingId: "00000000000000000000000000000002", Grade: pb.Grade_GRADE_MAJOR, Effect: pb.Effect_EFFECT_RESPONDING,
		Text:       "Rear inner tyre, rear axle, nearside, 22 % low: 6.2 bar, placard 8.0 bar.",
		DriverDoes: "Find the cause before inflating.",
	}
	brakeFinding = &pb.Finding{
		FindingId: "00000000000000000000000000000003", Grade: pb.Grade_GRADE_DANGEROUS, Effect: pb.Effect_EFFECT_MOVING, Text: "Brake pedal sinks under the foot.",
		DriverDoes: "Stop here. Brake set, chocks in, key out, vehicle marked; tell the officer in charge and control at once.",
	}
	pumpFinding = &pb.Finding{
		FindingId: "00000000000000000000000000000004", Grade: pb.Grade_GRADE_MAJOR, Effect: pb.Effect_EFFECT_NOTHING, Text: "Pump does not hold its vacuum: 0.25 bar lost in a minute.",
		CapabilitiesLost: []string{"pump", "first water"}, DriverDoes: "Tell control which capability is lost.",
	}
)

func defectOf(f *pb.Finding, step string, times int32) *pb.Defect {
	return &pb.Defect{
		Name: "vehicles/wn11/defects/" + step, StepId: step, State: pb.DefectState_DEFECT_STATE_OPEN, Findings: []*pb.Finding{f},
		TimesFound: times, FirstFound: ago(26 * time.Hour * time.Duration(times)), LastFound: ago(time.Hour),
	}
}

// sampleReadiness gives every verdict to some vehicle.
func sampleReadiness(callSign string) *pb.Readiness {
	r := &pb.Readiness{CallSign: callSign, Verdict: pb.Verdict_VERDICT_UNPROVEN, Since: ago(10 * time.Hour), AsOf: ago(0)}
	unproven := &pb.Unproven{Required: 220}
	for range 12 {
		unproven.Steps = append(unproven.Steps, &pb.UnprovenStep{Title: "Coolant level"})
	}
	missing := &pb.Reason{Verdict: pb.Verdict_VERDICT_UNPROVEN, Text: "12 required steps prove nothing now.", Cause: &pb.Reason_Unproven{Unproven: unproven}}
	found := func(verdict pb.Verdict, f *pb.Finding) {
		r.Verdict = verdict
		r.OpenDefects = append(r.OpenDefects, defectOf(f, "CAB-040/seat-crew-3", 3))
		r.Reasons = append(r.Reasons, &pb.Reason{Verdict: verdict, Text: f.GetText(), Cause: &pb.Reason_Defect{Defect: r.OpenDefects[0].GetName()}})
		r.Restrictions = append(r.Restrictions, f.GetRestrictions()...)
		for _, word := range f.GetCapabilitiesLost() {
			r.Capabilities = append(r.Capabilities, &pb.CapabilityState{Capability: word, LostBecause: []string{f.GetText()}})
		}
	}
	r.DueNext = []*pb.DueStep{{Due: timestamppb.New(sampleNow.Add(11 * time.Hour)), Steps: 142}}
	switch callSign {
	case "WN11":
		found(pb.Verdict_VERDICT_RESTRICTED, beltFinding)
		r.Until = timestamppb.New(sampleNow.Add(11 * time.Hour))
	case "WN12", "WN31":
		r.Verdict = pb.Verdict_VERDICT_FIT
		found(pb.Verdict_VERDICT_FIT, pumpFinding)
	case "WN13":
		found(pb.Verdict_VERDICT_UNFIT, brakeFinding)
	case "WN21":
		found(pb.Verdict_VERDICT_MOVE_ONLY, tyreFinding)
		r.WaysBack = []*pb.WayBack{{LeadsTo: pb.Verdict_VERDICT_UNPROVEN, Text: "repair the rear inner tyre and read it again"}}
	default:
		r.Reasons = append(r.Reasons, missing)
	}
	return r
}

func startViews(t testing.TB, views map[string]*round.View) {
	v := baseView(t)
	v.Phase = round.PhaseVehicles
	for _, callSign := range []string{"WN13", "WN21", "WN22", "WN32", "WN90", "T1", "WN11", "WN12", "WN31", "T2"} {
		v.Vehicles = append(v.Vehicles, *sampleVehicle(t, callSign))
	}
	v.Vehicles[2].Resumable = []*pb.Round{{Name: "rounds/7", Routine: "routines/shift", Steps: 120, Answered: 47}}
	v.Vehicles[3].Provisional = true
	v.Vehicles[1].HandOver = sampleNow.Add(-3 * time.Hour)
	v.Vehicles[4].Readiness.Holding, v.Vehicles[4].Readiness.AnswersTo = &pb.CallSignHolding{AnswersTo: "WN21", CountsFrom: ago(time.Hour)}, "WN21"
	v.Vehicles[6].Lapsing = []*pb.Defect{sampleDefects(t)["deferred"]}
	v.Vehicles[0].Stopped = []round.Stopped{stoppedSample(t)}
	ready := stoppedSample(t)
	ready.Missing = ""
	v.Vehicles[3].Stopped = []round.Stopped{ready}
	v.Session = &round.Session{Driver: person(t, "arkwith")}
	for i, callSign := range []string{"WN11", "WN21"} {
		v.Awaiting = append(v.Awaiting, round.Awaiting{
			Round: &pb.Round{Name: "rounds/9", Device: "tablet-2"}, CallSign: callSign, Routine: "shift check", Driver: "Tamsel Arkwith",
			Finished: sampleNow.Add(-time.Hour), Here: i == 0,
		})
	}
	v.Stocked = true
	views["vehicles"] = v

	v = baseView(t)
	v.Phase, v.Link = round.PhaseVehicles, round.Link{}
	views["vehicles-none"] = v

	v = baseView(t)
	v.Phase, v.Chosen = round.PhaseSignIn, sampleVehicle(t, "WN11")
	views["sign-in"] = v
	locked := *v
	locked.Locked = []*pb.Person{person(t, "quellmere")}
	locked.Notice = &round.Notice{Reason: "PIN_WRONG", Message: "Wrong PIN; 2 more tries before a wait", At: sampleNow}
	views["sign-in-locked"] = &locked
	badge := *v
	badge.TakesBadges, badge.Badge = true, person(t, "quellmere")
	views["sign-in-badge"] = &badge
	v = baseView(t)
	v.Phase, v.Chosen, v.People = round.PhaseSignIn, sampleVehicle(t, "WN11"), nil
	views["sign-in-nobody"] = v
	v = baseView(t)
	v.Phase, v.Chosen = round.PhaseSignIn, sampleVehicle(t, "WN11")
	v.Session = &round.Session{Driver: person(t, "arkwith"), Offline: true}
	v.Notice = &round.Notice{Reason: "PIN_OFFLINE", Message: "The station was not reached; the PIN was checked on this tablet.", At: sampleNow}
	views["sign-in-assistant"] = v

	before := func() *round.View {
		v := baseView(t)
		v.Phase, v.Chosen = round.PhaseBefore, sampleVehicle(t, "WN11")
		v.Session = &round.Session{Driver: person(t, "arkwith"), Assistant: person(t, "venholt")}
		v.Before = &round.Before{
			ColdSteps: 14, Quantities: []pb.Quantity{pb.Quantity_QUANTITY_PRESSURE, pb.Quantity_QUANTITY_LENGTH, pb.Quantity_QUANTITY_VOLTAGE},
			Gauges:  map[pb.Quantity]string{},
			Figures: []round.Figure{{ID: "driven", Title: "Driven since it was cold", Unit: "km"}, {ID: "odometer", Title: "Odometer", Unit: "km"}, {ID: "hours", Title: "Engine hours", Unit: "h"}},
		}
		return v
	}
	views["before"] = before()
	v = before()
	stopped, cold := sampleNow.Add(-65*time.Minute), sampleNow.Add(115*time.Minute)
	v.Before.EngineStopped, v.Before.ColdAt, v.Before.AmbientText = &stopped, &cold, "-3"
	v.Before.Figures[1].Text = "48210"
	v.Before.Gauges[pb.Quantity_QUANTITY_PRESSURE] = "gauges/g-07"
	views["before-warm"] = v
	v = before()
	v.Before.Resuming, v.Before.Unknown, v.Before.AskRun = true, true, true
	views["before-resuming"] = v
	v = before()
	v.Before.EngineStopped, v.Session.Assistant = &stopped, nil
	v.Before.NotAlone = []string{"Steering joints, front axle", "Brake lamps go out with the pedal"}
	v.Before.Time = &round.Time{Whole: 1252 * time.Second, Must: 643 * time.Second, Minutes: []int{11, 15, 20}, Chosen: 15, Takes: 898 * time.Second}
	for _, s := range steps(t, "WN11", "shift")[60:103] {
		v.Before.Time.LeftOut = append(v.Before.Time.LeftOut, s.GetTitle())
	}
	views["before-short"] = v
}

func turnoutViews(t testing.TB, views map[string]*round.View) {
	v := walkView(t, "WN11", "weekly", "BRA-140/driver-seat")
	v.Phase = round.PhaseTurnout
	v.Turnout = &round.Turnout{DebtS: 260, Paused: sampleNow.Add(-8 * time.Second), Verdict: pb.Verdict_VERDICT_RESTRICTED, Items: []round.SafeItem{
		{StepID: "PRE-030/parking-brake", Title: "Level, parking brake set, wheels chocked", Place: "wheel chocks", UndoS: 10, Done: true},
		{StepID: "CAB-120/front", Title: "Cab tilt locked", Place: "front", UndoS: 120},
		{StepID: "BRA-140/driver-seat", Title: "Low-air warning comes on", Place: "driver seat", UndoS: 140},
	}}
	views["turnout"] = v
	v = walkView(t, "WN11", "weekly", "BRA-140/driver-seat")
	v.Phase = round.PhaseTurnout
	v.Turnout = &round.Turnout{Paused: sampleNow, Verdict: pb.Verdict_VERDICT_UNPROVEN, Items: []round.SafeItem{
		{StepID: "CAB-120/front", Title: "Cab tilt locked", Place: "front", UndoS: 120, Done: true},
	}}
	views["turnout-safe"] = v
	v = walkView(t, "WN11", "weekly", "BRA-140/driver-seat")
	v.Phase = round.PhaseTurnout
	v.Turnout = &round.Turnout{Paused: sampleNow.Add(-40 * time.Minute), Away: sampleNow.Add(-39 * time.Minute), Verdict: pb.Verdict_VERDICT_RESTRICTED}
	views["turnout-away"] = v
}
