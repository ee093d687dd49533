package plan_test

import (
	"testing"

	"bayround/internal/plan"
	pb "bayround/proto/bayround/v1"
)

// TestBuild_CountsWheelNuts: what is looked at on a wheel is all its nuts or
// bolts, as many as the configuration says; on a tyre it is one.
func TestBuild_CountsWheelNuts(t *testing.T) {
	v := vehicle(pb.PowerTrain_POWER_TRAIN_DIESEL, axle(0, true, 1), axle(-4, false, 2), axle(-5.4, false, 1))
	v.Axles[0].Fixing, v.Axles[1].Fixing = &pb.WheelFixing{Count: 10}, &pb.WheelFixing{Count: 8}
	worked := func(x float64) []*pb.Fitting {
		return []*pb.Fitting{{Place: &pb.Place{Id: "w", Title: "wheel", At: &pb.Point{XM: x, YM: 1}}, Kind: pb.FittingKind_FITTING_KIND_WHEEL_WORKED_ON}}
	}
	const (
		condition = pb.AnswerKind_ANSWER_KIND_CONDITION
		reading   = pb.AnswerKind_ANSWER_KIND_READING
		front     = pb.RepeatOver_REPEAT_OVER_FRONT_WHEELS
		inner     = pb.RepeatOver_REPEAT_OVER_REAR_INNER_WHEELS
		all       = pb.RepeatOver_REPEAT_OVER_ALL_WHEELS
		workedOn  = pb.RepeatOver_REPEAT_OVER_WHEELS_WORKED_ON
	)
	for _, tc := range []struct {
		name     string
		id       string
		kind     pb.AnswerKind
		over     pb.RepeatOver
		fittings []*pb.Fitting
		want     map[int32]int32 // by axle
	}{
		{"front wheels", "WHL-010", condition, front, nil, map[int32]int32{1: 10}},
		{"inner wheels", "WHL-110", condition, inner, nil, map[int32]int32{2: 8}},
		{"an axle that does not say", "WHL-110", condition, all, nil, map[int32]int32{1: 10, 2: 8, 3: 1}},
		{"worked on, at the front", "WHL-200", condition, workedOn, worked(-1.9), map[int32]int32{0: 10}},
		{"worked on, at the rear", "WHL-200", condition, workedOn, worked(-2.1), map[int32]int32{0: 8}},
		{"warmth of a hub", "WHL-210", reading, all, nil, map[int32]int32{1: 1, 2: 1, 3: 1}},
		{"tyres", "TYR-010", condition, all, nil, map[int32]int32{1: 1, 2: 1, 3: 1}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			v.Fittings = tc.fittings
			item := &pb.Item{Id: tc.id, Title: "Wheel", FitsAny: []string{"powered"}, AnswerKind: tc.kind, RepeatOver: tc.over}
			steps := plan.Build(plan.Input{Vehicle: v, Catalogue: &pb.Catalogue{Items: []*pb.Item{item}}, Routine: &pb.Routine{Items: []string{tc.id}}}).GetSteps()
			seen := map[int32]bool{}
			for _, s := range steps {
				seen[s.GetAxle()] = true
				if want := tc.want[s.GetAxle()]; s.GetAlike() != want {
					t.Errorf("%s: %d alike, want %d", s.GetStepId(), s.GetAlike(), want)
				}
			}
			if len(seen) != len(tc.want) {
				t.Errorf("steps at axles %v, want %v", seen, tc.want)
			}
		})
	}
}

// TestBuild_OpeningsAreWhereTheyLie: the side comes from the coordinates where
// nobody names it, and what lies on neither side is looked at where it is. The
// vehicle is 8 m long, from 1.4 to -6.6, and 2.5 m wide.
func TestBuild_OpeningsAreWhereTheyLie(t *testing.T) {
	const (
		nearside = pb.Side_SIDE_NEARSIDE
		offside  = pb.Side_SIDE_OFFSIDE
		none     = pb.Side_SIDE_UNSPECIFIED
	)
	whole := []*pb.Stop{{Id: "front"}, {Id: "nearside", Order: 1}, {Id: "rear", Order: 2}, {Id: "offside", Order: 3}}
	for _, tc := range []struct {
		name  string
		x, y  float64
		named pb.Side
		stops []*pb.Stop
		side  pb.Side
		item  string // that looks at it
		stop  string
	}{
		{"on the nearside", -3, 1.25, none, whole, nearside, "BDY-010", "nearside"},
		{"on the offside", -3, -1.25, none, whole, offside, "BDY-020", "offside"},
		{"just further out than half way", -6.5, -0.63, none, whole, offside, "BDY-020", "offside"},
		{"at the rear", -6.6, 0, none, whole, none, "BDY-010", "rear"},
		{"at the rear, a little to the offside", -5.9, -0.6, none, whole, none, "BDY-020", "rear"},
		{"at the front", 1.4, 0, none, whole, none, "BDY-010", "front"},
		{"in the middle, on the roof", -3, 0, none, whole, none, "BDY-010", "nearside"},
		{"at the rear, but named", -6.6, 0, offside, whole, offside, "BDY-020", "offside"},
		{"at the rear, no stop there", -6.6, 0, none, whole[:2], none, "BDY-010", "nearside"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			v := vehicle(pb.PowerTrain_POWER_TRAIN_DIESEL, axle(0, true, 1))
			v.Openings = []*pb.Opening{{Place: &pb.Place{Id: "s", Title: "shutter", At: &pb.Point{XM: tc.x, YM: tc.y}}, Kind: pb.OpeningKind_OPENING_KIND_SHUTTER, Side: tc.named}}
			item := func(id, stop string, side pb.Side) *pb.Item {
				return &pb.Item{Id: id, Title: "Shutter", Stop: stop, Side: side, FitsAny: []string{"powered"}, RepeatOver: pb.RepeatOver_REPEAT_OVER_LOCKERS}
			}
			steps := plan.Build(plan.Input{
				Vehicle: v, Routine: &pb.Routine{Items: []string{"BDY-010", "BDY-020"}},
				Catalogue: &pb.Catalogue{Stops: tc.stops, Items: []*pb.Item{item("BDY-010", "nearside", nearside), item("BDY-020", "offside", offside)}},
			}).GetSteps()
			if len(steps) != 1 {
				t.Fatalf("%d steps, want one: %v", len(steps), steps)
			}
			if s := steps[0]; s.GetItem() != tc.item || s.GetSide() != tc.side || s.GetStop() != tc.stop {
				t.Errorf("%s on side %v at stop %q, want %s on %v at %q", s.GetItem(), s.GetSide(), s.GetStop(), tc.item, tc.side, tc.stop)
			}
		})
	}
}

// TestBuild_DemoCountyPumpBay: the shutter of a pump bay closes the rear, and is asked there.
func TestBuild_DemoCountyPumpBay(t *testing.T) {
	loaded := plan.LoadCounty(t)
	found := 0
	for _, v := range loaded.Vehicles {
		for _, s := range plan.Build(plan.Input{Vehicle: v, Catalogue: loaded.Catalogue, Routine: everything()}).GetSteps() {
			if s.GetPlace().GetId() != "shutter-rear" || s.GetItem() == "LMP-150" {
				continue
			}
			found++
			if s.GetStop() != "rear" || s.GetStopTitle() != "Rear" {
				t.Errorf("%s: %s is asked at %q", v.GetCallSign(), s.GetStepId(), s.GetStop())
			}
		}
	}
	if found == 0 {
		t.Error("no vehicle has a shutter at the rear; the test shows nothing")
	}
}
