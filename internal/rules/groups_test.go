package rules_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

const (
	nearside = pb.Side_SIDE_NEARSIDE
	offside  = pb.Side_SIDE_OFFSIDE
	single   = pb.TwinPosition_TWIN_POSITION_SINGLE
	outer    = pb.TwinPosition_TWIN_POSITION_OUTER
	inner    = pb.TwinPosition_TWIN_POSITION_INNER
)

// grouped makes a rule on groups of tyres and nuts, met by every group.
func grouped(by pb.Grouping, change func(*pb.Rule)) *pb.Rule {
	return rule("group", func(r *pb.Rule) {
		r.Scope, r.Grouping = pb.RuleScope_RULE_SCOPE_GROUP, by
		r.Items, r.When, r.Text = []string{"TYR-010"}, "true", "{size(group)} results"
		if change != nil {
			change(r)
		}
	})
}

// wheels observes the pressure of every wheel of the vehicle, and one thing that is at no axle.
func wheels() []*pb.Observation {
	var os []*pb.Observation
	for i, s := range []*pb.CheckStep{
		wheel("TYR-010", 1, nearside, single), wheel("TYR-010", 1, offside, single),
		wheel("TYR-010", 2, nearside, outer), wheel("TYR-010", 2, nearside, inner),
		wheel("TYR-010", 2, offside, outer), wheel("TYR-010", 2, offside, inner),
		step("TYR-010", "spare"),
	} {
		os = append(os, reading(s, i, 800+float64(i)))
	}
	return append(os, nil) // a step nobody looked at
}

// TestGroups_By: which results fall into one group.
func TestGroups_By(t *testing.T) {
	lamps := []*pb.Observation{
		seen(step("LMP-010", "stop-left"), 1, "sound"), seen(step("LMP-010", "stop-right"), 2, "sound"),
		seen(step("LMP-010", "plate"), 3, "sound"), seen(step("LMP-010", "none"), 4, "sound"),
	}
	lamps[2].Step.LampFunction = pb.LampFunction_LAMP_FUNCTION_REGISTRATION_PLATE
	lamps[3].Step.LampFunction = pb.LampFunction_LAMP_FUNCTION_UNSPECIFIED
	for _, tc := range []struct {
		name string
		rule *pb.Rule
		os   []*pb.Observation
		want []string // the steps of each group, without their item
	}{
		{"axle", grouped(pb.Grouping_GROUPING_AXLE, nil), wheels(), []string{
			"axle-1-nearside axle-1-offside", "axle-2-nearside-inner axle-2-nearside-outer axle-2-offside-inner axle-2-offside-outer",
		}},
		{"axle end", grouped(pb.Grouping_GROUPING_AXLE_END, nil), wheels(), []string{
			"axle-1-nearside", "axle-1-offside", "axle-2-nearside-inner axle-2-nearside-outer", "axle-2-offside-inner axle-2-offside-outer",
		}},
		{"item, spare too", grouped(pb.Grouping_GROUPING_ITEM, nil), wheels(), []string{
			"axle-1-nearside axle-1-offside axle-2-nearside-inner axle-2-nearside-outer axle-2-offside-inner axle-2-offside-outer spare",
		}},
		{"lamp function", grouped(pb.Grouping_GROUPING_LAMP_FUNCTION, func(r *pb.Rule) { r.Items = []string{"LMP-010"} }), lamps, []string{
			"plate", "stop-left stop-right",
		}},
		{"vehicle", grouped(0, func(r *pb.Rule) { r.Scope = pb.RuleScope_RULE_SCOPE_VEHICLE; r.Items = []string{"LMP-010", "TYR-010"} }), append(lamps, wheels()[:2]...), []string{
			"none plate stop-left stop-right axle-1-nearside axle-1-offside",
		}},
		{"no observation, no judgement", grouped(pb.Grouping_GROUPING_ITEM, nil), lamps, nil},
	} {
		t.Run(tc.name, func(t *testing.T) {
			var got []string
			for _, f := range judge(t, pack(tc.rule)).Groups(tc.os) {
				var places []string
				for _, id := range f.GetStepIds() {
					places = append(places, id[len("TYR-010/"):])
				}
				got = append(got, strings.Join(places, " "))
				if want := fmt.Sprintf("%d results", len(places)); f.GetText() != want {
					t.Errorf("text %q, want %q", f.GetText(), want)
				}
				if len(f.GetResultIds()) != len(places) {
					t.Errorf("%d results for %d steps", len(f.GetResultIds()), len(places))
				}
			}
			if d := cmp.Diff(tc.want, got); d != "" {
				t.Errorf("groups (-want +got):\n%s", d)
			}
		})
	}
}

// TestGroups_Numbers: the extremes of what all members have, and how many they are.
func TestGroups_Numbers(t *testing.T) {
	found := judge(t, pack(grouped(pb.Grouping_GROUPING_ITEM, nil))).Groups(wheels())
	want := map[string]float64{
		"observations": 7, "least_pressure_kpa": 800, "greatest_pressure_kpa": 806, "least_target_kpa": 850, "greatest_target_kpa": 850,
		"least_share_of_target": 800.0 / 850, "greatest_share_of_target": 806.0 / 850,
	}
	if d := cmp.Diff(want, found[0].GetNumbers()); d != "" {
		t.Errorf("numbers (-want +got):\n%s", d)
	}
	mixed := judge(t, pack(grouped(0, func(r *pb.Rule) { r.Scope, r.Items = pb.RuleScope_RULE_SCOPE_VEHICLE, []string{"TYR-010", "TYR-020"} })))
	found = mixed.Groups(append(wheels(), seen(step("TYR-020", "axle-1-nearside"), 9, "01")))
	if d := cmp.Diff(map[string]float64{"observations": 8}, found[0].GetNumbers()); d != "" {
		t.Errorf("numbers that not all have (-want +got):\n%s", d)
	}
}

// TestGroups_SameRound: results of an older round are left out, so that a
// reading of last week is not compared with one of today.
func TestGroups_SameRound(t *testing.T) {
	r := grouped(pb.Grouping_GROUPING_AXLE_END, func(r *pb.Rule) {
		r.When, r.SameRound = "size(group) == 2 && spread(group.map(x, x.value)) > 50", true
	})
	out := reading(wheel("TYR-010", 2, nearside, outer), 2, 850)
	in := reading(wheel("TYR-010", 2, nearside, inner), 1, 700)
	j := judge(t, pack(r))
	if found := j.Groups([]*pb.Observation{in, out}); len(found) != 1 {
		t.Errorf("twins of one round gave %v", found)
	}
	in.Result.Round = "rounds/last-week"
	if found := j.Groups([]*pb.Observation{in, out}); len(found) != 0 {
		t.Errorf("twins of two rounds gave %v", found)
	}
	r.SameRound = false
	if found := judge(t, pack(r)).Groups([]*pb.Observation{in, out}); len(found) != 1 {
		t.Errorf("without same_round, twins of two rounds gave %v", found)
	}
	r.SameRound, r.When = true, "true"
	for _, tc := range []struct {
		name   string
		change func()
	}{
		{"newer by the station's clock", func() {}},
		{"same instant, greater id", func() { in.Result.StationTime, in.Result.ResultId = out.Result.StationTime, "0" }},
		{"not at the station yet, by the device's own clock", func() {
			in.Result.StationTime = &timestamppb.Timestamp{Seconds: out.Result.StationTime.Seconds - 1}
			out.Result.DeviceTime, out.Result.StationTime = out.Result.StationTime, nil
		}},
	} {
		tc.change()
		found := judge(t, pack(r)).Groups([]*pb.Observation{in, out})
		if len(found) != 1 || len(found[0].GetResultIds()) != 1 || found[0].GetResultIds()[0] != out.GetResult().GetResultId() {
			t.Errorf("%s: found %v, want the newer result alone", tc.name, found)
		}
	}
}

// TestGroups_Faults: once for each fault seen somewhere in the group.
func TestGroups_Faults(t *testing.T) {
	j := judge(t, pack(rule("lamps", func(r *pb.Rule) {
		r.Scope, r.Grouping = pb.RuleScope_RULE_SCOPE_GROUP, pb.Grouping_GROUPING_LAMP_FUNCTION
		r.Faults = []string{"LMP-010-02", "LMP-010-01"}
		r.When = `count_seen(group, ["LMP-010-01", "LMP-010-02"]) >= 2`
		r.Text = "{fault.text} on a stop lamp; {count_seen(group, [\"LMP-010-01\"])} dark"
	})))
	lamp := func(place string, conditions ...string) *pb.Observation {
		return seen(step("LMP-010", place), 1, conditions...)
	}
	var got []string
	for _, f := range j.Groups([]*pb.Observation{lamp("left", "01", "02"), lamp("right", "01"), lamp("high", "sound")}) {
		got = append(got, f.GetFault()+" "+f.GetText())
	}
	if d := cmp.Diff([]string{"LMP-010-01 does not light on a stop lamp; 2 dark", "LMP-010-02 glass broken on a stop lamp; 2 dark"}, got); d != "" {
		t.Errorf("findings (-want +got):\n%s", d)
	}
	if found := j.Groups([]*pb.Observation{lamp("left", "01"), lamp("right", "sound")}); len(found) != 0 {
		t.Errorf("one of two gave %v", found)
	}
}

// TestGroups_NotWorkedOut: a member that lacks what the rule reads, and a group too large.
func TestGroups_NotWorkedOut(t *testing.T) {
	r := grouped(pb.Grouping_GROUPING_ITEM, func(r *pb.Rule) { r.When = "spread(group.map(x, x.share_of_target)) > 0.9" })
	j := judge(t, pack(r))
	os := wheels()
	os[3].HasTarget = false
	var many []*pb.Observation
	for i := range 401 {
		many = append(many, reading(step("TYR-010", fmt.Sprintf("place-%d", i)), i, 850))
	}
	for name, os := range map[string][]*pb.Observation{"no value and target": os, "401 results fall into one group": many} {
		found := j.Groups(os)
		if len(found) != 1 || found[0].GetEffect() != pb.Effect_EFFECT_UNSPECIFIED || !strings.Contains(found[0].GetText(), name) {
			t.Errorf("%s: %v", name, found)
		}
	}
	if found := j.Groups(many[:400]); len(found) != 0 {
		t.Errorf("400 equal tyres gave %v", found)
	}
}

// TestGroups_NewestOfAStep: of two observations of one step the newest counts.
func TestGroups_NewestOfAStep(t *testing.T) {
	j := judge(t, pack(grouped(pb.Grouping_GROUPING_ITEM, func(r *pb.Rule) { r.When = "group.exists(x, x.value < 700)" })))
	s := wheel("TYR-010", 1, nearside, single)
	low, full := reading(s, 1, 600), reading(s, 2, 850)
	for _, os := range [][]*pb.Observation{{low, full}, {full, low}} {
		if found := j.Groups(os); len(found) != 0 {
			t.Errorf("the older reading counts: %v", found)
		}
	}
}

// TestGroupsOf: which steps a group or vehicle rule looks at.
func TestGroupsOf(t *testing.T) {
	j := judge(t, pack(
		grouped(pb.Grouping_GROUPING_ITEM, nil),
		rule("result", func(r *pb.Rule) { r.Items, r.When = []string{"AIR-010"}, "o.value < 3.0" }),
		rule("vehicle", func(r *pb.Rule) { r.Scope, r.Faults = pb.RuleScope_RULE_SCOPE_VEHICLE, []string{"LMP-010-01"} }),
	))
	for item, want := range map[string]bool{"TYR-010": true, "LMP-010": true, "AIR-010": false, "TYR-020": false} {
		if got := j.GroupsOf(step(item, "x")); got != want {
			t.Errorf("GroupsOf %s is %v", item, got)
		}
	}
}
