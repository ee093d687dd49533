package round_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// The page of a release says what is missing and who may release the vehicle; then another
// person than who repaired it does, by name and PIN, whoever is signed in.
// Source: the contract of ReleaseVehicle, and the table of what a person's role may do.
func TestDesk_AStoppedVehicleIsReleasedOnItsPage(t *testing.T) {
	tab := newHands(t)
	tab.refused("NOT_STOPPED", "release-page", "defect", wn11+"/defects/none")
	tab.act("stop", "reason", "steering", "stopped", wn11, "person", "people/arkwith")
	stop := listed(t, tab.View(), wn11).Stopped[0].Defect.GetName()
	v := tab.act("release-page", "defect", stop)
	if r := v.Release; r == nil || !strings.Contains(r.Missing, "workshop") || r.RepairedBy != "" || r.Vehicle.GetName() != wn11 {
		t.Fatalf("before the repair: %+v", v.Release)
	}
	names := func(v *round.View) (all []string) {
		for _, p := range v.Release.People {
			all = append(all, p.GetName())
		}
		return all
	}
	if all := names(v); slices.Contains(all, "people/wendmoor-control") || !slices.Contains(all, "people/steddow") {
		t.Errorf("who may release: %v", all)
	}
	tab.reopen()
	tab.clock.Advance(time.Minute)
	if _, err := tab.kit.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: tab.kit.ID(), Defect: stop, Person: "people/steddow", Done: "tracking set"}); err != nil {
		t.Fatal(err)
	}
	v = tab.await(func(v *round.View) bool { return v.Release != nil && v.Release.Missing == "" })
	if all := names(v); v.Release.RepairedBy == "" || slices.Contains(all, "people/steddow") || !slices.Contains(all, "people/arkwith") {
		t.Errorf("after the repair by %q: %v", v.Release.RepairedBy, all)
	}
	tab.refused("NOBODY_NAMED", "release", "defect", stop, "pin", "2468", "checked", "driven in the yard")
	tab.refused("PERSON_UNKNOWN", "release", "defect", stop, "person", "people/nobody", "pin", "2468", "checked", "driven in the yard")
	tab.refused("CHECKED_MISSING", "release", "defect", stop, "person", "people/quellmere", "pin", "2468", "checked", " ")
	if err := tab.try("release", "defect", stop, "person", "people/quellmere", "pin", "1111", "checked", "driven in the yard"); err == nil || tab.View().Release == nil {
		t.Fatalf("with a wrong PIN: %v, the page is open: %t", err, tab.View().Release != nil)
	}
	v = tab.act("release", "defect", stop, "person", "people/quellmere", "pin", "2468", "checked", "driven in the yard")
	if one := listed(t, v, wn11); v.Release != nil || len(one.Stopped) > 0 {
		t.Errorf("released: %+v", one.Stopped)
	}
	resp, err := tab.kit.GetDefect(ctx, &pb.GetDefectRequest{Name: stop})
	if r := resp.GetDefect().GetRelease(); err != nil || r.GetPerson() != "people/quellmere" || r.GetChecked() != "driven in the yard" {
		t.Errorf("recorded: %v (%v)", r, err)
	}
	tab.refused("NOT_STOPPED", "release-page", "defect", stop)
}

// A release without the network counts on the tablet, and reaches the station with the
// time of the tablet's clock.
func TestDesk_AReleaseReachesTheStation(t *testing.T) {
	t.Parallel()
	tab, record, w := openLinked(t)
	tab.await(func(v *round.View) bool { return settled(v) && len(v.Vehicles) == 10 })
	tab.act("stop", "reason", "brakes", "stopped", wn11, "person", "people/arkwith")
	stop := listed(t, tab.View(), wn11).Stopped[0].Defect.GetName()
	tab.await(func(v *round.View) bool { return settled(v) && len(stopsIn(record.Readiness(wn11))) > 0 })
	if _, err := record.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: record.ID(), Defect: stop, Person: "people/steddow", Done: "lines bled"}); err != nil {
		t.Fatal(err)
	}
	tab.await(func(v *round.View) bool { s := listed(t, v, wn11).Stopped; return len(s) == 1 && s[0].Missing == "" })
	w.Cut()
	tab.await(func(v *round.View) bool { return !v.Link.Live })
	at := tab.clock.Now()
	v := tab.act("release", "defect", stop, "person", "people/quellmere", "pin", "2468", "checked", "held on the ramp")
	if one := listed(t, v, wn11); len(one.Stopped) > 0 || !one.Provisional {
		t.Errorf("released without the network: %+v, provisional %t", one.Stopped, one.Provisional)
	}
	if len(stopsIn(record.Readiness(wn11))) == 0 {
		t.Fatal("the network is not cut")
	}
	w.Heal()
	tab.await(func(v *round.View) bool { return settled(v) && len(stopsIn(record.Readiness(wn11))) == 0 })
	var ev *pb.JournalEvent
	if err := record.Events(ctx, 1, func(one *pb.JournalEvent) error {
		if one.GetVehicleReleased() != nil {
			ev = one
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	if ev.GetDevice() != "tablet-1" || !ev.GetDeviceTime().AsTime().Equal(at) {
		t.Errorf("at the station: from %q at %v, want tablet-1 at %v", ev.GetDevice(), ev.GetDeviceTime().AsTime(), at)
	}
}
