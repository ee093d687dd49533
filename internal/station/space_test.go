package station_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"bayround/internal/fault"
	"bayround/internal/journal"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// Where there may not be room for all of a round none is opened; one under way goes
// on to its end, and what is known is told.
func TestSpace_NoNewRoundWhereRoomIsScarce(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	clock := stationtest.NewClock()
	roomy := stationtest.OpenWith(t, clock, station.Options{Dir: dir, Now: clock.Now, Defaults: stationtest.Small()})
	under := roomy.OpenRound("vehicles/p1", "routines/shift")
	first := stationtest.Sound(roomy.Plan("vehicles/p1", "routines/shift").GetSteps()[0])
	roomy.Close()

	k := stationtest.OpenWith(t, clock, station.Options{Dir: dir, Now: clock.Now, Defaults: stationtest.Small(), Space: journal.Space{NoNewRoundsBytes: 1 << 60}})
	_, err := k.Station.OpenRound(ctx, &pb.OpenRoundRequest{
		Round: "rounds/0b1f8a52-3f0e-4f43-9d6a-5a3ad2c0f001", Vehicle: "vehicles/p2", Routine: "routines/shift", Driver: "people/driver", Device: "tablet-1",
	})
	var f *fault.Fault
	if !errors.As(err, &f) || f.Kind != fault.Exhausted || !strings.Contains(f.Message, "officer in charge") {
		t.Errorf("a new round is answered with %v", err)
	}
	k.Record(under, first)
	state, err := k.GetRecordState(ctx, &pb.GetRecordStateRequest{})
	if err != nil || state.GetState().GetSpace() != pb.SpaceLevel_SPACE_LEVEL_NO_NEW_ROUNDS || state.GetState().GetFreeBytes() <= 0 {
		t.Errorf("the state is %v, %v", state, err)
	}
	if got := k.Readiness("vehicles/p1").GetVerdict(); got != pb.Verdict_VERDICT_UNPROVEN {
		t.Errorf("the vehicle is %v", got)
	}
}
