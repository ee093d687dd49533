package round

import (
	"context"
	"slices"
	"strings"
	"testing"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// everyStep is each step of any routine of the invented county, once.
func everyStep(t *testing.T, k *stationtest.Kit) map[string]*pb.CheckStep {
	t.Helper()
	lib, err := k.GetLibrary(context.Background(), &pb.GetLibraryRequest{})
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]*pb.CheckStep{}
	for _, v := range lib.GetLibrary().GetVehicles() {
		for _, r := range lib.GetLibrary().GetRoutines() {
			for _, step := range k.Plan(v.GetName(), r.GetName()).GetSteps() {
				all[v.GetName()+" "+step.GetStepId()] = step
			}
		}
	}
	return all
}

// itemsWhere names the items of which some step has a property.
func itemsWhere(steps map[string]*pb.CheckStep, has func(*pb.CheckStep) bool) string {
	var items []string
	for _, step := range steps {
		if has(step) && !slices.Contains(items, step.GetItem()) {
			items = append(items, step.GetItem())
		}
	}
	slices.Sort(items)
	return strings.Join(items, " ")
}

// Which items are read with a gauge of the register: the prompts of the catalogue
// say so of tyres, tread, batteries at rest and frost protection, and of nothing
// else (testdata: the whole catalogue and the register of the invented county).
func TestGaugedAs_IsWhatIsReadWithAGauge(t *testing.T) {
	k := stationtest.OpenDemo(t)
	lib, err := k.GetLibrary(context.Background(), &pb.GetLibraryRequest{})
	if err != nil {
		t.Fatal(err)
	}
	gauges, steps := usable(lib.GetLibrary().GetGauges()), everyStep(t, k)
	for quantity, want := range map[pb.Quantity]string{
		pb.Quantity_QUANTITY_PRESSURE:    "TRL-050 TYR-010 TYR-011 TYR-110 TYR-111 TYR-120 TYR-121",
		pb.Quantity_QUANTITY_LENGTH:      "TYR-030 TYR-031 TYR-140 TYR-141",
		pb.Quantity_QUANTITY_VOLTAGE:     "ELE-010 HVE-070",
		pb.Quantity_QUANTITY_TEMPERATURE: "FLU-040",
	} {
		if got := itemsWhere(steps, func(s *pb.CheckStep) bool { return gaugedAs(s, gauges) == quantity }); got != want {
			t.Errorf("%v is read with a gauge at %s; want %s", quantity, got, want)
		}
	}
	for _, step := range steps {
		if q := gaugedAs(step, gauges); q != pb.Quantity_QUANTITY_UNSPECIFIED && gaugedAs(step, nil) == q {
			t.Errorf("%s needs a gauge of an empty register", step.GetStepId())
		}
	}
}

// What a run changes (job-map.md, A3.6): tyres are warm, levels disturbed, brakes
// hot, the engine is not cold, and the vehicle stands anew. Tread, belts, lamps,
// papers and gear are as they were.
func TestChangedByRun_IsWhatARunChanges(t *testing.T) {
	want := strings.Join([]string{
		"BRA-010 BRA-020 BRA-030 BRA-040 BRA-100 BRA-110 BRA-120 BRA-130 BRA-140 BRA-150 BRA-160 BRH-010 BRH-100 BRH-110 BRK-010 BRK-020",
		"CLN-010 CLN-020 CLN-030 CLN-040 CLN-050 ELE-010 ENG-010 ENG-020 ENG-040",
		"FLU-010 FLU-020 FLU-030 FLU-040 FLU-050 FLU-060 FLU-070 FLU-080 FLU-090 FLU-100 FLU-110 FLU-120 FLU-130 FLU-140 FLU-150 FLU-160 FLU-170",
		"FOM-010 HVE-080 PMP-010 PRE-010 PRE-020 PRE-030 PRE-040 PRE-050 PRE-060 PRE-070 TRL-050",
		"TYR-010 TYR-011 TYR-020 TYR-021 TYR-110 TYR-111 TYR-120 TYR-121 TYR-130 TYR-131 TYR-210 TYR-220 TYR-230",
	}, " ")
	if got := itemsWhere(everyStep(t, stationtest.OpenDemo(t)), changedByRun); got != want {
		t.Errorf("a run changes\n%s\nwant\n%s", got, want)
	}
}
