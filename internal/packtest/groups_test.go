package packtest

import (
	"fmt"
	"testing"

	pb "bayround/proto/bayround/v1"
)

// twins observes the two tyres of one axle end in one round.
func twins(d *defaults, outer, inner float64) []*pb.Observation {
	axle := func(s *pb.CheckStep) { s.Axle = 2 }
	return []*pb.Observation{
		read(step(d.items["TYR-110"], axle, aimedAt(800)), outer), read(step(d.items["TYR-120"], axle, aimedAt(800)), inner),
	}
}

// Twins may differ by 0.35 bar, and up to 0.7 bar with a limit (item catalogue,
// limit rule of TYR-120; 5 psi is the criterion of the federal survey in
// twin-tyre-limits.csv).
func TestTwins_DifferTooMuch(t *testing.T) {
	d := ours(t)
	j := d.judge(t, heavy(), policyPack)
	for _, tc := range []struct {
		apart float64
		want  string
	}{{0, ""}, {35, ""}, {36, "TYR-120-04"}, {70, "TYR-120-04"}, {71, "TYR-120-03"}} {
		for _, harder := range []float64{0, tc.apart} {
			found := j.Groups(twins(d, 800-tc.apart+harder, 800-harder))
			if got := join(ruleIDs(found)); got != tc.want {
				t.Errorf("%v kPa apart: %q, want %q", tc.apart, got, tc.want)
			}
		}
	}
	if found := j.Groups(twins(d, 600, 800)[:1]); len(found) > 0 {
		t.Errorf("one tyre alone sets off %v", ruleIDs(found))
	}
}

// Front tyres may differ by 2 mm of tread from side to side; the finding belongs
// to the lower side (fault catalogue, TYR-030-03 and TYR-031-03).
func TestTread_SidesDifferTooMuch(t *testing.T) {
	d := ours(t)
	j := d.judge(t, heavy(), policyPack)
	for _, tc := range []struct {
		nearside, offside float64
		want              string
	}{{6, 8, ""}, {5.9, 8, "TYR-030-03"}, {8, 5.9, "TYR-031-03"}} {
		found := j.Groups([]*pb.Observation{
			depths(step(d.items["TYR-030"]), tc.nearside, tc.nearside), depths(step(d.items["TYR-031"]), tc.offside, tc.offside),
		})
		if got := join(ruleIDs(found)); got != tc.want {
			t.Errorf("%v and %v mm: %q, want %q", tc.nearside, tc.offside, got, tc.want)
		}
	}
}

// lampRound answers every lamp of one item; dead gives the condition of each.
func lampRound(d *defaults, item string, dead ...string) []*pb.Observation {
	var all []*pb.Observation
	for i, condition := range dead {
		side := pb.Side_SIDE_NEARSIDE
		if i%2 == 1 {
			side = pb.Side_SIDE_OFFSIDE
		}
		all = append(all, seen(step(d.items[item], at(fmt.Sprintf("lamp-%d", i+1), 0, side)), nil, condition))
	}
	return all
}

// Lamps answered one by one are put together: all stop lamps out is dangerous
// (Directive 2014/45/EU, Annex I, 4.3.1(a)/3), more than three emergency lamps
// out is off the run (a fire department's out-of-service criteria, job map S06).
func TestLamps_OneByOneMakeAWhole(t *testing.T) {
	d := ours(t)
	function := func(f pb.LampFunction, n int) *pb.VehicleConfiguration {
		v := heavy()
		v.Lamps = nil
		for i := range n {
			side := pb.Side_SIDE_NEARSIDE
			if i%2 == 1 {
				side = pb.Side_SIDE_OFFSIDE
			}
			v.Lamps = append(v.Lamps, &pb.Lamp{Function: f, Side: side})
		}
		return v
	}
	stop, blue := pb.LampFunction_LAMP_FUNCTION_STOP, pb.LampFunction_LAMP_FUNCTION_SPECIAL_WARNING
	turn := pb.LampFunction_LAMP_FUNCTION_DIRECTION_INDICATOR
	for _, tc := range []struct {
		why     string
		vehicle *pb.VehicleConfiguration
		round   []*pb.Observation
		want    string
		effect  pb.Effect
	}{
		{"one of three stop lamps lights", function(stop, 3), lampRound(d, "LMP-060", "03", "03", "sound"), "", 0},
		{"one stop lamp not looked at", function(stop, 3), lampRound(d, "LMP-060", "03", "03"), "", 0},
		{"no stop lamp lights", function(stop, 3), lampRound(d, "LMP-060", "03", "03", "04"), "LMP-060-01.lamp-by-lamp", pb.Effect_EFFECT_MOVING},
		{"three of eight blue lamps out", function(blue, 8), lampRound(d, "LMP-120", "03", "03", "03", "sound", "sound", "sound", "sound", "sound"), "LMP-120.some-out", pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT},
		{"one of four blue lamps out", function(blue, 4), lampRound(d, "LMP-120", "03", "sound", "sound", "sound"), "LMP-120.some-out", pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT},
		{"no blue lamp out", function(blue, 4), lampRound(d, "LMP-120", "sound", "sound", "sound", "sound"), "", 0},
		{"four of eight blue lamps out", function(blue, 8), lampRound(d, "LMP-120", "03", "03", "03", "03", "sound", "sound", "sound", "sound"), "LMP-120.more-than-three-out", pb.Effect_EFFECT_RESPONDING},
		{"one indicator of each side out", function(turn, 4), lampRound(d, "LMP-040", "02", "02", "sound", "sound"), "", 0},
		{"both nearside indicators out", function(turn, 4), lampRound(d, "LMP-040", "02", "sound", "02", "sound"), "LMP-040-01.all-nearside", pb.Effect_EFFECT_RESPONDING},
		{"both offside indicators out", function(turn, 4), lampRound(d, "LMP-040", "sound", "02", "sound", "02"), "LMP-040-01.all-offside", pb.Effect_EFFECT_RESPONDING},
	} {
		found := d.judge(t, tc.vehicle, policyPack).Groups(tc.round)
		if got := join(ruleIDs(found)); got != tc.want || got != "" && found[0].GetEffect() != tc.effect {
			t.Errorf("%s: %q, want %q with %v", tc.why, got, tc.want, tc.effect)
		}
	}
}

// A lamp of 24 diodes with up to a third of them dead is on the annex's lower
// line, beyond that on the upper one; bulbs are on the lower line while one of
// several lights (Annex I, 4.1.1(a) and 4.3.1(a)).
func TestLamps_LightSourcesAreCounted(t *testing.T) {
	d := ours(t)
	for _, tc := range []struct {
		why     string
		vehicle *pb.VehicleConfiguration
		count   *pb.Count
		want    pb.Grade
	}{
		{"8 of 24 diodes", heavy(), &pb.Count{Affected: 8, Of: 24}, pb.Grade_GRADE_MINOR},
		{"9 of 24 diodes", heavy(), &pb.Count{Affected: 9, Of: 24}, pb.Grade_GRADE_MAJOR},
		{"1 of 2 bulbs", light(), &pb.Count{Affected: 1, Of: 2}, pb.Grade_GRADE_MINOR},
		{"the only bulb", light(), &pb.Count{Affected: 1, Of: 1}, pb.Grade_GRADE_MAJOR},
		{"24 diodes, not counted: the lamp is out", heavy(), nil, pb.Grade_GRADE_MAJOR},
	} {
		alike := func(s *pb.CheckStep) { s.Alike = tc.vehicle.GetLamps()[0].GetLightSources() }
		for item, condition := range map[string]string{"LMP-020": "02", "LMP-060": "03", "LMP-040": "02", "LMP-080": "01"} {
			found := d.judge(t, tc.vehicle, annexPack).Result(seen(step(d.items[item], alike), tc.count, condition))
			if len(found) != 1 || found[0].GetGrade() != tc.want {
				t.Errorf("%s at %s: %v, want %v", tc.why, item, found, tc.want)
			}
		}
	}
}

// Three small faults of one area weigh more than each alone (Directive
// 2014/45/EU, art. 7(3)); two do not.
func TestMinors_ThreeOfOneAreaWeighMore(t *testing.T) {
	d := ours(t)
	j := d.judge(t, heavy(), policyPack)
	small := []*pb.Observation{
		seen(step(d.items["BRA-010"]), nil, "03"), seen(step(d.items["BRK-020"]), nil, "04"), seen(step(d.items["BRA-020"]), nil, "03"),
	}
	if found := j.Groups(small[:2]); len(found) > 0 {
		t.Errorf("two small faults set off %v", ruleIDs(found))
	}
	found := j.Groups(small)
	if join(ruleIDs(found)) != "several-minors.brakes" || found[0].GetGrade() != pb.Grade_GRADE_MAJOR {
		t.Errorf("three small faults set off %v", found)
	}
}

// Seats with a working belt below the least crew of 4 (job map, part E: minimum
// crew 4 per pump; the table's CAB-040-02).
func TestBelts_FewerThanTheLeastCrew(t *testing.T) {
	d := ours(t)
	j := d.judge(t, heavy(), policyPack) // six seats
	belt := func(place string) *pb.Observation {
		return seen(step(d.items["CAB-040"], at(place, 0, pb.Side_SIDE_UNSPECIFIED)), nil, "01")
	}
	for _, tc := range []struct {
		bad  []*pb.Observation
		want string
	}{
		{[]*pb.Observation{belt("a"), belt("b")}, ""},
		{[]*pb.Observation{belt("a"), belt("b"), belt("c")}, "CAB-040-02.counted"},
	} {
		if got := join(ruleIDs(j.Groups(tc.bad))); got != tc.want {
			t.Errorf("%d of 6 belts bad: %q, want %q", len(tc.bad), got, tc.want)
		}
	}
}
