package plan_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"bayround/internal/plan"
	pb "bayround/proto/bayround/v1"

	"github.com/google/go-cmp/cmp"
)

// one plans a single item, whatever it is about.
func one(v *pb.VehicleConfiguration, item *pb.Item) []*pb.CheckStep {
	if v.GetPowerTrain() == pb.PowerTrain_POWER_TRAIN_UNSPECIFIED {
		v.PowerTrain = pb.PowerTrain_POWER_TRAIN_DIESEL
	}
	item.Id, item.FitsAny = "ITM-010", []string{"powered", "trailer"}
	return plan.Build(plan.Input{Vehicle: v, Catalogue: &pb.Catalogue{Items: []*pb.Item{item}}, Routine: &pb.Routine{Items: []string{"ITM-010"}}}).GetSteps()
}

// TestBuild_AnchorsWithoutConfiguration: where the words of the default catalogue
// lie on a vehicle that says nothing (common practice): along it, and across.
func TestBuild_AnchorsWithoutConfiguration(t *testing.T) {
	where := map[string]string{
		"front": "front centre", "rear": "rear centre", "nearside": "middle nearside", "offside": "middle offside",
		"rear-axle-nearside": "middle nearside", "rear-axle-offside": "middle offside", "roof": "middle centre top", "underneath": "middle centre low",
		"driver-seat": "front offside", "officer-seat": "front nearside", "parking-brake": "front offside", "radio": "front offside", "crew-cab": "front centre",
		"engine-flap": "front centre", "battery-box": "middle offside", "master-switch": "middle offside", "fuel-tank": "middle nearside",
		"shore-inlet": "front offside", "charge-port": "rear nearside", "high-voltage": "middle offside", "spare-wheel": "middle centre low",
		"exhaust": "middle nearside low", "pump-panel": "rear centre", "hose-reel": "rear centre", "portable-pump": "middle nearside", "tool-locker": "middle offside",
		"generator": "middle offside", "container": "rear centre", "tail-lift": "rear centre low", "tow-hitch": "rear centre low", "turntable": "middle centre",
		"aerial-control": "rear centre", "aerial-cage": "front centre top", "outriggers": "middle nearside low", "crane": "middle centre top", "winch": "front centre",
		"mast": "middle centre top", "patient-compartment": "rear centre", "coupling": "front centre low",
	}
	v := vehicle(pb.PowerTrain_POWER_TRAIN_DIESEL, axle(0, true, 1), axle(-4, false, 2)) // 8 m long, 2.5 m wide, 3 m high
	for _, item := range loadDefaults(t).Catalogue.GetItems() {
		if anchor := item.GetAnchor(); anchor != "" && where[anchor] == "" {
			t.Errorf("%s lies at %q, of which nobody says where that is", item.GetId(), anchor)
		}
	}
	for anchor, want := range where {
		at := one(v, &pb.Item{Title: "Thing", Anchor: anchor})[0].GetPlace().GetAt()
		along, across, high := "middle", "centre", ""
		switch {
		case at.GetXM() > 1.4-0.34*8:
			along = "front"
		case at.GetXM() < 1.4-0.74*8:
			along = "rear"
		}
		switch {
		case at.GetYM() > 0.1:
			across = "nearside"
		case at.GetYM() < -0.1:
			across = "offside"
		}
		switch {
		case at.GetZM() == 3:
			high = " top"
		case at.GetZM() <= 0.6 && !strings.HasPrefix(anchor, "rear-axle"):
			high = " low"
		}
		if got := along + " " + across + high; got != want {
			t.Errorf("%s lies at %v: %s, want %s", anchor, at, got, want)
		}
	}
}

// TestBuild_AnchorsFollowConfiguration: a configured place comes before gear and
// seats, these before the dimensions; the id stays the anchor's.
func TestBuild_AnchorsFollowConfiguration(t *testing.T) {
	v := vehicle(pb.PowerTrain_POWER_TRAIN_DIESEL, axle(0, true, 1))
	at := func(x float64) *pb.Point { return &pb.Point{XM: x, ZM: 1} }
	v.Places = []*pb.Place{{Id: "pump-panel", Title: "side panel", At: at(-1)}, {Id: "winch", Title: "rear winch", At: at(-2)}}
	v.Equipment = []*pb.Equipment{
		{Place: &pb.Place{Id: "w", Title: "front winch", At: at(-3)}, Feature: "winch"},
		{Place: &pb.Place{Id: "m", Title: "mast light", At: at(-4)}, Feature: "mast"},
		{Place: &pb.Place{Id: "p", Title: "motor pump", At: at(-5)}, Feature: "portable_pump"},
	}
	v.Seats = []*pb.Seat{
		{Place: &pb.Place{Id: "s1", Title: "her seat", At: at(0.25)}, Kind: pb.SeatKind_SEAT_KIND_DRIVER},
		{Place: &pb.Place{Id: "s2", Title: "his seat", At: at(0.5)}, Kind: pb.SeatKind_SEAT_KIND_OFFICER},
	}
	for _, tc := range []struct {
		item  *pb.Item
		id    string
		title string
		x     float64
	}{
		{&pb.Item{Anchor: "pump-panel"}, "pump-panel", "side panel", -1},
		{&pb.Item{Anchor: "winch"}, "winch", "rear winch", -2},
		{&pb.Item{Anchor: "mast"}, "mast", "mast light", -4},
		{&pb.Item{Anchor: "portable-pump"}, "portable-pump", "motor pump", -5},
		{&pb.Item{Anchor: "radio"}, "radio", "radio", 0.25},
		{&pb.Item{Anchor: "officer-seat"}, "officer-seat", "officer seat", 0.5},
		{&pb.Item{Anchor: "front"}, "front", "front", 1.4},
		{&pb.Item{Stop: "yard-gate"}, "yard-gate", "yard gate", -2.6},
		{&pb.Item{Stop: "x", Position: pb.Position_POSITION_INSIDE_CAB}, "driver-seat", "driver seat", 0.25},
		{&pb.Item{Stop: "x", Position: pb.Position_POSITION_ENGINE_FLAP}, "engine-flap", "engine flap", 1.4},
		{&pb.Item{Stop: "x", Position: pb.Position_POSITION_BATTERY_BOX}, "battery-box", "battery box", -1.8},
		{&pb.Item{Stop: "x", Position: pb.Position_POSITION_INSIDE_CREW_CAB}, "crew-cab", "crew cab", -1},
		{&pb.Item{Stop: "x", Position: pb.Position_POSITION_PATIENT_COMPARTMENT}, "patient-compartment", "patient compartment", -5},
		{&pb.Item{Stop: "x", Position: pb.Position_POSITION_ROOF}, "roof", "roof", -2.6},
	} {
		step := one(v, tc.item)[0]
		if p := step.GetPlace(); p.GetId() != tc.id || p.GetTitle() != tc.title || p.GetAt().GetXM() != tc.x || step.GetStepId() != "ITM-010/"+tc.id {
			t.Errorf("%v is placed at %v", tc.item, p)
		}
	}
}

// TestBuild_WalksRoundFromTheDriversDoor: from the driver's door once along the corners and sides,
// wherever it begins, by the shortest way, which leaves out the longest stretch (common practice).
func TestBuild_WalksRoundFromTheDriversDoor(t *testing.T) {
	round := map[string]*pb.Point{
		"a-front": {XM: 1.4}, "h-front-nearside": {XM: 1.4, YM: 1.2}, "c-nearside": {XM: -2.6, YM: 1.2}, "g-rear-nearside": {XM: -6.6, YM: 1.2},
		"d-rear": {XM: -6.6}, "f-rear-offside": {XM: -6.6, YM: -1.2}, "b-offside": {XM: -2.6, YM: -1.2}, "e-front-offside": {XM: 1.4, YM: -1.2},
	}
	whole := []string{"a-front", "h-front-nearside", "c-nearside", "g-rear-nearside", "d-rear", "f-rear-offside", "b-offside", "e-front-offside"}
	door := func(x float64, side pb.Side) []*pb.Opening {
		y := 1.25
		if side == pb.Side_SIDE_OFFSIDE {
			y = -y
		}
		return []*pb.Opening{
			{Place: &pb.Place{Id: "crew", At: &pb.Point{XM: -2.6, YM: y}}, Kind: pb.OpeningKind_OPENING_KIND_CAB_DOOR, Side: side},
			{Place: &pb.Place{Id: "door", At: &pb.Point{XM: x, YM: y}}, Kind: pb.OpeningKind_OPENING_KIND_CAB_DOOR, Side: side},
			{Place: &pb.Place{Id: "locker", At: &pb.Point{XM: 1.4, YM: y}}, Kind: pb.OpeningKind_OPENING_KIND_LOCKER, Side: side},
		}
	}
	for _, tc := range []struct {
		name     string
		change   func(*pb.VehicleConfiguration)
		first    string
		backward bool // by the front to the offside
	}{
		{"driver on the offside", func(v *pb.VehicleConfiguration) { v.Openings = door(0.3, pb.Side_SIDE_OFFSIDE) }, "e-front-offside", false},
		{"driver on the nearside", func(v *pb.VehicleConfiguration) {
			v.DriverSide, v.Openings = pb.Side_SIDE_NEARSIDE, door(0.3, pb.Side_SIDE_NEARSIDE)
		}, "h-front-nearside", true},
		{"no door listed", func(*pb.VehicleConfiguration) {}, "e-front-offside", false},
		{"a door on the other side does not count", func(v *pb.VehicleConfiguration) { v.Openings = door(0.3, pb.Side_SIDE_NEARSIDE) }, "e-front-offside", false},
		{"a door far back", func(v *pb.VehicleConfiguration) { v.Openings = door(-2.5, pb.Side_SIDE_OFFSIDE) }, "b-offside", false},
		{"trailer", func(v *pb.VehicleConfiguration) {
			v.PowerTrain, v.DriverSide = pb.PowerTrain_POWER_TRAIN_NONE, pb.Side_SIDE_UNSPECIFIED
		}, "h-front-nearside", true},
	} {
		t.Run(tc.name, func(t *testing.T) {
			v := vehicle(pb.PowerTrain_POWER_TRAIN_DIESEL, axle(0, true, 1))
			for id, at := range round {
				v.Fittings = append(v.Fittings, &pb.Fitting{Place: &pb.Place{Id: id, Title: id, At: at}, Kind: pb.FittingKind_FITTING_KIND_MIRROR})
			}
			tc.change(v)
			var got []string
			in := plan.Input{Vehicle: v, Routine: &pb.Routine{Items: []string{"ITM-010"}}, Catalogue: &pb.Catalogue{
				Items:     []*pb.Item{{Id: "ITM-010", Title: "Mirror", FitsAny: []string{"powered", "trailer"}, RepeatOver: pb.RepeatOver_REPEAT_OVER_MIRRORS}},
				WalkTimes: &pb.WalkTimes{SpeedMPerS: 1, ClearanceM: 0.6, ReachM: 0.2}, // each a halt of its own
			}}
			for _, s := range plan.Build(in).GetSteps() {
				got = append(got, s.GetPlace().GetId())
			}
			at := slices.Index(whole, tc.first)
			want := slices.Concat(whole[at:], whole[:at])
			if tc.backward {
				slices.Reverse(want)
				want = append(want[len(want)-1:], want[:len(want)-1]...)
			}
			if v.GetPowerTrain() == pb.PowerTrain_POWER_TRAIN_NONE { // begins at the coupling, in the middle of the front
				want = append([]string{"a-front"}, slices.DeleteFunc(want, func(id string) bool { return id == "a-front" })...)
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("the walk (-want +got):\n%s", diff)
			}
		})
	}
}

// TestBuild_LampsInOneStep: as many as there are; none where none is, but a
// vehicle that lists no lamps at all has a hole and keeps the step.
func TestBuild_LampsInOneStep(t *testing.T) {
	stop, fog, plate := pb.LampFunction_LAMP_FUNCTION_STOP, pb.LampFunction_LAMP_FUNCTION_REAR_FOG, pb.LampFunction_LAMP_FUNCTION_REGISTRATION_PLATE
	v := vehicle(pb.PowerTrain_POWER_TRAIN_DIESEL, axle(0, true, 1))
	for i, f := range []pb.LampFunction{stop, stop, stop, fog} {
		v.Lamps = append(v.Lamps, &pb.Lamp{Place: &pb.Place{Id: fmt.Sprint(i), At: &pb.Point{}}, Function: f, LightSources: 9})
	}
	bare := vehicle(pb.PowerTrain_POWER_TRAIN_DIESEL, axle(0, true, 1))
	for _, tc := range []struct {
		v         *pb.VehicleConfiguration
		functions []pb.LampFunction
		steps     int
		alike     int32
		lamp      pb.LampFunction
	}{
		{v, []pb.LampFunction{stop}, 1, 3, stop},
		{v, []pb.LampFunction{stop, fog}, 1, 4, 0},
		{v, []pb.LampFunction{plate}, 0, 0, 0},
		{bare, []pb.LampFunction{plate}, 1, 1, 0},
	} {
		steps := one(tc.v, &pb.Item{Title: "Lamps", Anchor: "rear", RepeatOver: pb.RepeatOver_REPEAT_OVER_ONCE, LampFunctions: tc.functions})
		if len(steps) != tc.steps || tc.steps > 0 && (steps[0].GetAlike() != tc.alike || steps[0].GetLampFunction() != tc.lamp) {
			t.Errorf("%v of %d lamps: %v", tc.functions, len(tc.v.GetLamps()), steps)
		}
	}
}

// TestBuild_DemoCounty: every vehicle gets plans of a sensible size, no title
// has to fall back on an id, and every item of the catalogue is somebody's.
// reference/job-map.md, A5: about 90 to 100 items a shift; a driver meets more
// steps than items, as tyres and lamps are looked at one by one.
func TestBuild_DemoCounty(t *testing.T) {
	loaded := plan.LoadCounty(t)
	asked := map[string]bool{}
	for _, v := range loaded.Vehicles {
		titles := map[string]string{}
		for _, s := range plan.Build(plan.Input{Vehicle: v, Catalogue: loaded.Catalogue, Routine: everything(), Station: loaded.Stations[0]}).GetSteps() {
			asked[s.GetItem()] = true
			if strings.Contains(s.GetTitle(), s.GetStepId()) || titles[s.GetTitle()] != "" {
				t.Errorf("%s: step %q is called %q", v.GetCallSign(), s.GetStepId(), s.GetTitle())
			}
			titles[s.GetTitle()] = s.GetStepId()
		}
		powered := v.GetPowerTrain() != pb.PowerTrain_POWER_TRAIN_NONE
		for _, r := range loaded.Routines {
			if r.GetName() != "routines/shift" {
				continue
			}
			n := len(plan.Build(plan.Input{Vehicle: v, Catalogue: loaded.Catalogue, Routine: r}).GetSteps())
			if powered && (n < 90 || n > 200) || !powered && (n == 0 || n > 40) {
				t.Errorf("%s has %d steps a shift", v.GetCallSign(), n)
			}
		}
	}
	for _, item := range loaded.Catalogue.GetItems() {
		if !asked[item.GetId()] {
			t.Logf("%s is asked of no demo vehicle", item.GetId())
		}
	}
	if len(asked) < 200 {
		t.Errorf("only %d items are asked of anybody", len(asked))
	}
}

// BenchmarkBuild plans everything that can be due on the newest pump.
func BenchmarkBuild(b *testing.B) {
	loaded := plan.LoadCounty(b)
	for _, v := range loaded.Vehicles {
		if v.GetCallSign() != "WN11" {
			continue
		}
		in := plan.Input{Vehicle: v, Catalogue: loaded.Catalogue, Routine: everything(), Station: loaded.Stations[0]}
		b.ReportAllocs()
		steps := 0
		for b.Loop() {
			steps = len(plan.Build(in).GetSteps())
		}
		b.ReportMetric(float64(steps), "steps")
	}
}
