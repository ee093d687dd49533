package screen

import (
	"testing"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// A reserve that has taken a place is offered the check for it before all others, until it
// was checked.
func TestVehicles_OfferTheTakeoverCheckFirst(t *testing.T) {
	routines := []round.RoutineDue{
		{Routine: &pb.Routine{Name: "routines/shift", Triggers: []pb.Trigger{pb.Trigger_TRIGGER_SHIFT}}, Steps: 120},
		{Routine: &pb.Routine{Name: "routines/takeover", Triggers: []pb.Trigger{pb.Trigger_TRIGGER_RESERVE_TAKEOVER, pb.Trigger_TRIGGER_SHIFT}}, Steps: 137},
	}
	for _, tc := range []struct {
		why     string
		holding *pb.CallSignHolding
		want    string
	}{
		{"under its own call sign", nil, "routines/shift"},
		{"has taken a place", &pb.CallSignHolding{AnswersTo: "WN12", CountsFrom: ago(0)}, "routines/takeover"},
		{"checked for it", &pb.CallSignHolding{AnswersTo: "WN12", CountsFrom: ago(0), Checked: ago(0)}, "routines/shift"},
	} {
		v := round.Vehicle{
			Configuration: &pb.VehicleConfiguration{Name: "vehicles/wn90", RequiredRoutines: []string{"routines/shift"}},
			Readiness:     &pb.Readiness{Holding: tc.holding}, Routines: routines,
		}
		row := pane{View: &round.View{Vehicles: []round.Vehicle{v}}}.Vehicles()[0]
		if got := row.Now[0].Routine.GetName(); got != tc.want || len(row.Now)+len(row.Later) != len(routines) {
			t.Errorf("%s: %s comes first, want %s; %d and %d are offered", tc.why, got, tc.want, len(row.Now), len(row.Later))
		}
	}
}
