package plan_test

import (
	"fmt"
	"slices"
	"testing"

	"bayround/internal/plan"
	pb "bayround/proto/bayround/v1"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"
)

// TestBuild_RemovedFeatureRemovesOnlyItsItems: drivers build habits on the plan,
// so nothing else may move, not even change places.
func TestBuild_RemovedFeatureRemovesOnlyItsItems(t *testing.T) {
	loaded := loadDefaults(t)
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t, loaded)
		if len(in.Vehicle.GetFeatures()) == 0 {
			t.Skip("no feature to remove")
		}
		before := plan.Build(in).GetSteps()
		gone := rapid.SampledFrom(in.Vehicle.GetFeatures()).Draw(t, "removed")
		without := in
		without.Vehicle = proto.CloneOf(in.Vehicle)
		without.Vehicle.Features = slices.DeleteFunc(without.Vehicle.Features, func(w string) bool { return w == gone })
		after := map[string]*pb.CheckStep{}
		for _, s := range plan.Build(without).GetSteps() {
			after[s.GetStepId()] = s
		}
		for _, s := range before {
			item := itemOf(in.Catalogue, s.GetItem())
			if stays := fitsVehicle(item, without.Vehicle); stays != (after[s.GetStepId()] != nil) {
				t.Errorf("without %q, step %q stays: %v, want %v", gone, s.GetStepId(), !stays, stays)
			}
			delete(after, s.GetStepId())
		}
		for id := range after {
			t.Errorf("without %q there is a new step %q", gone, id)
		}
	})
}

func itemOf(c *pb.Catalogue, id string) *pb.Item {
	for _, item := range c.GetItems() {
		if item.GetId() == id {
			return item
		}
	}
	return nil
}

// changesStatesLeast checks the order by the words of its promise:
// engine and ignition are never switched back before the close-down, the
// assistant is needed in one stretch of each state, and nothing is put off until the
// engine was stopped again but for what must come before it.
func changesStatesLeast(t *rapid.T, in plan.Input, p *pb.Plan) {
	t.Helper()
	var done []string // every stretch that was begun, the present one last
	at := map[string]int{}
	latest, closing := 0, false
	for _, s := range p.GetSteps() {
		states := ranks(s)
		if s.GetStop() == "close-down" && s.GetState().GetEngine() == pb.EngineState_ENGINE_STATE_OFF {
			closing, states = true, []int{9}
		}
		if closing && states[0] != 9 {
			t.Errorf("step %q comes after the close-down", s.GetStepId())
		}
		i := slices.IndexFunc(states, func(state int) bool { return state >= latest })
		if i < 0 {
			t.Errorf("step %q (%v) comes too late", s.GetStepId(), s.GetState())
			continue
		}
		after := itemOf(in.Catalogue, s.GetItem()).GetAfter()
		if i > 0 && !slices.ContainsFunc(after, func(id string) bool { return at[id] > states[i-1] }) {
			t.Errorf("step %q (%v) is put off and nothing that must come before it says why", s.GetStepId(), s.GetState())
		}
		latest = states[i]
		at[s.GetItem()] = max(at[s.GetItem()], latest)
		stretch := fmt.Sprint(latest, s.GetState().GetAssistant())
		if len(done) == 0 || done[len(done)-1] != stretch {
			if s.GetState().GetAssistant() && slices.Contains(done, stretch) && !waitsFor(in.Catalogue, at, s) {
				t.Errorf("step %q: the assistant is called away and back (%v)", s.GetStepId(), done)
			}
			done = append(done, stretch)
		}
	}
}

// waitsFor tells that a step must come behind something of the plan that needs the
// assistant where it does not, or the other way round.
func waitsFor(c *pb.Catalogue, met map[string]int, s *pb.CheckStep) bool {
	return slices.ContainsFunc(itemOf(c, s.GetItem()).GetAfter(), func(id string) bool {
		_, here := met[id]
		return here && itemOf(c, id).GetState().GetAssistant() != s.GetState().GetAssistant()
	})
}

// ranks are the states of a vehicle in which a step can be done, in the order in which
// they follow each other in a check: what wants the engine off can be done before the
// start, or when it was stopped again.
func ranks(s *pb.CheckStep) []int {
	first := rank(s)
	switch {
	case first > 2 || s.GetState().GetEngine() == pb.EngineState_ENGINE_STATE_COLD:
		return []int{first}
	case first == 2 && s.GetStop() == "engine-running":
		return []int{6}
	case first == 2:
		return []int{2, 6}
	}
	return []int{1, 7}
}

// rank orders the states of a vehicle as they follow each other in a check.
func rank(s *pb.CheckStep) int {
	switch s.GetState().GetEngine() {
	case pb.EngineState_ENGINE_STATE_COLD_START:
		return 3
	case pb.EngineState_ENGINE_STATE_RUNNING:
		return 4
	case pb.EngineState_ENGINE_STATE_RUNNING_WARM:
		return 5
	}
	if s.GetState().GetIgnitionOn() {
		return 2
	}
	return 1
}

// TestBuild_DemoCountyAirTests: air is let off only when the engine has charged
// the system and nothing else wants it running, so that it is charged once, before
// the vehicle is handed on; what wants the ignition off at the same stop still
// comes before the start. reference/job-map.md, A2, rows 10 and 11.
func TestBuild_DemoCountyAirTests(t *testing.T) {
	loaded := plan.LoadCounty(t)
	charged, braked := 0, 0
	for _, v := range loaded.Vehicles {
		at := map[string]int{}
		start, ran := -1, -1
		steps := plan.Build(plan.Input{Vehicle: v, Catalogue: loaded.Catalogue, Routine: everything()}).GetSteps()
		for i, s := range steps {
			at[s.GetItem()] = i
			if state := rank(s); state == 3 && start < 0 {
				start = i
			} else if state == 4 || state == 5 {
				ran = i
			}
		}
		for _, item := range []string{"BRA-120", "BRA-130", "BRA-140", "BRA-150"} {
			i, due := at[item]
			if !due {
				continue
			}
			charged++
			if i < ran || i < at["BRA-100"] || i > at["CLN-020"] {
				t.Errorf("%s: %s is step %d of %d, the engine runs up to step %d", v.GetCallSign(), item, i, len(steps), ran)
			}
		}
		if i, due := at["BRH-100"]; due {
			braked++
			if i > start {
				t.Errorf("%s: the hydraulic brake is step %d, the start step %d", v.GetCallSign(), i, start)
			}
		}
	}
	if charged == 0 || braked == 0 {
		t.Errorf("%d air tests and %d hydraulic brakes in the county", charged, braked)
	}
}

// TestBuild_AssistantIsNotCalledTwiceInARow: the assisted steps of the first
// state come last and those of the next come first.
func TestBuild_AssistantIsNotCalledTwiceInARow(t *testing.T) {
	in := small(t)
	in.Catalogue = proto.CloneOf(in.Catalogue)
	for _, item := range in.Catalogue.GetItems() {
		if item.GetId() == "CST-010" || item.GetId() == "IGN-010" {
			item.State.Assistant = item.GetId() == "CST-010"
		}
	}
	calls, with := 0, false
	for _, s := range plan.Build(in).GetSteps() {
		if s.GetState().GetAssistant() && !with {
			calls++
		}
		with = s.GetState().GetAssistant()
	}
	if calls != 1 {
		t.Errorf("the assistant is called %d times, for lamps, start and brakes in a row", calls)
	}
}

// TestBuild_WorkedOutPlacesLieInTheOutline: what no configuration says is placed
// inside the box of the vehicle.
func TestBuild_WorkedOutPlacesLieInTheOutline(t *testing.T) {
	loaded := loadDefaults(t)
	const slack = 0.001 // coordinates are rounded to the millimetre
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t, loaded)
		v := in.Vehicle
		v.Places, v.Seats, v.Equipment = nil, nil, nil
		d := v.GetDimensions()
		for _, s := range plan.Build(in).GetSteps() {
			if item := itemOf(in.Catalogue, s.GetItem()); s.GetAxle() == 0 && (s.GetPlace().GetId() != item.GetAnchor() || item.GetAnchor() == "") {
				continue // configured
			}
			at := s.GetPlace().GetAt()
			if at.GetXM() > d.GetFrontOverhangM()+slack || at.GetXM() < d.GetFrontOverhangM()-d.GetLengthM()-slack ||
				max(at.GetYM(), -at.GetYM()) > d.GetWidthM()/2+slack || at.GetZM() < 0 || at.GetZM() > d.GetHeightM()+slack {
				t.Errorf("step %q lies at %v, outside %v", s.GetStepId(), at, d)
			}
		}
	})
}

func TestBuild_LastResultsAreNotPartOfTheDigest(t *testing.T) {
	in := small(t)
	without := plan.Build(in)
	last := &pb.Result{ResultId: "r1"}
	in.Last = map[string]*pb.Result{"CST-010/driver-seat": last, "GONE-010/x": last}
	with := plan.Build(in)
	if with.GetDigest() != without.GetDigest() || len(with.GetDigest()) != 64 {
		t.Errorf("digest %q became %q", without.GetDigest(), with.GetDigest())
	}
	for _, s := range with.GetSteps() {
		if (s.GetStepId() == "CST-010/driver-seat") != (s.GetLast() == last) {
			t.Errorf("step %q has the last result %v", s.GetStepId(), s.GetLast())
		}
	}
	in.Station = &pb.Station{PressureUnit: "kPa"}
	if plan.Build(in).GetDigest() == without.GetDigest() {
		t.Error("another unit, and the digest stays")
	}
}
