package round_test

import (
	"strings"
	"testing"
	"time"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// listed finds a vehicle in the list.
func listed(t *testing.T, v *round.View, name string) round.Vehicle {
	t.Helper()
	for _, one := range v.Vehicles {
		if one.Configuration.GetName() == name {
			return one
		}
	}
	t.Fatalf("%s is not in the list", name)
	return round.Vehicle{}
}

// Anybody stops a vehicle, alone and at once, and whether or not somebody has signed
// in; what is missing before it is released is said, and a second person releases it.
// Source: anybody may stop a vehicle (common practice, as the contract says it).
func TestDesk_AnybodyStopsAVehicle(t *testing.T) {
	tab := newHands(t)
	tab.refused("STOP_NO_VEHICLE", "stop", "reason", "steering", "person", "people/arkwith")
	tab.refused("STOP_NO_NAME", "stop", "reason", "steering", "stopped", wn11)
	tab.refused("STOP_NO_REASON", "stop", "stopped", wn11, "person", "people/arkwith")
	tab.refused("NOTE_TOO_LONG", "stop", "stopped", wn11, "person", "people/arkwith", "text", strings.Repeat("x", 401))
	if one := listed(t, tab.View(), wn11); len(one.Stopped) > 0 {
		t.Fatal("a refused stop has stopped it")
	}
	tab.act("stop", "reason", "steering", "stopped", wn11, "person", "people/arkwith")
	one := listed(t, tab.View(), wn11)
	if one.Readiness.GetVerdict() != pb.Verdict_VERDICT_UNFIT || len(one.Stopped) != 1 || one.Stopped[0].By == "" || !strings.Contains(one.Stopped[0].Missing, "workshop") {
		t.Fatalf("stopped: %v, %+v", one.Readiness.GetVerdict(), one.Stopped)
	}
	tab.reopen()

	tab.begin("vehicles/wn12", shift, "")
	tab.goTo(atWindscreen)
	tab.act("stop", "text", " it pulls to the left ", "here", "on", "reason", "")
	v := tab.View()
	if v.Phase != round.PhaseStep || v.Chosen.Readiness.GetVerdict() != pb.Verdict_VERDICT_UNFIT || len(v.Chosen.Stopped) != 1 {
		t.Fatalf("in the round: phase %v, %v, %+v", v.Phase, v.Chosen.Readiness.GetVerdict(), v.Chosen.Stopped)
	}
	stop := v.Chosen.Stopped[0].Defect
	if s := stop.GetStop(); s.GetReason() != "it pulls to the left" || s.GetPerson() != "people/arkwith" || len(s.GetStepIds()) != 1 || s.GetStepIds()[0] != atWindscreen {
		t.Errorf("recorded: %v", s)
	}
	tab.refused("CHECKED_MISSING", "release", "defect", stop.GetName(), "pin", "2468")
	tab.refused("REPAIR_MISSING", "release", "defect", stop.GetName(), "pin", "2468", "checked", "driven in the yard")
	tab.clock.Advance(time.Minute)
	if _, err := tab.kit.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: tab.kit.ID(), Defect: stop.GetName(), Person: "people/steddow", Done: "tracking set"}); err != nil {
		t.Fatal(err)
	}
	tab.refused("RECHECK_MISSING", "release", "defect", stop.GetName(), "pin", "2468", "checked", "driven in the yard")
	tab.await(func(v *round.View) bool {
		return len(v.Chosen.Stopped) == 1 && strings.Contains(v.Chosen.Stopped[0].Missing, atWindscreen)
	})
	tab.goTo(atWindscreen)
	tab.sound()
	if v := tab.await(func(v *round.View) bool { return len(v.Chosen.Stopped) == 1 && v.Chosen.Stopped[0].Missing == "" }); v.Chosen.Readiness.GetVerdict() == pb.Verdict_VERDICT_FIT {
		t.Error("found sound, and nobody has released it")
	}
	if err := tab.try("release", "defect", stop.GetName(), "pin", "1111", "checked", "driven in the yard"); err == nil {
		t.Error("released with a wrong PIN")
	}
	tab.act("release", "defect", stop.GetName(), "pin", "2468", "checked", "driven in the yard")
	if len(tab.View().Chosen.Stopped) != 0 {
		t.Errorf("released: %+v", tab.View().Chosen.Stopped)
	}
}

// A stop that is given while the network is away stands on the tablet and on the bay
// display at once, and reaches the station when it is there again, once.
func TestDesk_StopReachesTheStation(t *testing.T) {
	t.Parallel()
	tab, record, w := openLinked(t)
	tab.await(func(v *round.View) bool { return settled(v) && len(v.Vehicles) == 10 })
	w.Cut()
	tab.act("stop", "reason", "brakes", "stopped", wn11, "person", "people/arkwith")
	up := tab.up.(*round.Uplink)
	if bay := up.Bay(); bay.Stopped != "WN11" {
		t.Errorf("the bay display is told that %q is stopped", bay.Stopped)
	}
	if one := listed(t, tab.View(), wn11); one.Readiness.GetVerdict() != pb.Verdict_VERDICT_UNFIT || !one.Provisional {
		t.Errorf("cut off: %v, provisional %t", one.Readiness.GetVerdict(), one.Provisional)
	}
	if v := record.Readiness(wn11).GetVerdict(); v == pb.Verdict_VERDICT_UNFIT {
		t.Fatal("the network is not cut")
	}
	w.Heal()
	tab.await(func(v *round.View) bool { return settled(v) && len(stopsIn(record.Readiness(wn11))) > 0 })
	r := record.Readiness(wn11)
	if stops := stopsIn(r); r.GetVerdict() != pb.Verdict_VERDICT_UNFIT || len(stops) != 1 || stops[0].GetStop().GetPerson() != "people/arkwith" {
		t.Errorf("at the station: %v, stops %v", r.GetVerdict(), stops)
	}
}

func stopsIn(r *pb.Readiness) (stops []*pb.Defect) {
	for _, d := range r.GetOpenDefects() {
		if d.GetStop() != nil {
			stops = append(stops, d)
		}
	}
	return stops
}
