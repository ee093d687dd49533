package station_test

import (
	"testing"
	"time"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// Anybody stops a vehicle, alone and at once; the workshop's work and a second
// person's look at the very steps release it, and nothing less.
func TestStopVehicle_UntilASecondPersonReleases(t *testing.T) {
	k := deferring(t)
	round := k.RecordAll(p1, shift)
	stop := &pb.StopVehicleRequest{RequestId: k.ID(), Vehicle: p1, Person: "people/other", Reason: "it pulls to the left", StepIds: []string{valve, low}, Device: "tablet-1"}
	stopped, err := k.StopVehicle(ctx, stop)
	if err != nil || stopped.GetReadiness().GetVerdict() != pb.Verdict_VERDICT_UNFIT || stopped.GetDefect().GetFoundBy() != "people/other" {
		t.Fatalf("stopped: %v (%v)", stopped, err)
	}
	name := stopped.GetDefect().GetName()
	release := func(person string) error {
		t.Helper()
		_, err := k.ReleaseVehicle(ctx, &pb.ReleaseVehicleRequest{RequestId: k.ID(), Defect: name, Person: person, Checked: "tried in the yard"})
		return err
	}
	no := func(reason string, err error) {
		t.Helper()
		refusal{fault.Precondition, reason}.check(t, err)
	}
	look := func(person string, r *pb.Result) {
		t.Helper()
		k.Clock.Advance(time.Second)
		r.Person = person
		k.Record(round, r)
	}
	sound := func(step string) *pb.Result { return stationtest.Read(step, "pressure", 8.5, "bar") }
	verdict := func(want pb.Verdict) {
		t.Helper()
		if r := k.Readiness(p1); r.GetVerdict() != want {
			t.Errorf("%v because %v, want %v", r.GetVerdict(), r.GetReasons(), want)
		}
	}

	look("people/driver", sound(valve)) // a sound look mends nothing
	verdict(pb.Verdict_VERDICT_UNFIT)
	no("REPAIR_MISSING", release("people/officer"))
	_, err = k.DeferDefect(ctx, &pb.DeferDefectRequest{RequestId: k.ID(), Defect: name, Person: "people/duty", Reason: "r", Restrictions: slow()})
	no("NOT_DEFERRABLE", err)
	k.Clock.Advance(time.Second)
	if _, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: name, Person: "people/mechanic", Done: "tracking set", DoneBy: "Quay Tyres"}); err != nil {
		t.Fatal(err)
	}
	verdict(pb.Verdict_VERDICT_UNPROVEN)
	no("SAME_PERSON", release("people/mechanic"))
	no("RECHECK_MISSING", release("people/driver")) // the looks are from before the repair
	look("people/driver", sound(valve))
	no("RECHECK_MISSING", release("people/driver")) // one of two
	look("people/mechanic", sound(low))
	no("RECHECK_MISSING", release("people/driver")) // by who repaired
	look("people/driver", lowAt(low))
	no("RECHECK_MISSING", release("people/driver")) // and not sound
	look("people/driver", stationtest.Complete(round, sound(low), k.ID, k.Clock.Now()).GetResult())
	lowDefect := openAt(k, low)
	if _, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: lowDefect, Person: "people/mechanic", Done: "inflated"}); err != nil {
		t.Fatal(err)
	}
	look("people/driver", sound(low))
	verdict(pb.Verdict_VERDICT_UNPROVEN) // everything was looked at; nobody has released it
	k.Reopen()
	verdict(pb.Verdict_VERDICT_UNPROVEN)
	if err := release("people/driver"); err != nil {
		t.Error(err)
	}
	verdict(pb.Verdict_VERDICT_FIT)
	no("DEFECT_NOT_OPEN", release("people/driver"))
	got, err := k.GetDefect(ctx, &pb.GetDefectRequest{Name: name})
	if d := got.GetDefect(); err != nil || d.GetState() != pb.DefectState_DEFECT_STATE_CLOSED || d.GetRelease().GetPerson() != "people/driver" || d.GetClosedBy() != "people/driver" || d.GetRepair().GetDoneBy() != "Quay Tyres" {
		t.Errorf("%v (%v)", d, err)
	}
	k.Record(round, leaking(valve))
	name = openAt(k, valve)
	no("NOT_STOPPED", release("people/driver"))
}

// A stop about no step is released by the second person's word of what was checked,
// and no change of the configuration closes it.
func TestStopVehicle_AboutNoStep(t *testing.T) {
	k := deferring(t)
	k.RecordAll(p1, shift)
	stopped, err := k.StopVehicle(ctx, &pb.StopVehicleRequest{RequestId: k.ID(), Vehicle: p1, Person: "people/driver", Reason: "smoke under the cab"})
	if err != nil {
		t.Fatal(err)
	}
	name := stopped.GetDefect().GetName()
	if _, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: name, Person: "people/mechanic", Done: "hose renewed"}); err != nil {
		t.Fatal(err)
	}
	k.Reopen()
	r := k.Readiness(p1)
	if r.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN || len(r.GetOpenDefects()) != 1 {
		t.Errorf("repaired: %v, %d open", r.GetVerdict(), len(r.GetOpenDefects()))
	}
	for _, way := range r.GetWaysBack() {
		for _, step := range way.GetAnswerSteps() {
			if step == "" {
				t.Errorf("a way back names a step without a name: %v", way)
			}
		}
	}
	resp, err := k.ReleaseVehicle(ctx, &pb.ReleaseVehicleRequest{RequestId: k.ID(), Defect: name, Person: "people/driver", Checked: "ran for ten minutes"})
	if err != nil || resp.GetReadiness().GetVerdict() != pb.Verdict_VERDICT_FIT {
		t.Errorf("released: %v (%v)", resp.GetReadiness().GetVerdict(), err)
	}
}

func TestStopVehicle_Refusals(t *testing.T) {
	k := deferring(t)
	for name, tc := range map[string]struct {
		vehicle, person, step string
		want                  refusal
	}{
		"no such vehicle":    {"vehicles/p9", "people/driver", valve, refusal{fault.NotFound, "VEHICLE_UNKNOWN"}},
		"no such person":     {p1, "people/nobody", valve, refusal{fault.NotFound, "PERSON_UNKNOWN"}},
		"no such step":       {p1, "people/driver", "TYR-010/axle-9-nearside", refusal{fault.NotFound, "STEP_UNKNOWN"}},
		"anybody, any state": {p1, "people/mechanic", valve, refusal{}},
	} {
		_, err := k.StopVehicle(ctx, &pb.StopVehicleRequest{RequestId: k.ID(), Vehicle: tc.vehicle, Person: tc.person, Reason: "r", StepIds: []string{tc.step}})
		t.Run(name, func(t *testing.T) { tc.want.check(t, err) })
	}
}
