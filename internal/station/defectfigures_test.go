package station_test

import (
	"bytes"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	"bayround/internal/fault"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// What is open, what came back and how long it took is told of all, of one station and of
// one vehicle, and for each vehicle. The numbers are counted by hand from what is played.
func TestDefectFigures_OfVehiclesAndStations(t *testing.T) {
	clock, files := stationtest.NewClock(), stationtest.SmallDeferring(t)
	for old, with := range map[string]string{
		"stations:\n": "stations:\n  - {name: stations/hill, title: Hill, pressure_unit: bar, tread_unit: mm, reference_celsius: 15, time_zone: Europe/London, turnout_goal_s: 80, minimum_crew: 4}\n",
		"    call_sign: Q2\n    title: pump\n    station: stations/quay\n": "    call_sign: Q2\n    title: pump\n    station: stations/hill\n",
	} {
		if bytes.Count(files[0].Content, []byte(old)) != 1 {
			t.Fatalf("the small configuration has %q not once", old)
		}
		files[0].Content = bytes.Replace(files[0].Content, []byte(old), []byte(with), 1)
	}
	k := stationtest.OpenWith(t, clock, station.Options{Dir: t.TempDir(), Now: clock.Now, Defaults: files})
	sound := func(round, step string) { k.Record(round, stationtest.Read(step, "pressure", 8.5, "bar")) }
	repair := func(name string) {
		t.Helper()
		if _, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: name, Person: "people/mechanic", Done: "valve renewed"}); err != nil {
			t.Fatal(err)
		}
	}

	round := k.RecordAll(p1, shift)
	k.Record(round, leaking(valve))
	name := openAt(k, valve)
	clock.Advance(2 * time.Hour)
	if _, err := k.AcknowledgeDefect(ctx, &pb.AcknowledgeDefectRequest{RequestId: k.ID(), Defect: name, Person: "people/mechanic", Planned: until(clock.Now().Add(time.Hour))}); err != nil {
		t.Fatal(err)
	}
	clock.Advance(4 * time.Hour)
	repair(name)
	clock.Advance(time.Hour)
	sound(round, valve)
	clock.Advance(10 * 24 * time.Hour) // within the pack's 30 days: a repeat
	k.Record(round, leaking(valve))
	elsewhere := k.RecordAll(p2, shift)
	k.Record(elsewhere, lowAt(low))
	if _, err := k.StopVehicle(ctx, &pb.StopVehicleRequest{RequestId: k.ID(), Vehicle: p2, Person: "people/driver", Reason: "smoke"}); err != nil {
		t.Fatal(err)
	}
	clock.Advance(12 * time.Hour)

	figures := func(vehicle, of string) *pb.GetDefectFiguresResponse {
		t.Helper()
		got, err := k.GetDefectFigures(ctx, &pb.GetDefectFiguresRequest{Vehicle: vehicle, Station: of})
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	ofP1 := &pb.VehicleDefects{Vehicle: p1, Open: 1, Major: 1, Unanswered: 1, Found: 2, Repeats: 1}
	ofP2 := &pb.VehicleDefects{Vehicle: p2, Open: 2, Major: 1, Dangerous: 1, Unanswered: 2, Found: 2}
	for _, tc := range []struct {
		vehicle, of          string
		open, found, repeats int32
		answered             int32 // how many were, each after 2 h, and repaired after 6 h
		want                 []*pb.VehicleDefects
	}{
		{"", "", 3, 4, 1, 1, []*pb.VehicleDefects{ofP1, ofP2}},
		{"", "stations/quay", 1, 2, 1, 1, []*pb.VehicleDefects{ofP1}},
		{"", "stations/hill", 2, 2, 0, 0, []*pb.VehicleDefects{ofP2}},
		{p2, "", 2, 2, 0, 0, []*pb.VehicleDefects{ofP2}},
		{p1, "stations/hill", 0, 0, 0, 0, nil},
	} {
		got := figures(tc.vehicle, tc.of)
		if got.GetOpen() != tc.open || got.GetUnanswered() != tc.open || got.GetFound() != tc.found || got.GetRepeats() != tc.repeats {
			t.Errorf("%q %q: %v", tc.vehicle, tc.of, got)
		}
		if got.GetToAcknowledge().GetDefects() != tc.answered || got.GetToRectify().GetDefects() != tc.answered ||
			tc.answered > 0 && (got.GetToAcknowledge().GetMedianH() != 2 || got.GetToRectify().GetLongestH() != 6) {
			t.Errorf("%q %q: answered %v, repaired %v", tc.vehicle, tc.of, got.GetToAcknowledge(), got.GetToRectify())
		}
		if diff := cmp.Diff(tc.want, got.GetByVehicle(), protocmp.Transform()); diff != "" {
			t.Errorf("%q %q by vehicle (want: -)\n%s", tc.vehicle, tc.of, diff)
		}
	}

	repair(name)
	clock.Advance(time.Hour)
	k.Record(round, leaking(valve)) // the repair did not hold: it has come back twice, in three lives
	if got := figures(p1, ""); got.GetRepeats() != 2 || got.GetFound() != 3 {
		t.Errorf("after a repair that did not hold: %d repeats of %d found, want 2 of 3", got.GetRepeats(), got.GetFound())
	}
	listed, err := k.ListDefects(ctx, &pb.ListDefectsRequest{Station: "stations/hill"})
	if err != nil || len(listed.GetDefects()) != 2 {
		t.Errorf("%d defects are listed at Hill (%v), want 2", len(listed.GetDefects()), err)
	}
	_, err = k.GetDefectFigures(ctx, &pb.GetDefectFiguresRequest{Station: "stations/nowhere"})
	refusal{fault.NotFound, "STATION_UNKNOWN"}.check(t, err)
}
