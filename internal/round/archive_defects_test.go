package round_test

import (
	"testing"
	"time"

	"bayround/internal/fault"
	"bayround/internal/round"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// The defects of a vehicle come from the station while it is reached and from the tablet
// when it is not: the worst first, then the oldest, the closed ones apart, all counted.
// Source: the contract of DefectService, and of a standing what was closed lately.
func TestArchive_DefectsOfAVehicle(t *testing.T) {
	t.Parallel()
	a := openArchived(t, 0)
	k := a.record
	inRound := k.OpenRound(firstPump, shiftCheck)
	const cracked, pump, glass = "01", "PMP-010/pump", "GLA-010/windscreen"
	k.Record(inRound, stationtest.Seen(glass, cracked)) // takes nothing away
	k.Clock.Advance(time.Hour)
	k.Record(inRound, stationtest.Seen(pump, "01"))
	k.Clock.Advance(time.Hour)
	k.Record(inRound, stationtest.Beside(stationtest.Read(tyreStep, "pressure", 8, "bar"), "03")) // off the run
	open := k.Readiness(firstPump).GetOpenDefects()
	if len(open) != 3 {
		t.Fatalf("%d defects are open, want 3", len(open))
	}
	for _, d := range open {
		if d.GetStepId() == pump {
			if _, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: d.GetName(), Person: "people/mechanic", Done: "bearing fitted"}); err != nil {
				t.Fatal(err)
			}
		}
	}
	k.Clock.Advance(time.Hour)
	k.Record(inRound, stationtest.Seen(pump, "sound"))
	a.twin.AdoptStanding(k, firstPump)
	for _, from := range []round.Source{round.SourceStation, round.SourceTablet} {
		all, source, err := a.Defects(ctx, firstPump)
		must(t, err)
		if source != from || len(all.Open) != 2 || all.Open[0].GetStepId() != tyreStep || all.Open[1].GetStepId() != glass {
			t.Fatalf("from %d: %v", source, all.Open)
		}
		if len(all.Closed) != 1 || all.Closed[0].GetRepair().GetDone() != "bearing fitted" || all.Figures.GetOpen() != 2 || all.Figures.GetToRectify().GetDefects() != 1 {
			t.Errorf("from %d: closed %v, figures %v", source, all.Closed, all.Figures)
		}
		one, source, err := a.Defect(ctx, all.Open[0].GetName())
		if err != nil || source != from || one.GetDefect().GetStepId() != tyreStep || one.GetRight() == nil {
			t.Errorf("from %d: %v, %v", source, one, err)
		}
		if _, _, err := a.Defect(ctx, firstPump+"/defects/none"); !fault.Is(err, fault.NotFound) {
			t.Errorf("an unknown one: %v", err)
		}
		a.wire.Cut()
	}
}
