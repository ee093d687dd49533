package rpc_test

import (
	"testing"

	"bayround/internal/fault"
	"bayround/internal/rpc"
	pb "bayround/proto/bayround/v1"
)

// A walk over a real socket: it goes through the plan, and each refusal has its code.
func TestVehicleService_GetWalk(t *testing.T) {
	kit, conn := served(t, rpc.Options{})
	vehicles := pb.NewVehicleServiceClient(conn)
	const p1, shift = "vehicles/p1", "routines/shift"
	got, err := vehicles.GetWalk(t.Context(), &pb.GetWalkRequest{Vehicle: p1, Routine: shift, WithNaive: true})
	if err != nil {
		t.Fatal(err)
	}
	steps := 0
	for _, h := range got.GetWalk().GetHalts() {
		steps += len(h.GetStepIds())
	}
	if want := len(kit.Plan(p1, shift).GetSteps()); steps != want || len(got.GetWalk().GetRoundLine()) < 4 || got.GetNaive() == nil {
		t.Errorf("%d steps of %d, round %v", steps, want, got.GetWalk().GetRoundLine())
	}
	for want, req := range map[fault.Kind]*pb.GetWalkRequest{
		fault.NotFound: {Vehicle: "vehicles/p9", Routine: shift},
		fault.Invalid:  {Vehicle: p1, Routine: shift, AtStep: "OLD-999/gone"},
	} {
		if _, err := vehicles.GetWalk(t.Context(), req); !fault.Is(err, want) {
			t.Errorf("%v: %v, want %v", req, err, want)
		}
	}
	if _, err := vehicles.GetWalk(t.Context(), &pb.GetWalkRequest{Vehicle: p1, Routine: shift, WithinS: -1}); !fault.Is(err, fault.Invalid) {
		t.Errorf("no time less than none: %v", err)
	}
}
