package station_test

import (
	"slices"
	"testing"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

const wn11 = "vehicles/wn11"

func walkOf(t *testing.T, k *stationtest.Kit, req *pb.GetWalkRequest) *pb.GetWalkResponse {
	t.Helper()
	req.Vehicle, req.Routine = wn11, shift
	resp, err := k.GetWalk(ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	return resp
}

func stepsOn(w *pb.Walk) (ids []string) {
	for _, h := range w.GetHalts() {
		ids = append(ids, h.GetStepIds()...)
	}
	return ids
}

// The walk with an assistant is the plan; what is asked of it changes it.
func TestGetWalk(t *testing.T) {
	k := stationtest.OpenDemo(t)
	var ids []string
	must := map[string]bool{}
	for _, s := range k.Plan(wn11, shift).GetSteps() {
		ids = append(ids, s.GetStepId())
		must[s.GetStepId()] = s.GetMustNotMiss()
	}
	whole := walkOf(t, k, &pb.GetWalkRequest{WithNaive: true})
	if got := stepsOn(whole.GetWalk()); !slices.Equal(got, ids) {
		t.Errorf("the walk is %q, the plan %q", got, ids)
	}
	if w, n := whole.GetWalk(), whole.GetNaive(); len(stepsOn(n)) != len(ids) || n.GetCostS() <= w.GetCostS() || w.GetCostS() != w.GetBoundS() {
		t.Errorf("it costs %v, at least %v, by the catalogue %v", w.GetCostS(), w.GetBoundS(), n.GetCostS())
	}
	if w := walkOf(t, k, &pb.GetWalkRequest{Alone: true}); !w.GetWalk().GetAlone() || w.GetNaive() != nil || w.GetWalk().GetAssistantS() != 0 {
		t.Errorf("alone: %v", w)
	}
	rest := walkOf(t, k, &pb.GetWalkRequest{Done: ids[:100], AtStep: ids[99], EngineWarm: true}).GetWalk()
	if len(stepsOn(rest))+len(rest.GetLeftOut()) != len(ids)-100 {
		t.Errorf("of %d steps %d are left and %q left out", len(ids)-100, len(stepsOn(rest)), rest.GetLeftOut())
	}

	// A life hangs on some: where time is short, what rules call dangerous is looked at before the rest.
	const within = 1200
	short := walkOf(t, k, &pb.GetWalkRequest{WithinS: within}).GetWalk()
	if takes := short.GetLookingS() + short.GetWalkingS() + short.GetChangingS(); takes > within || takes < within-60 || len(short.GetLeftOut()) == 0 {
		t.Errorf("in %d s: %v s, %d left out", within, takes, len(short.GetLeftOut()))
	}
	for _, id := range short.GetLeftOut() {
		if must[id] {
			t.Errorf("%s must not be missed", id)
		}
	}
	t.Logf("left out: %q", short.GetLeftOut())
}

func TestGetWalk_Refusals(t *testing.T) {
	k := stationtest.Open(t)
	for _, tc := range []struct {
		req  *pb.GetWalkRequest
		want refusal
	}{
		{&pb.GetWalkRequest{Vehicle: "vehicles/p9", Routine: shift}, refusal{fault.NotFound, "VEHICLE_UNKNOWN"}},
		{&pb.GetWalkRequest{Vehicle: p1, Routine: "routines/none"}, refusal{fault.NotFound, "ROUTINE_UNKNOWN"}},
		{&pb.GetWalkRequest{Vehicle: p1, Routine: shift, Done: []string{"OLD-999/gone"}}, refusal{fault.Invalid, "STEP_UNKNOWN"}},
		{&pb.GetWalkRequest{Vehicle: p1, Routine: shift, AtStep: "OLD-999/gone"}, refusal{fault.Invalid, "STEP_UNKNOWN"}},
	} {
		_, err := k.GetWalk(ctx, tc.req)
		tc.want.check(t, err)
	}
}
